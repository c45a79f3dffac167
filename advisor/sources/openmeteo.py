"""Open-Meteo: its hourly answers as a Forecast; what to ask stands in `openmeteo_requests`.

Times. Labels are local wall time under one fixed offset for the whole answer, which the answer states; that
offset is taken off and nothing else. Instants stand at their label. Sums, means, maxima and probabilities
belong to the hour that ENDS at the label, so they move to the hour before.

Chances and amounts that are really of six or three hours are found by `openmeteo_blocks`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from advisor.clock import HOUR
from advisor.errors import WeatherError
from advisor.forecast import Flag, Forecast, ForecastBuilder, Provenance, Reason
from advisor.sources import openmeteo_blocks as blocks
from advisor.sources import openmeteo_keys as keys
from advisor.sources.openmeteo_requests import (
    BASE,
    NAME,
    archive_request,
    call_weight,
    ensemble_request,
    forecast_request,
)
from advisor.sources.reading import (
    MOST_HOURS,
    Document,
    check_span,
    height,
    in_canonical_unit,
    number,
    numbers,
    words,
)
from advisor.variables import VARIABLES

__all__ = [
    "BASE",
    "NAME",
    "archive_request",
    "call_weight",
    "ensemble_request",
    "forecast_request",
    "is_answer",
    "models_apart",
    "read",
]

TITLE = "Open-Meteo"
LICENCE = "CC BY 4.0"
ATTRIBUTION = "Weather data by Open-Meteo.com"
#: their names -> ours. Several of theirs may fill one of ours; the first that is served wins.
VARIABLE_MAP: dict[str, str] = {
    "temperature_2m": "air_temperature",
    "relative_humidity_2m": "relative_humidity",
    "relativehumidity_2m": "relative_humidity",
    "dew_point_2m": "dew_point",
    "dewpoint_2m": "dew_point",
    "wind_speed_10m": "wind_speed_10m",
    "windspeed_10m": "wind_speed_10m",
    "wind_direction_10m": "wind_from_direction",
    "winddirection_10m": "wind_from_direction",
    "wind_gusts_10m": "wind_gust",
    "windgusts_10m": "wind_gust",
    "precipitation": "precipitation",
    "precipitation_probability": "precipitation_probability",
    "cloud_cover": "cloud_cover",
    "cloudcover": "cloud_cover",
    "shortwave_radiation": "shortwave_radiation",
    "surface_pressure": "surface_pressure",
    "soil_temperature_6cm": "soil_temperature_5cm",
    "soil_temperature_0_to_10cm": "soil_temperature_5cm",
    "soil_temperature_0_to_7cm": "soil_temperature_5cm",
    "thunderstorm_probability": "thunder_probability",
}

UNITS: dict[str, str] = {
    "°C": "degC", "°F": "degF", "K": "kelvin", "km/h": "km/h", "m/s": "m/s", "mp/h": "mph", "mph": "mph",
    "kn": "kn", "mm": "mm", "inch": "inch", "cm": "cm", "%": "percent", "°": "deg", "W/m²": "W/m^2",
    "hPa": "hPa", "kPa": "kPa",
}  # fmt: skip

#: members times hours: a century of one model has 880,000, and twenty ensembles of 50 for 35 days have 840,000
_MOST_VALUES = 2_000_000
_LABEL = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d$")


def is_answer(data: Any) -> bool:
    """Whether decoded JSON looks like an answer or an error of this provider."""
    if isinstance(data, list):
        return bool(data) and all(isinstance(item, dict) and is_answer(item) for item in data)
    if not isinstance(data, dict):
        return False
    return (
        "generationtime_ms" in data
        or "utc_offset_seconds" in data
        or (data.get("error") is True and "reason" in data)
    )


def read(document: Document, fetched_at: datetime | None = None) -> Forecast:
    """The hourly part of a forecast, ensemble or archive answer.

    Raises
    ------
    WeatherError
        When the provider refused, when there are several places, no hourly part, or labels that cannot be
        placed.
    """
    data = _one_place(document.data)
    hourly, units = data.get("hourly"), data.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        carried = [part for part in ("daily", "current", "minutely_15") if part in data]
        found = f" (it holds {', '.join(carried)})" if carried else ""
        raise WeatherError(
            f"the Open-Meteo answer holds no hourly forecast{found}", hint='ask it with "hourly="'
        )
    labels = _labels(hourly.get("time"), units.get("time"), data.get("utc_offset_seconds"))
    check_span(labels[0], labels[-1], MOST_HOURS, TITLE)
    layout = keys.layout(hourly, VARIABLE_MAP)
    if len(layout.members) * len(labels) > _MOST_VALUES:
        raise WeatherError(
            f"the Open-Meteo answer holds {len(layout.members)} members of {len(labels)} hours, more than any model",
            hint="ask it for fewer days or models",
        )
    builder = ForecastBuilder(labels[0] - HOUR, labels[-1] + HOUR)
    flags: list[Flag] = list(layout.flags)
    filled: set[str] = set()
    for theirs, ours in VARIABLE_MAP.items():
        if ours in filled or theirs not in layout.keys:
            continue
        values, said = _series(theirs, ours, hourly, units, layout, len(labels))
        flags.extend(said)
        if values is None:
            # what is there and cannot be used is lost, and not absent: no estimate may take its place
            if any(flag.check != "not-served" for flag in said):
                wrong_unit = any(flag.check == "unit" for flag in said)
                builder.unknown(ours, Reason.UNIT if wrong_unit else Reason.NULL)
            continue
        filled.add(ours)
        _place_series(builder, ours, labels, values)
    if not filled:
        raise WeatherError(
            "the Open-Meteo answer holds none of the variables that are needed",
            hint="ask at least temperature_2m, wind_speed_10m and precipitation",
        )
    provenance = Provenance(
        NAME,
        fetched_at=fetched_at,
        latitude=_within(data.get("latitude"), 90.0),
        longitude=_within(data.get("longitude"), 180.0),
        elevation=height(data.get("elevation")),
        attribution=ATTRIBUTION,
        spread="ensemble" if layout.ensemble else "none",
        notes=layout.notes,
    )
    nominal = layout.nominal(builder.start + np.arange(builder.hours) * HOUR, fetched_at, builder)
    return builder.build(provenance, nominal).with_fields({}, flags)


def models_apart(document: Document) -> dict[str, Document]:
    """An ensemble answer of several models as one answer a model, by the model's name; empty for any other answer.

    Read by themselves, models can be pooled with equal weight, whatever their number of members.
    """
    data = _one_place(document.data)
    hourly, units = data.get("hourly"), data.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        return {}
    layout = keys.layout(hourly, VARIABLE_MAP)
    models = list(dict.fromkeys(model for model, _ in layout.members))
    if not layout.ensemble or len(models) < 2:
        return {}
    found = {}
    for model in models:
        own = [key for held in layout.keys.values() for (name, _), key in held.items() if name == model]
        part = {
            **data,
            "hourly": {"time": hourly.get("time"), **{key: hourly[key] for key in own}},
            "hourly_units": {"time": units.get("time"), **{key: units[key] for key in own if key in units}},
        }
        found[model or "unnamed"] = replace(document, data=part)
    return found


def _one_place(data: Any) -> dict:
    if isinstance(data, list):
        if len(data) != 1:
            raise WeatherError(
                f"the Open-Meteo answer holds {len(data)} places, and one is wanted",
                hint="ask one place at a time",
            )
        data = data[0]
    if not isinstance(data, dict):
        raise WeatherError("the answer is not of Open-Meteo", hint="give the provider's own JSON")
    if data.get("error"):
        reason = words(data.get("reason")) or "it gives no reason"
        raise WeatherError(f"Open-Meteo refused the request: {reason}", hint=_what_to_do(reason))
    return data


def _what_to_do(reason: str) -> str:
    if "limit exceeded" in reason or "concurrent" in reason:
        return "wait as long as it says; the last answer that was kept still counts until it is too old"
    if "overloaded" in reason:
        return "ask again in a few minutes"
    return "correct the request: the site's coordinates, or the variables asked"


def _unreadable_times() -> WeatherError:
    return WeatherError(
        "the times of the Open-Meteo answer cannot be read",
        hint="ask it with timeformat=iso8601 and timezone=GMT",
    )


def _labels(times: Any, form: Any, offset: Any) -> np.ndarray:
    """Labels as UTC hours, datetime64[h]."""
    if not isinstance(times, list) or not times:
        raise WeatherError("the Open-Meteo answer holds no times", hint="ask again")
    if form == "unixtime" and all(type(time) is int and abs(time) < 10**11 for time in times):
        seconds = np.array(times, dtype="int64").astype("datetime64[s]")
    elif form == "iso8601" and all(isinstance(time, str) and _LABEL.match(time) for time in times):
        if np.isnan(number(offset)) or abs(offset) > 86400:
            raise WeatherError(
                "the Open-Meteo answer does not say the offset of its times", hint="ask it with timezone=GMT"
            )
        try:
            seconds = np.array(times, dtype="datetime64[s]") - np.timedelta64(int(offset), "s")
        except ValueError as error:
            raise _unreadable_times() from error
    else:
        raise _unreadable_times()
    hours = seconds.astype("datetime64[h]")
    if np.isnat(hours).any() or (hours.astype("datetime64[s]") != seconds).any():
        raise WeatherError(
            "the hourly labels of the Open-Meteo answer are not full hours of UTC",
            hint="its time zone is a half hour off; ask it with timezone=GMT",
        )
    if (np.diff(hours) != HOUR).any():
        raise WeatherError(
            "the hourly labels of the Open-Meteo answer are not one hour apart",
            hint="ask it for hourly values of one unbroken span",
        )
    return hours


def _series(
    theirs: str, ours: str, hourly: Mapping, units: Mapping, layout: keys.Layout, length: int
) -> tuple[np.ndarray | None, list[Flag]]:
    """Values (member, label) in the canonical unit, or None with the flag that says why."""
    dimension = VARIABLES[ours].dimension
    found = layout.keys[theirs]
    rows = np.full((len(layout.members), length), np.nan)
    said: dict[str, Flag] = {}
    usable = False
    for row, member in enumerate(layout.members):
        key = found.get(member)
        if key is None:
            continue
        unit, values = units.get(key), hourly[key]
        if unit == "undefined":
            said["not-served"] = Flag(
                "not-served", ours, f"this endpoint does not serve {theirs}", makes_unknown=(ours,)
            )
            continue
        if not isinstance(values, list) or len(values) != length:
            said["length"] = Flag(
                "length", ours, f"{key} has not one value for each time", makes_unknown=(ours,)
            )
            continue
        plain, wrong = numbers(values)
        if wrong:
            said["number"] = Flag(
                "number", ours, f"{wrong} values of {key} are not numbers", makes_unknown=(ours,)
            )
        converted = in_canonical_unit(plain, unit, UNITS, dimension)
        if converted is None:
            said["unit"] = Flag(
                "unit",
                ours,
                f'{key} has the unit "{words(unit, 40)}", which is not known',
                makes_unknown=(ours,),
            )
            continue
        rows[row] = converted
        usable = True
    return (rows if usable else None), list(said.values())


def _place_series(builder: ForecastBuilder, name: str, labels: np.ndarray, values: np.ndarray) -> None:
    kind = VARIABLES[name].kind
    if kind == "instant":
        builder.instants(name, labels, values)
        return
    builder.blocks(name, *blocks.find(kind, labels - HOUR, values))


def _within(value: Any, limit: float) -> float | None:
    value = number(value)
    return value if abs(value) <= limit else None
