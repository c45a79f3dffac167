"""US National Weather Service: what to ask, and the raw gridpoint layers as a Forecast.

A layer is a list of intervals with one value each. Equal hours are merged into one interval, except for
amounts, whose value is the total of the interval and is therefore divided by its length. Every layer has
intervals and an end of its own; after its end a layer is unknown, the amount of rain above all.

The text forecasts are refused: their wind is rounded to 5 mph, which is wider than the distance between most
limits.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np

from advisor.errors import WeatherError
from advisor.forecast import Flag, Forecast, ForecastBuilder, Provenance, Reason
from advisor.sources.iso8601 import interval_hours
from advisor.sources.reading import Document, check_span, height, in_canonical_unit, moment, number, words
from advisor.sources.request import Request, latitude_text, longitude_text
from advisor.variables import VARIABLES

NAME = "nws"
TITLE = "National Weather Service"
LICENCE = "US public domain"
ATTRIBUTION = "Data from the US National Weather Service"
BASE = "https://api.weather.gov"
ACCEPT = "application/geo+json"

#: their layers -> ours
VARIABLE_MAP: dict[str, str] = {
    "temperature": "air_temperature",
    "dewpoint": "dew_point",
    "relativeHumidity": "relative_humidity",
    "windSpeed": "wind_speed_10m",
    "windDirection": "wind_from_direction",
    "windGust": "wind_gust",
    "quantitativePrecipitation": "precipitation",
    "probabilityOfPrecipitation": "precipitation_probability",
    "skyCover": "cloud_cover",
    "probabilityOfThunder": "thunder_probability",
    "pressure": "surface_pressure",
}

#: a unit is the text after the last colon of "wmoUnit:km_h-1"
UNITS: dict[str, str] = {
    "degC": "degC", "degF": "degF", "K": "kelvin", "km_h-1": "km/h", "m_s-1": "m/s", "kt": "kn", "mm": "mm",
    "m": "m", "percent": "percent", "degree_(angle)": "deg", "Pa": "Pa", "hPa": "hPa", "W_m-2": "W/m^2",
}  # fmt: skip

#: layers that never state a unit, and the one unit they can have
UNSTATED: dict[str, str] = {"probabilityOfThunder": "percent"}

_LONGEST = 24 * 60
#: intervals that overlap may cover so many times the longest forecast, which a few damaged ones do
_MOST_SHARED = 4
_OFFICE, _CELL = re.compile(r"[A-Z]{3}", re.ASCII), re.compile(r"-?\d{1,5}", re.ASCII)


def points_request(latitude: float, longitude: float, *, base: str | None = None) -> Request:
    """Which grid cell a place belongs to. Ask it again at least weekly: offices redefine their grids."""
    place = f"{latitude_text(latitude)},{longitude_text(longitude)}"
    return Request(f"{(base or BASE).rstrip('/')}/points/{place}", {}, {"Accept": ACCEPT}, NAME)


def forecast_request(points: Document, *, base: str | None = None) -> Request:
    """The raw gridpoint layers of the cell that a points answer names."""
    office, x, y = grid_cell(points)
    return Request(f"{(base or BASE).rstrip('/')}/gridpoints/{office}/{x},{y}", {}, {"Accept": ACCEPT}, NAME)


def grid_cell(points: Document) -> tuple[str, int, int]:
    """Office and cell of a points answer; the cell may be text or a number, and old answers name only an
    address.

    Raises
    ------
    WeatherError
        When the answer is none, the cell lies at sea, or the place has no cell.
    """
    properties = _properties(points)
    if properties.get("type") == "marine":
        raise WeatherError(
            "this place lies in a marine cell, for which there is no forecast on land",
            hint="check the coordinates",
        )
    office, x, y = properties.get("gridId"), properties.get("gridX"), properties.get("gridY")
    address = properties.get("forecastGridData")
    if not office and isinstance(address, str) and "/gridpoints/" in address:
        parts = address.rsplit("/gridpoints/", 1)[1].replace(",", "/").split("/")
        office, x, y = (*parts, None, None, None)[:3]
    # they become part of an address
    cell = [words(one, 10) for one in (office, x, y)]
    if not _OFFICE.fullmatch(cell[0]) or not all(_CELL.fullmatch(one) for one in cell[1:]):
        raise WeatherError(
            "the points answer names no grid cell for this place",
            hint="the National Weather Service covers the United States only; check the coordinates",
        )
    return cell[0], int(cell[1]), int(cell[2])


def is_answer(data: Any) -> bool:
    """Whether decoded JSON looks like an answer or an error of this provider."""
    if not isinstance(data, dict):
        return False
    if isinstance(data.get("correlationId"), str) and "status" in data and "title" in data:
        return True
    named = " ".join(words(data.get(name)) for name in ("type", "instance", "id"))
    if "api.weather.gov" in named or "noaa:nws" in named:
        return True
    context = data.get("@context")
    if any("api.weather.gov" in words(one) for one in _context(context)):
        return True
    properties = data.get("properties")
    if isinstance(properties, dict):
        return words(properties.get("@type")).startswith("wx:") or kind_of(data) in (
            "gridpoints",
            "text",
            "points",
        )
    return kind_of(data) in ("alerts", "stations", "observations")


def kind_of(data: Any) -> str:
    """gridpoints, text, points, alerts, stations, observations, problem or unknown."""
    if not isinstance(data, dict):
        return "unknown"
    if "status" in data and "title" in data and "properties" not in data:
        return "problem"
    properties = data.get("properties")
    if isinstance(properties, dict):
        if isinstance(properties.get("periods"), list):
            return "text"
        if "gridId" in properties and "updateTime" in properties or _has_layers(properties):
            return "gridpoints"
        if "forecastGridData" in properties:
            return "points"
        return "observations" if "timestamp" in properties else "unknown"
    if "features" in data:
        features = data["features"] if isinstance(data["features"], list) else []
        sample = features[0].get("properties") if features and isinstance(features[0], dict) else None
        sample = sample if isinstance(sample, dict) else {}
        for mark, kind in (
            ("event", "alerts"),
            ("stationIdentifier", "stations"),
            ("timestamp", "observations"),
        ):
            if mark in sample:
                return kind
        if "title" in data and "updated" in data:
            return "alerts"
        return "stations" if "observationStations" in data else "observations"
    return "unknown"


def _has_layers(properties: Mapping) -> bool:
    layers = [properties.get(name) for name in VARIABLE_MAP]
    return sum(isinstance(layer, dict) and "values" in layer for layer in layers) >= 3


_OTHER_KINDS = {
    "text": (
        "this is a text forecast, whose wind is rounded to 5 mph",
        "give the raw gridpoint answer of the same cell: its address ends before /forecast",
    ),
    "points": (
        "this answer only names the grid cell of a place",
        "ask the address under forecastGridData next",
    ),
    "alerts": ("this answer holds warnings, not a forecast", "give the raw gridpoint answer"),
    "stations": ("this answer lists stations, and is no forecast", "give the raw gridpoint answer"),
    "observations": ("this answer holds observations, not a forecast", "give the raw gridpoint answer"),
    "unknown": (
        "the National Weather Service answer holds no gridpoint layers",
        "give the raw gridpoint answer",
    ),
}


def problem_name(data: Any) -> str:
    """The last segment of a problem report's type, such as ForecastGridExpired; what precedes it has
    changed."""
    if kind_of(data) != "problem" or not isinstance(data.get("type"), str):
        return ""
    return words(data["type"].replace(":", "/").rsplit("/", 1)[-1], 60)


def refuse_problem(data: Any) -> None:
    """Raise the provider's own reason when the body is one of its problem reports."""
    if kind_of(data) != "problem":
        return
    name = problem_name(data)
    said = words(data.get("detail")) or words(data.get("title")) or "it gives no reason"
    hints = {
        "InvalidPoint": "the National Weather Service covers the United States only; check the coordinates",
        "ForecastGridExpired": "the office has sent nothing for about a day; use another source till then",
        "UnavailableWebService": "ask again in ten minutes",
        "UnexpectedProblem": "ask again in a minute; it usually passes",
    }
    raise WeatherError(
        f"the National Weather Service refused: {said} ({name or words(data.get('status')) or 'no status'})",
        hint=hints.get(name, "ask again later"),
    )


