"""Stations of the National Weather Service near a place, and what they measured.

A report may leave any field empty, five-minute reports most of them, so several are read and every quantity
is taken from the newest report that has it. Empty is never zero. Units are taken from each value's own unit
code: rain has been in metres and in millimetres.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from advisor.clock import HOUR, from_numpy, to_numpy
from advisor.errors import WeatherError
from advisor.forecast import Forecast, ForecastBuilder, Provenance
from advisor.sources.nws import (
    ACCEPT,
    ATTRIBUTION,
    BASE,
    NAME,
    TITLE,
    UNITS,
    grid_cell,
    kind_of,
    refuse_problem,
    unit_text,
)
from advisor.sources.reading import (
    Document,
    check_span,
    height,
    in_canonical_unit,
    moment,
    number,
    point,
    words,
)
from advisor.sources.request import Request
from advisor.variables import VARIABLES

#: their fields -> ours
VARIABLE_MAP: dict[str, str] = {
    "temperature": "air_temperature",
    "dewpoint": "dew_point",
    "relativeHumidity": "relative_humidity",
    "windSpeed": "wind_speed_10m",
    "windDirection": "wind_from_direction",
    "windGust": "wind_gust",
    "barometricPressure": "surface_pressure",
    "precipitationLastHour": "precipitation",
}
#: marks of the provider's own quality control that make a value useless: rejected, bad, questioned. From
#: memory.
_REJECTED = ("X", "B", "Q")
#: a report this long before or after the full hour still stands for it [min]; routine ones come at 51 to 58
#: past
_NEAR_HOUR = 15
_STATION = re.compile(r"[A-Za-z0-9_-]{1,20}", re.ASCII)
_LONGEST = 24 * 60


@dataclass(frozen=True, slots=True)
class Station:
    """A place that measures; elevation in metres."""

    identifier: str
    name: str
    latitude: float
    longitude: float
    elevation: float | None = None


@dataclass(frozen=True, slots=True)
class Report:
    """What one station said at one time, in canonical units; what it did not say is absent."""

    at: datetime
    values: Mapping[str, float]
    station: str = ""
    latitude: float | None = None
    longitude: float | None = None


def stations_request(points: Document, *, base: str | None = None) -> Request:
    """Stations that represent the grid cell of a points answer, nearest first."""
    office, x, y = grid_cell(points)
    return Request(
        f"{(base or BASE).rstrip('/')}/gridpoints/{office}/{x},{y}/stations", {}, {"Accept": ACCEPT}, NAME
    )


def observations_request(station: str, *, limit: int = 24, base: str | None = None) -> Request:
    """The newest reports of a station; several, because any of them may have holes."""
    url = f"{(base or BASE).rstrip('/')}/stations/{station}/observations"
    return Request(url, {"limit": str(limit)}, {"Accept": ACCEPT}, NAME)


def read_stations(document: Document) -> tuple[Station, ...]:
    """Stations in the order of the answer."""
    refuse_problem(document.data)
    found = []
    for feature in _features(document.data, "stations"):
        said = feature.get("properties") if isinstance(feature.get("properties"), dict) else {}
        latitude, longitude, _ = point(feature.get("geometry"))
        identifier = words(said.get("stationIdentifier"))
        # it becomes part of an address
        if _STATION.fullmatch(identifier) and latitude is not None:
            metres = height(_value(said.get("elevation"), "length"))
            found.append(Station(identifier, words(said.get("name"), 100), latitude, longitude, metres))
    return tuple(found)


def read_observations(document: Document) -> tuple[Report, ...]:
    """Reports of a station, oldest first, from one report or a list of them.

    Raises
    ------
    WeatherError
        When the answer is none, or holds no report whose time can be read.
    """
    data = document.data
    refuse_problem(data)
    single = isinstance(data, dict) and isinstance(data.get("properties"), dict)
    features = [data] if single else _features(data, "observations")
    reports = [report for report in (_report(feature) for feature in features) if report]
    if not reports:
        raise WeatherError("the station has reported nothing", hint="ask another station near the site")
    return tuple(sorted(reports, key=lambda report: report.at))


def newest(
    reports: Sequence[Report], now: datetime, *, oldest_hours: float = 1.5
) -> dict[str, tuple[float, datetime]]:
    """The newest value of each quantity and when it was measured, from reports no older than `oldest_hours`
    [h].

    A value from the future (by more than 10 minutes) is not used.
    """
    found: dict[str, tuple[float, datetime]] = {}
    for report in sorted(reports, key=lambda report: report.at):
        if timedelta(minutes=-10) <= now - report.at <= timedelta(hours=oldest_hours):
            found.update({name: (value, report.at) for name, value in report.values.items()})
    return found


def hourly(reports: Sequence[Report]) -> Forecast:
    """Reports as measured hours: each full hour takes the report nearest to it, within a quarter of an hour.

    The rain of the last hour in the report nearest to the end of an hour is the rain of that hour. A gust is
    of the ten minutes before its report and says nothing about the rest of an hour, so gusts are left out.
    """
    stamps = np.array([to_numpy(report.at) for report in reports])
    check_span(stamps.min(), stamps.max(), _LONGEST, TITLE)
    nearest = (stamps + np.timedelta64(30, "m")).astype("datetime64[h]")
    off = np.abs(stamps - nearest.astype(stamps.dtype))
    first, last = nearest.min(), nearest.max()
    builder = ForecastBuilder(first - HOUR, last + HOUR)
    for name in VARIABLE_MAP.values():
        if name == "wind_gust":
            continue
        chosen: dict[np.datetime64, tuple[np.timedelta64, float]] = {}
        for at, away, report in zip(nearest, off, reports, strict=True):
            if name not in report.values or away > np.timedelta64(_NEAR_HOUR, "m"):
                continue
            if at not in chosen or away < chosen[at][0]:
                chosen[at] = (away, report.values[name])
        if not chosen:
            continue
        times = np.array(sorted(chosen), dtype="datetime64[h]")
        values = np.array([chosen[at][1] for at in times])
        if VARIABLES[name].kind == "sum":
            builder.blocks(name, times - HOUR, np.ones(len(times), dtype=int), values)
        else:
            builder.instants(name, times, values)
    where = reports[-1]
    provenance = Provenance(
        NAME,
        fetched_at=None,
        issued_at=from_numpy(stamps.max()),
        latitude=where.latitude,
        longitude=where.longitude,
        attribution=ATTRIBUTION,
        notes=(f"measured at {where.station or 'a station'}",),
    )
    return builder.build(provenance)


def _features(data: Any, kind: str) -> list[Mapping]:
    """Features of a list; null and an empty list alike mean none."""
    if not isinstance(data, dict) or "features" not in data or (data["features"] and kind_of(data) != kind):
        raise WeatherError(f"the answer is no list of {kind}", hint="give the provider's own JSON")
    features = data["features"] if isinstance(data["features"], list) else []
    return [feature for feature in features if isinstance(feature, dict)]


def _report(feature: Mapping) -> Report | None:
    said = feature.get("properties")
    at = moment(said.get("timestamp")) if isinstance(said, dict) else None
    if at is None:
        return None
    values = {}
    for theirs, ours in VARIABLE_MAP.items():
        quantity = said.get(theirs)
        if isinstance(quantity, dict) and _mark(quantity) not in _REJECTED:
            value = _value(quantity, VARIABLES[ours].dimension)
            if value is not None:
                values[ours] = value
    latitude, longitude, _ = point(feature.get("geometry"))
    station = words(said.get("stationId"), 40) or words(said.get("station")).rsplit("/", 1)[-1]
    return Report(at, values, station, latitude, longitude)


def _mark(quantity: Mapping) -> str:
    """The letter of the quality control, which old answers write as the end of an address."""
    mark = quantity.get("qualityControl")
    return mark.rsplit(":", 1)[-1].rsplit("/", 1)[-1] if isinstance(mark, str) else ""


def _value(quantity: Any, dimension: str) -> float | None:
    if not isinstance(quantity, dict):
        return None
    plain = np.array([number(quantity.get("value"))])
    unit = unit_text(quantity.get("unitCode") or quantity.get("uom"))
    converted = in_canonical_unit(plain, unit, UNITS, dimension)
    return None if converted is None or np.isnan(converted[0]) else float(converted[0])
