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

import numpy as np

from advisor.clock import from_numpy, to_numpy
from advisor.errors import StoreError, WeatherError
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
    since, until = now - timedelta(hours=REACH), now + timedelta(seconds=1)
    parts: list[Part] = []
    hashes: list[str] = []

    def take(kind: str, arrived: list[tuple[datetime, str]], read) -> None:
        for fetched_at, sha256 in arrived:
            found = _remembered((kind, sha256, fetched_at, site.latitude, site.longitude), store, sha256, read)
            if found is not None:
                parts.append(Part(found, kind, until=fetched_at))
                hashes.append(sha256)

    if household.settings.observations:
        arrived = payloads.arrivals(store, REPORTS, key, since, until)
        take(MEASURED, arrived[::-1], _measured)
    own = forecast is not None and forecast.start <= to_numpy(now - timedelta(hours=REACH - 24), "h")
    for name in () if own else household.settings.sources:
        arrived = _spaced(payloads.arrivals(store, name, key, since, until))
        take(PAST_HOURS, arrived,
             lambda body, fetched_at: _past_hours(body, fetched_at, site.latitude, site.longitude))  # fmt: skip
    if not parts:
        return b""
    first = to_numpy(since, "h")
    credits = dict.fromkeys(part.forecast.provenance.attribution for part in parts if part.kind == MEASURED)
    return _write(merge(parts, first, REACH), "; ".join(filter(None, credits)), hashes)


def _spaced(arrived: list[tuple[datetime, str]]) -> list[tuple[datetime, str]]:
    """The newest first, none closer than `_APART` to the one before."""
    chosen: list[tuple[datetime, str]] = []
    for one in reversed(arrived):
        if not chosen or (chosen[-1][0] - one[0]) >= timedelta(hours=_APART):
            chosen.append(one)
    return chosen


#: what was read of answers that do not change, so that a long-lived process reads each once
_READ: dict[tuple, Forecast | None] = {}
_MOST_READ = 512


def _remembered(key: tuple, store: Store, sha256: str, read) -> Forecast | None:
    if key not in _READ:
        try:
            body = payloads.body(store, sha256)
        except StoreError:
            return None  # damaged bytes are no evidence of anything
        if body is None:
            return None
        if len(_READ) >= _MOST_READ:
            _READ.pop(next(iter(_READ)), None)
        _READ[key] = read(body, key[2])
    return _READ.get(key)


def _measured(body: bytes, fetched_at: datetime) -> Forecast | None:
    """Reports as hours, after quality control."""
    try:
        return control(hourly(read_observations(read_document(body))), fetched_at, math.inf)
    except WeatherError:
        return None


def _past_hours(body: bytes, fetched_at: datetime, latitude: float, longitude: float) -> Forecast | None:
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