def read(document: Document, fetched_at: datetime | None = None) -> Forecast:
    """The raw gridpoint layers of one cell.

    Raises
    ------
    WeatherError
        For a problem report, any other kind of answer, or layers without a single usable interval.
    """
    refuse_problem(document.data)
    kind = kind_of(document.data)
    if kind != "gridpoints":
        what, hint = _OTHER_KINDS[kind]
        raise WeatherError(what, hint=hint)
    properties = _properties(document)
    flags: list[Flag] = []
    layers: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]] = {}
    unusable: dict[str, Reason] = {}
    for theirs, ours in VARIABLE_MAP.items():
        layer = properties.get(theirs)
        if not isinstance(layer, dict) or not isinstance(layer.get("values"), list) or not layer["values"]:
            continue
        placed = _layer(theirs, ours, layer, flags)
        if isinstance(placed, Reason):
            unusable[ours] = placed
        else:
            layers[ours] = placed
    if not layers:
        raise WeatherError("the gridpoint answer holds no layer that can be used", hint="ask again later")
    first = min(starts.min() for starts, _, _ in layers.values())
    end = max((starts + lengths).max() for starts, lengths, _ in layers.values())
    check_span(first, end, _LONGEST, TITLE)
    builder = ForecastBuilder(first, end)
    for ours, (starts, lengths, values) in layers.items():
        builder.blocks(ours, starts, lengths, values)
    for ours, reason in unusable.items():
        builder.unknown(ours, reason)
    latitude, longitude = _centre(document.data.get("geometry"))
    provenance = Provenance(
        NAME,
        fetched_at=fetched_at,
        issued_at=moment(properties.get("updateTime")),
        latitude=latitude,
        longitude=longitude,
        elevation=_elevation(properties.get("elevation")),
        attribution=ATTRIBUTION,
        notes=(
            "grid cell {} {},{}".format(
                *(words(properties.get(one), 20) for one in ("gridId", "gridX", "gridY"))
            ),
        ),
    )
    return builder.build(provenance).with_fields({}, flags)


