"""`/score`: how the forecasts of this site have fared against what was measured."""

from __future__ import annotations

from advisor.web.desk import Desk, Scene
from advisor.web.page import Page


def score_page(desk: Desk, scene: Scene) -> Page:
    return Page(title="Score", template="score.html", context={"score": None}, twin={"score": None})
