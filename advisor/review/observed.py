"""The weather that was, put together from reports of stations, files, and the past hours of later forecasts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from advisor.atmosphere.wind import wind_speed_2m
from advisor.clock import HOUR, to_numpy
from advisor.forecast import Field, Forecast, ForecastBuilder, Provenance, Reason
from advisor.variables import VARIABLES

#: kinds of past weather, the surer first
MEASURED, PAST_HOURS = "measured", "past hours of a forecast"
KINDS = (MEASURED, PAST_HOURS)


@dataclass(frozen=True, eq=False)
class Part:
    """A piece of past weather. Hours that were not over by `until` had not happened yet; None takes all."""

    forecast: Forecast
    kind: str
    until: datetime | None = None


def part_of_readings(values: Mapping[str, float], started_at: datetime) -> Part | None:
    """What was measured on the spot when the work began, as past weather of that hour; None where nothing was.

    Parameters
    ----------
    values : mapping
        By the names of `advisor.recording.details.WeatherThen`, SI.
    """
    hour = to_numpy(started_at, "h")
    at_10m = {name: value for name, value in values.items() if name in VARIABLES}
    if "wind_speed_2m" in values:
        at_10m["wind_speed_10m"] = values["wind_speed_2m"] / float(wind_speed_2m(1.0))
    builder = ForecastBuilder(hour, hour + HOUR)
    for name, value in at_10m.items():
        if VARIABLES[name].kind == "instant":
            builder.instants(name, np.array([hour]), np.array([value]))
    forecast = builder.build(Provenance("readings", attribution="readings of the start"))
    return Part(forecast, MEASURED) if forecast.fields else None


@dataclass(frozen=True, eq=False)
class Seen:
    """Past weather of one site on one axis.

    Attributes
    ----------
    forecast : Forecast
        One member; NaN where nothing was seen.
    origin : dict of str to ndarray of int8 (hour,)
        1 + position in `KINDS` of where a value comes from; 0 where there is none.
    """

    forecast: Forecast
    origin: dict[str, np.ndarray]

    def kind(self, names: Sequence[str], first: int, stop: int) -> str:
        """The least sure kind among what was seen of these variables over [first, stop); "" where nothing was."""
        found = [self.origin[name][max(first, 0) : max(stop, 0)] for name in names if name in self.origin]
        worst = max((int(part.max()) for part in found if len(part)), default=0)
        return KINDS[worst - 1] if worst else ""

    @property
    def empty(self) -> bool:
        return not any(one.any() for one in self.origin.values())


def merge(parts: Sequence[Part], first: np.datetime64, hours: int) -> Seen:
    """Past weather on the axis [first, first + hours); of several parts the first that knows an hour counts."""
    axis = first.astype("datetime64[h]") + np.arange(hours) * HOUR
    names = list(dict.fromkeys(name for part in parts for name in part.forecast.fields))
    fields, origin = {}, {}
    for name in names:
        fields[name], origin[name] = _merge_one(name, parts, axis)
    told = list(dict.fromkeys(_says(part) for part in parts))
    provenance = Provenance("seen", notes=tuple(told), attribution="; ".join(told))
    return Seen(Forecast(axis[0], hours, fields, provenance, np.ones(hours, dtype=int)), origin)


def _says(part: Part) -> str:
    provenance = part.forecast.provenance
    return f"{part.kind}: {provenance.attribution or '; '.join(provenance.notes) or provenance.source}"


def _merge_one(name: str, parts: Sequence[Part], axis: np.ndarray) -> tuple[Field, np.ndarray]:
    hours = len(axis)
    values, origin = np.full(hours, np.nan), np.zeros(hours, dtype=np.int8)
    block_first, block_last = np.arange(hours, dtype=np.int32), np.arange(hours, dtype=np.int32)
    length = 0 if VARIABLES[name].kind == "instant" else 1
    for part in parts:
        one = part.forecast.fields.get(name)
        if one is None:
            continue
        at = ((axis - part.forecast.start) // HOUR).astype(int)
        inside = (at >= 0) & (at < part.forecast.hours)
        row = np.median(one.values[0], axis=0)
        found = np.where(inside, row[np.clip(at, 0, part.forecast.hours - 1)], np.nan)
        last = at + length
        if one.block_last is not None:
            last = np.where(inside, one.block_last[0, 0, np.clip(at, 0, part.forecast.hours - 1)] + 1, last)
        if part.until is not None:
            over = (to_numpy(part.until) - part.forecast.start.astype("datetime64[s]")) / np.timedelta64(
                3600, "s"
            )
            found = np.where(last <= over, found, np.nan)
        take = np.isnan(values) & ~np.isnan(found)
        values[take] = found[take]
        origin[take] = 1 + KINDS.index(part.kind)
        if one.block_first is not None:
            shift = np.arange(hours) - at
            block_first[take] = (one.block_first[0, 0, at[take]] + shift[take]).astype(np.int32)
            block_last[take] = (one.block_last[0, 0, at[take]] + shift[take]).astype(np.int32)
    reason = _reasons(values, any(name in part.forecast.fields for part in parts))
    blocked = VARIABLES[name].kind in ("sum", "probability") and bool((block_last > block_first).any())
    field = Field(
        values[None, None], reason[None, None],
        block_first[None, None] if blocked else None, block_last[None, None] if blocked else None,
    )  # fmt: skip
    return field, origin


def _reasons(values: np.ndarray, carried: bool) -> np.ndarray:
    reason = np.full(len(values), Reason.NULL if carried else Reason.NOT_CARRIED, dtype=np.uint8)
    known = np.flatnonzero(~np.isnan(values))
    if len(known):
        reason[: known[0]] = Reason.BEFORE_START
        reason[known[-1] + 1 :] = Reason.AFTER_END
        reason[known] = Reason.KNOWN
    return reason


def with_coming(seen: Seen, coming: Forecast | None) -> Forecast:
    """What was seen, and after it what is forecast, with the forecast's members and blocks."""
    if coming is None:
        return seen.forecast
    fields = {}
    axis, hours = seen.forecast.axis, seen.forecast.hours
    at = ((axis - coming.start) // HOUR).astype(int)
    inside = (at >= 0) & (at < coming.hours)
    position = np.clip(at, 0, coming.hours - 1)
    for name in dict.fromkeys([*seen.forecast.fields, *coming.fields]):
        past, later = seen.forecast.values(name), coming.values(name)[:1]
        later = np.where(inside, later[..., position], np.nan)
        values = np.where(np.isnan(past), later, past)
        known = ~np.isnan(values).all(axis=1, keepdims=True)
        reason = np.where(known, Reason.KNOWN, Reason.AFTER_END).astype(np.uint8)
        fields[name] = Field(
            values, reason, *_blocks(name, seen.forecast, coming, np.isnan(past[0, 0]) & inside, at)
        )
    nominal = np.where(inside, coming.nominal_members[position], 1)
    return Forecast(seen.forecast.start, hours, fields, coming.provenance, nominal)


def _blocks(name: str, past: Forecast, coming: Forecast, later: np.ndarray, at: np.ndarray):
    """(first, last) hours of the blocks on the axis of `past`; nothing where every hour is its own."""
    own = np.arange(past.hours)
    first, last = own.copy(), own.copy()
    one, other = past.fields.get(name), coming.fields.get(name)
    if one is not None and one.block_first is not None:
        first, last = one.block_first[0, 0].astype(int), one.block_last[0, 0].astype(int)
    if other is not None and other.block_first is not None:
        shift = own - at
        first[later] = other.block_first[0, 0, at[later]] + shift[later]
        last[later] = other.block_last[0, 0, at[later]] + shift[later]
    if not (last > first).any():
        return None, None
    return first.astype(np.int32)[None, None], last.astype(np.int32)[None, None]
