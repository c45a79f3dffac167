"""`/reviews`: whether the weather kept its word after each pass, what was seen of the weeds, and what follows."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from advisor.ledger import read_ledger
from advisor.messages.review_text import (
    advice_lines,
    night_lines,
    rain_lines,
    response_lines,
    review_object,
    summary,
)
from advisor.review.one_pass import PassReview
from advisor.review.weather import AT_RISK, BROKEN, KEPT, UNKNOWN
from advisor.service.reviewing import review_of
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import listed, moment_words

#: passes of so many days are looked back at [days]
LOOK_BACK = 120
#: letters that no line is longer than
_ONE_LINE = 10_000


def reviews_page(desk: Desk, scene: Scene) -> Page:
    made = scene.once("reviews", lambda: _reviews(desk, scene))
    return Page(
        title="Reviews",
        template="reviews.html",
        context={"reviews": [_shown(one, scene) for one in made]},
        twin={
            "reviews": [review_object(one.weather, one.responses, one.times, one.advice) for one in made],
        },
    )


def _reviews(desk: Desk, scene: Scene) -> list[PassReview]:
    """The newest pass first."""
    ledger = [one for one in read_ledger(scene.household, desk.database) if one.started_at <= scene.now]
    lately = [one for one in ledger if scene.now - one.started_at < timedelta(days=LOOK_BACK)]
    made = (review_of(desk.service, record, ledger, scene.now) for record in reversed(lately))
    return [one for one in made if one is not None]


def _looks(one: PassReview, zone, scene: Scene) -> list[str]:
    """When to look, and what the looks came to; how to enter one is what the page's own form says."""
    lines = response_lines(one.responses, one.times, zone, scene.now, _ONE_LINE)
    return lines if one.responses else lines[:1]


def _shown(one: PassReview, scene: Scene) -> dict[str, Any]:
    weather, task = one.weather, one.weather.task
    system, zone = scene.household.units, scene.household.site.zone
    proposal, *reasons = advice_lines(one.advice, zone, _ONE_LINE)
    unseen = bool(weather.of(UNKNOWN)) and not weather.weather
    return {
        "id": weather.record.id,
        "title": f"{task.area.name}, {moment_words(weather.record.started_at, zone)}",
        "what": f"{task.treatment.name}, pass {task.pass_number}",
        "status": weather.status,
        "verdict": {KEPT: "go", BROKEN: "no-go"}.get(weather.status, "unknown"),
        "summary": summary(weather),
        "weather": weather.weather or "none is kept of these days",
        "limits": [
            {"status": limit.status, "title": limit.title, "text": limit.text}
            for limit in weather.limits
            if limit.status in (BROKEN, AT_RISK) or limit.status == UNKNOWN and not unseen
        ],
        "unseen": listed([limit.title.lower() for limit in weather.of(UNKNOWN)]) if unseen else "",
        "kept": listed([limit.title.lower() for limit in weather.of(KEPT)]),
        "lines": [
            *rain_lines(weather, system, _ONE_LINE),
            *night_lines(weather, system, zone, _ONE_LINE),
            *(line.strip(" -") for line in _looks(one, zone, scene)),
        ],
        "proposal": proposal,
        "reasons": [line.strip(" -") for line in reasons],
        "task": f"{task.treatment.id}/{task.area.id}",
    }
