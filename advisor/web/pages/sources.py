"""`/sources`: where the weather comes from, how old it is, what was found wrong with it, and how the service fares."""

from __future__ import annotations

from typing import Any

import numpy as np

from advisor.clock import iso
from advisor.service.due import HEARTBEAT
from advisor.sources import SOURCES
from advisor.store import marks, outbox
from advisor.variables import VARIABLES
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import hours_words, local, moment_words, relative


def sources_page(desk: Desk, scene: Scene) -> Page:
    forecast, zone = scene.outlook.forecast, scene.household.site.zone
    store = desk.reader()
    by_name = {payload.source: payload for payload in scene.payloads}
    rows = [_row(name, by_name.get(name), scene) for name in scene.household.settings.sources]
    beat = marks.get(store, HEARTBEAT)
    failed = outbox.listing(store, "failed", "uncertain", "waiting")
    # the axis goes on after the data, so that the last day has all its hours
    held = [one.known.any(axis=(0, 1)) for one in forecast.fields.values()]
    told = np.flatnonzero(np.any(np.broadcast_arrays(*held), axis=0)) if held else np.array([], dtype=int)
    first, last = forecast.axis[told[[0, -1]]] if len(told) else forecast.axis[[0, -1]]
    return Page(
        title="Sources",
        template="sources.html",
        context={
            "rows": rows,
            "flags": [flag.says for flag in forecast.flags],
            "notes": list(forecast.provenance.notes),
            "reach": " to ".join(local(one, zone).strftime("%a %-d %b, %H:%M") for one in (first, last)),
            "variables": sorted(map(_called, forecast.fields)),
            "members": forecast.members,
            "beat": None if beat is None else moment_words(beat.at, zone),
            "trouble": None if beat is None else beat.data.get("trouble"),
            "deliveries": [
                {"notice": row.notice_id, "channel": row.channel, "state": row.state, "attempts": row.attempts,
                 "error": row.last_error or ""}
                for row in failed[-20:]
            ],
        },
        twin={
            "sources": [row["twin"] for row in rows],
            "flags": [
                {"check": flag.check, "variable": flag.variable, "says": flag.says,
                 "makes_unknown": list(flag.makes_unknown)}
                for flag in forecast.flags
            ],
            "problems": [{"what": one.what, "where": one.where, "hint": one.hint} for one in scene.problems],
            "heartbeat_at": None if beat is None else iso(beat.at),
            "used": list(scene.hashes),
        },
    )  # fmt: skip


def _row(name: str, payload, scene: Scene) -> dict[str, Any]:
    source = SOURCES[name]
    zone, now = scene.household.site.zone, scene.now
    used = payload is not None and payload.sha256 in scene.hashes
    age = None if payload is None else (now - payload.confirmed_at).total_seconds() / 3600.0
    return {
        "title": source.title,
        "licence": source.licence,
        "attribution": source.attribution,
        "terms": source.terms,
        "limit": hours_words(source.age_limit_hours),
        "fetched": "never answered" if payload is None else moment_words(payload.fetched_at, zone),
        "confirmed": "" if payload is None else relative(payload.confirmed_at, now),
        "url": "" if payload is None else payload.url,
        "size": "" if payload is None else f"{len(payload.body) / 1000:,.0f} kB",
        "hash": "" if payload is None else payload.sha256[:16],
        "used": used,
        "old": age is not None and age > source.age_limit_hours,
        "twin": {
            "source": name,
            "title": source.title,
            "fetched_at": None if payload is None else iso(payload.fetched_at),
            "confirmed_at": None if payload is None else iso(payload.confirmed_at),
            "age_hours": None if age is None else round(age, 2),
            "age_limit_hours": source.age_limit_hours,
            "sha256": None if payload is None else payload.sha256,
            "used": used,
        },
    }


def _called(variable: str) -> str:
    return VARIABLES[variable].says if variable in VARIABLES else variable.replace("_", " ")
