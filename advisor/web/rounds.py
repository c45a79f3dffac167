"""The routes of the round over several lawns; where there is one household only, they are not there."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from flask import Flask, abort

from advisor.clock import iso
from advisor.web.desks import Desks
from advisor.web.pages.round import Look, frame, look, round_page


def register(app: Flask, desks: Desks, show: Callable) -> None:
    """`show(page, frame, head)` makes the answer: the page, or its twin where a head is given."""
    if not desks.several:
        return

    def view(twin: bool = False, text: str | None = None):
        if not desks.at_front():
            abort(404)
        seen = look(desks)
        page = round_page(desks, seen, None if text is None else _day(text, seen))
        return show(page, _around(seen, text), _head(seen) if twin else None)

    app.add_url_rule("/round", "round", view)
    app.add_url_rule("/round.json", "round-json", lambda: view(True))
    app.add_url_rule("/round/<text>", "round-day", lambda text: view(text=text))
    app.add_url_rule("/round/<text>.json", "round-day-json", lambda text: view(True, text))


def _day(text: str, seen: Look) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        abort(404)
    if not 0 <= (day - seen.today).days <= 16:
        abort(404)
    return day


def _around(seen: Look, text: str | None) -> dict[str, Any]:
    path = "/" if text is None else f"/round/{text}"
    return {
        **frame(seen),
        "here": path,
        "path": path,
        "twin": "/index.json" if text is None else f"{path}.json",
    }


def _head(seen: Look) -> dict[str, Any]:
    return {"generated_at": iso(seen.now), "time_zone": seen.zone.key}
