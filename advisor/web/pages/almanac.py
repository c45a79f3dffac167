"""`/almanac`: how often windows occur here, by week of the year and hour of the day."""

from __future__ import annotations

from advisor.web.desk import Desk, Scene
from advisor.web.page import Page


def almanac_page(desk: Desk, scene: Scene) -> Page:
    return Page(title="Almanac", template="almanac.html", context={"almanac": None}, twin={"almanac": None})
