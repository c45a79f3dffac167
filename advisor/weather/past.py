"""Past weather of a household from what is kept: measured hours of stations, and past hours of earlier answers.

It is put together once, when weather is asked about, and kept as evidence in the form that it was used in; the answers
that it came from are named in it by their hashes.

=================  ==========================================================================================
measured           reports of the stations near the site, the nearest station first
past hours         of earlier answers, only what was over when they were fetched, and only where the forecast's
                   own past is too short for the soil's water balance
=================  ==========================================================================================
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np

from advisor.clock import from_numpy, to_numpy
from advisor.errors import WeatherError
from advisor.forecast import Field, Forecast, Provenance, Reason
from advisor.measured_past import Past
from advisor.model import Household
from advisor.quality import control
from advisor.review.observed import MEASURED, PAST_HOURS, Part, Seen, merge
from advisor.sources import read_answer
from advisor.sources.nws_observations import hourly, read_observations
from advisor.sources.reading import read_document
from advisor.store import Store, payloads
from advisor.store.encoding import instant, stamp
from advisor.store.payloads import Payload
from advisor.weather.answers import REPORTS, site_key

#: how far back is looked [h]: ten days for the water balance and the day in which they begin
REACH = 11 * 24
#: answers are read no closer together than this [h]: those of the office that has past hours hold six
_APART = 4.0
#: decimals that are kept of a value: finer than any source states
_DECIMALS = 3
_FORMAT = 1


def known_past(household: Household, store: Store, forecast: Forecast | None, now: datetime) -> bytes:
    """Past weather as bytes for `read_past`; empty where nothing is known beside the forecast's own.

    Parameters
    ----------
    forecast : Forecast, optional
        The forecast that it is for: one with enough past of its own needs none of earlier answers.
    now : datetime
        Nothing fetched after it is looked at.
    """
    site, key = household.site, site_key(household.site)
    since = now - timedelta(hours=REACH)
    parts: list[Part] = []
    hashes: list[str] = []
    if household.settings.observations:
        kept = payloads.between(store, REPORTS, key, since, now + timedelta(seconds=1))
        for one in reversed(kept):
            measured = _measured(one.sha256, one.body, one.fetched_at)
            if measured is not None:
                parts.append(Part(measured, MEASURED, until=one.fetched_at))
                hashes.append(one.sha256)
    own = forecast is not None and forecast.start <= to_numpy(now - timedelta(hours=REACH - 24), "h")
    if not own:
        for name in household.settings.sources:
            for one in _spaced(payloads.between(store, name, key, since, now + timedelta(seconds=1))):
                past = _past_hours(one.sha256, one.body, one.fetched_at, site.latitude, site.longitude)
                if past is not None:
                    parts.append(Part(past, PAST_HOURS, until=one.fetched_at))
                    hashes.append(one.sha256)
    if not parts:
        return b""
    first = to_numpy(since, "h")
    credits = dict.fromkeys(part.forecast.provenance.attribution for part in parts if part.kind == MEASURED)
    return _write(merge(parts, first, REACH), "; ".join(filter(None, credits)), hashes)


def _spaced(kept: list[Payload]) -> list[Payload]:
    """The newest first, none closer than `_APART` to the one before."""
    chosen: list[Payload] = []
    for one in reversed(kept):
        if not chosen or (chosen[-1].fetched_at - one.fetched_at) >= timedelta(hours=_APART):
            chosen.append(one)
    return chosen


@lru_cache(maxsize=256)
def _measured(sha256: str, body: bytes, fetched_at: datetime) -> Forecast | None:
    """Reports as hours, after quality control."""
    try:
        return control(hourly(read_observations(read_document(body))), fetched_at, math.inf)
    except WeatherError:
        return None


@lru_cache(maxsize=256)
def _past_hours(
    sha256: str, body: bytes, fetched_at: datetime, latitude: float, longitude: float
) -> Forecast | None:
    """The part of an answer that was over when it was fetched."""
    try:
        forecast = read_answer(body, fetched_at=fetched_at, latitude=latitude, longitude=longitude)
    except WeatherError:
        return None
    forecast = control(forecast, fetched_at, math.inf)
    hours = forecast.index(to_numpy(fetched_at, "h")) + 1
    if hours <= 0:
        return None
    return _cut(forecast, min(hours, forecast.hours))


def _cut(forecast: Forecast, hours: int) -> Forecast:
    fields = {
        name: Field(
            one.values[..., :hours], one.reason[..., :hours],
            None if one.block_first is None else one.block_first[..., :hours],
            None if one.block_last is None else one.block_last[..., :hours],
        )
        for name, one in forecast.fields.items()
    }  # fmt: skip
    return replace(forecast, hours=hours, fields=fields, nominal_members=forecast.nominal_members[:hours])


# -- as evidence


def _write(seen: Seen, attribution: str, hashes: list[str]) -> bytes:
    forecast = seen.forecast
    fields = {}
    for name, one in sorted(forecast.fields.items()):
        row = one.values[0, 0]
        if np.isnan(row).all():
            continue
        fields[name] = {
            "values": [None if np.isnan(value) else round(float(value), _DECIMALS) for value in row],
            "measured": [int(origin == 1) for origin in seen.origin[name]],
            "blocks": None
            if one.block_first is None
            else [one.block_first[0, 0].tolist(), one.block_last[0, 0].tolist()],
        }
    if not fields:
        return b""
    plain = {
        "format": _FORMAT, "start": stamp(from_numpy(forecast.start)), "hours": forecast.hours, "fields": fields,
        "notes": list(forecast.provenance.notes), "attribution": attribution,
        "answers": sorted(set(hashes)),
    }  # fmt: skip
    return json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def read_past(body: bytes) -> Past | None:
    """Past weather from bytes; None where there is none."""
    if not body:
        return None
    plain = json.loads(body)
    hours, fields, measured = int(plain["hours"]), {}, {}
    for name, one in plain["fields"].items():
        values = np.array([np.nan if value is None else value for value in one["values"]])[None, None]
        reason = np.where(np.isnan(values), Reason.NULL, Reason.KNOWN).astype(np.uint8)
        blocks = [None, None] if one["blocks"] is None else [
            np.array(edge, dtype=np.int32)[None, None] for edge in one["blocks"]
        ]  # fmt: skip
        fields[name] = Field(values, reason, *blocks)
        measured[name] = np.array(one["measured"], dtype=bool)
    provenance = Provenance("seen", notes=tuple(plain["notes"]), attribution=plain["attribution"])
    start = to_numpy(instant(plain["start"]), "h")
    return Past(Forecast(start, hours, fields, provenance, np.ones(hours, dtype=int)), measured)


def hashes_of(body: bytes) -> tuple[str, ...]:
    """The answers that past weather came from."""
    return tuple(json.loads(body)["answers"]) if body else ()
