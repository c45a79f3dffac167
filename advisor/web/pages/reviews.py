"""`/reviews`: whether the weather kept its word after each pass, and what was seen of the weeds."""

from __future__ import annotations

from advisor.clock import iso
from advisor.store.measurements import COVER, of_subject
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import moment_words


def reviews_page(desk: Desk, scene: Scene) -> Page:
    zone = scene.household.site.zone
    covers = of_subject(desk.reader(), COVER, until=scene.now)
    return Page(
        title="Reviews",
        template="reviews.html",
        context={
            "covers": [
                {"subject": one.subject, "when": moment_words(one.taken_at, zone), "data": one.data} for one in reversed(covers)
            ],
        },
        twin={
            "reviews": [],
            "covers": [{"subject": one.subject, "taken_at": iso(one.taken_at), **one.data} for one in covers],
        },
    )  # fmt: skip
