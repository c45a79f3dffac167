"""MET Norway locationforecast: what to ask, and its time series as a Forecast.

Instants stand at their time, hourly for two to three days and six hours apart after that; between those
nothing is known. Amounts and chances are of the period that FOLLOWS: next_1_hours where it is given,
otherwise next_6_hours, and that only where the next entry is six hours off, because in the hourly part the
six-hour periods overlap.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np

from advisor.clock import HOUR, to_numpy
from advisor.errors import WeatherError
from advisor.forecast import Flag, Forecast, ForecastBuilder, Provenance, Reason
from advisor.sources.reading import (
    Document,
    check_span,
    in_canonical_unit,
    instant,
    moment,
    number,
    point,
    words,
)
from advisor.sources.request import Request, latitude_text, longitude_text
from advisor.variables import VARIABLES

NAME = "met-norway"
TITLE = "MET Norway"
LICENCE = "CC BY 4.0 / NLOD 2.0"
ATTRIBUTION = "Data from MET Norway"
BASE = "https://api.met.no"

#: names of instants -> ours
INSTANTS: dict[str, str] = {
    "air_temperature": "air_temperature",
    "dew_point_temperature": "dew_point",
    "relative_humidity": "relative_humidity",
    "wind_speed": "wind_speed_10m",
    "wind_from_direction": "wind_from_direction",
    "wind_speed_of_gust": "wind_gust",
    "cloud_area_fraction": "cloud_cover",
}
#: names of periods -> ours
PERIODS: dict[str, str] = {
    "precipitation_amount": "precipitation",
    "probability_of_precipitation": "precipitation_probability",
    "probability_of_thunder": "thunder_probability",
}
VARIABLE_MAP: dict[str, str] = {**INSTANTS, **PERIODS}

UNITS: dict[str, str] = {
    "celsius": "degC", "fahrenheit": "degF", "kelvin": "kelvin", "K": "kelvin", "m/s": "m/s", "km/h": "km/h",
    "knots": "kn", "mm": "mm", "cm": "cm", "%": "percent", "degrees": "deg", "hPa": "hPa",
}  # fmt: skip

_LONGEST = 24 * 60


def forecast_request(
    latitude: float, longitude: float, *, altitude: float | None = None, base: str | None = None
) -> Request:
    """The complete forecast of one place; the altitude [m] corrects its temperature."""
    params = {"lat": latitude_text(latitude), "lon": longitude_text(longitude)}
    if altitude is not None:
        params["altitude"] = str(round(altitude))
    url = f"{(base or BASE).rstrip('/')}/weatherapi/locationforecast/2.0/complete"
    return Request(url, params, {"Accept": "application/json"}, NAME)


def is_answer(data: Any) -> bool:
    """Whether decoded JSON looks like an answer of this provider."""
    if not isinstance(data, dict) or not isinstance(data.get("properties"), dict):
        return False
    properties = data["properties"]
    return "timeseries" in properties or (
        isinstance(properties.get("meta"), dict) and "units" in properties["meta"]
    )


def read(document: Document, fetched_at: datetime | None = None) -> Forecast:
    """A compact or complete forecast.

    Raises
    ------
    WeatherError
        When the series is missing or empty (with the provider's own reason), or no time of it can be read.
    """
    data = document.data
    properties = data.get("properties") if isinstance(data, dict) else None
    if not isinstance(properties, dict):
        raise WeatherError("the answer is not of MET Norway", hint="give the provider's own JSON")
    meta = properties.get("meta") if isinstance(properties.get("meta"), dict) else {}
    series = properties.get("timeseries")
    if not isinstance(series, list) or not series:
        said = f": {words(meta['error'])}" if words(meta.get("error")) else ""
        raise WeatherError(f"the MET Norway answer holds no forecast{said}", hint="ask again later")
    times, entries = _entries(series)
    flags: list[Flag] = []
    if len(times) < len(series):
        flags.append(Flag("time", "all", f"{len(series) - len(times)} entries have no time that can be read"))
    check_span(times[0], times[-1], _LONGEST, TITLE)
    units = meta.get("units") if isinstance(meta.get("units"), dict) else {}
    steps = np.append(np.diff(times) / HOUR, 6.0)
    periods = {name: _periods(name, times, steps, entries) for name in PERIODS}
    end = max([times[-1] + HOUR, *((s + n).max() for s, n, _ in periods.values() if len(s))])
    builder = ForecastBuilder(times[0], end)
    instants = [_details(entry, "instant") for entry in entries]
    for theirs, ours in INSTANTS.items():
        plain = np.array([number(details.get(theirs)) for details in instants], dtype=float)
        if not np.isnan(plain).all():
            _place(builder, flags, theirs, ours, units, times, None, plain)
    for theirs, ours in PERIODS.items():
        starts, lengths, plain = periods[theirs]
        if len(starts):
            _place(builder, flags, theirs, ours, units, starts, lengths, plain)
    latitude, longitude, elevation = point(data.get("geometry"))
    provenance = Provenance(
        NAME,
        fetched_at=fetched_at,
        issued_at=moment(meta.get("updated_at")),
        latitude=latitude,
        longitude=longitude,
        elevation=elevation,
        attribution=ATTRIBUTION,
        # answers begin with the hour in which they were asked
        no_past_before=None if fetched_at is None else to_numpy(fetched_at, "h"),
    )
    return builder.build(provenance).with_fields({}, flags)


def _entries(series: list) -> tuple[np.ndarray, list[Mapping]]:
    """Times (datetime64[h], rising) and their data; entries off the full hour or without a time fall out.

    A time that stands twice with different data has none: which of the two holds is not known.
    """
    found: dict[np.datetime64, Mapping] = {}
    for entry in series:
        at = instant(entry.get("time")) if isinstance(entry, dict) else np.datetime64("NaT")
        if np.isnat(at) or at.astype("datetime64[h]").astype(at.dtype) != at:
            continue
        at, data = at.astype("datetime64[h]"), entry["data"] if isinstance(entry.get("data"), dict) else {}
        found[at] = data if found.get(at, data) == data else {}
    if not found:
        raise WeatherError("no time of the MET Norway answer can be read", hint="ask again later")
    times = np.array(sorted(found), dtype="datetime64[h]")
    return times, [found[at] for at in times]


def _details(entry: Mapping, part: str) -> Mapping:
    holder = entry.get(part)
    details = holder.get("details") if isinstance(holder, dict) else None
    return details if isinstance(details, dict) else {}


def _periods(
    name: str, times: np.ndarray, steps: np.ndarray, entries: list[Mapping]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Starts, lengths [h] and values of the periods that follow each other without overlap."""
    chosen = []
    for at, step, entry in zip(times, steps, entries, strict=True):
        one, six = _details(entry, "next_1_hours"), _details(entry, "next_6_hours")
        if name in one:
            chosen.append((at, 1, number(one[name])))
        elif name in six and step >= 6.0:
            chosen.append((at, 6, number(six[name])))
    starts = np.array([start for start, _, _ in chosen], dtype="datetime64[h]")
    lengths = np.array([length for _, length, _ in chosen], dtype=int)
    return starts, lengths, np.array([value for _, _, value in chosen], dtype=float)


def _place(
    builder: ForecastBuilder,
    flags: list[Flag],
    theirs: str,
    ours: str,
    units: Mapping,
    starts: np.ndarray,
    lengths: np.ndarray | None,
    plain: np.ndarray,
) -> None:
    unit = units.get(theirs) or (
        "%" if VARIABLES[ours].kind == "probability" and theirs not in units else None
    )
    values = in_canonical_unit(plain, unit, UNITS, VARIABLES[ours].dimension)
    if values is None:
        stated = f'the unit "{words(unit, 40)}", which is not known' if unit else "no unit"
        flags.append(Flag("unit", ours, f"{theirs} has {stated}", makes_unknown=(ours,)))
        builder.unknown(ours, Reason.UNIT)
    elif lengths is None:
        builder.instants(ours, starts, values)
    else:
        builder.blocks(ours, starts, lengths, values)