def _properties(document: Document) -> Mapping:
    data = document.data
    if isinstance(data, dict) and isinstance(data.get("properties"), dict):
        return data["properties"]
    refuse_problem(data)
    raise WeatherError(
        "the answer is not of the National Weather Service", hint="give the provider's own JSON"
    )


def unit_text(unit: Any) -> str | None:
    """The unit after the last colon: the namespace before it has changed over the years."""
    return unit.rsplit(":", 1)[-1] if isinstance(unit, str) else None


def _layer(
    theirs: str, ours: str, layer: Mapping, flags: list[Flag]
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | Reason:
    """Starts, lengths [h] and values in the canonical unit; or, with a flag, why there are none."""
    placed, odd = [], 0
    for entry in layer["values"]:
        span = interval_hours(entry.get("validTime")) if isinstance(entry, dict) else None
        if span is None or span[1] > _LONGEST:
            odd += 1
            continue
        value = entry.get("value")
        odd += value is not None and type(value) not in (int, float)
        placed.append((*span, number(value)))
    if odd:
        flags.append(
            Flag(
                "interval",
                ours,
                f"{odd} entries of {theirs} cannot be placed in whole hours",
                makes_unknown=(ours,),
            )
        )
    if not placed:
        return Reason.NULL
    unit = layer.get("uom") or layer.get("unitCode") or UNSTATED.get(theirs)
    values = np.array([value for _, _, value in placed], dtype=float)
    converted = in_canonical_unit(values, unit_text(unit), UNITS, VARIABLES[ours].dimension)
    if converted is None:
        stated = f'the unit "{words(unit, 40)}", which is not known' if unit else "no unit"
        flags.append(Flag("unit", ours, f"{theirs} has {stated}", makes_unknown=(ours,)))
        return Reason.UNIT
    starts = np.array([start for start, _, _ in placed], dtype="datetime64[h]")
    lengths = np.array([length for _, length, _ in placed], dtype=int)
    order = np.argsort(starts, kind="stable")
    starts, lengths, converted = starts[order], lengths[order], converted[order]
    shared = _shared(starts, lengths)
    if not shared.any():
        return starts, lengths, converted
    says = f"{int(shared.sum())} intervals of {theirs} overlap"
    flags.append(Flag("overlap", ours, says, makes_unknown=(ours,)))
    if lengths.sum() > _MOST_SHARED * _LONGEST:
        return Reason.CONTRADICTION
    # Which of several values holds in a shared hour is not known, so none does.
    converted[shared] = np.nan
    return starts, lengths, converted


def _shared(starts: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """Which intervals, in the order of their starts, share an hour with another one."""
    reach = np.maximum.accumulate(starts + lengths)
    into = np.flatnonzero(starts[1:] < reach[:-1]) + 1
    shared = np.zeros(len(starts), dtype=bool)
    shared[into] = True
    # the one that reaches farthest before it is in its way
    farthest = np.maximum.accumulate(np.where(starts + lengths == reach, np.arange(len(starts)), 0))
    shared[farthest[into - 1]] = True
    return shared


def _elevation(quantity: Any) -> float | None:
    if not isinstance(quantity, dict):
        return None
    metres = in_canonical_unit(
        np.array([number(quantity.get("value"))]), unit_text(quantity.get("unitCode")), UNITS, "length"
    )
    return None if metres is None else height(float(metres[0]))


def _context(context: Any) -> list:
    """The parts of a JSON-LD context, one or several."""
    return context[:10] if isinstance(context, list) else [context]


def _centre(geometry: Any) -> tuple[float | None, float | None]:
    """Middle of the cell's polygon."""
    try:
        ring = geometry["coordinates"][0][:-1]
        corners = np.array([[number(value) for value in corner[:2]] for corner in ring])
        longitude, latitude = (float(value) for value in corners.mean(axis=0))
    except (TypeError, ValueError, KeyError, IndexError):
        return None, None
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
        return None, None
    return latitude, longitude
