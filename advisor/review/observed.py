"""The weather that was, put together from reports of stations, files, and the past hours of later forecasts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from advisor.clock import HOUR, to_numpy
from advisor.forecast import Field, Forecast, Provenance, Reason
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
    reason = np.full(hours, Reason.NOT_CARRIED, dtype=np.uint8)
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
    reason[~np.isnan(values)] = Reason.KNOWN
    blocked = VARIABLES[name].kind in ("sum", "probability") and bool((block_last > block_first).any())
    field = Field(
        values[None, None], reason[None, None],
        block_first[None, None] if blocked else None, block_last[None, None] if blocked else None,
    )  # fmt: skip
    return field, origin


def with_coming(seen: Seen, coming: Forecast | None) -> Forecast:
    """What was seen, and after it what is forecast, with the forecast's members."""
    if coming is None:
        return seen.forecast
    fields = {}
    axis, start = seen.forecast.axis, coming.start
    at = ((axis - start) // HOUR).astype(int)
    inside = (at >= 0) & (at < coming.hours)
    position = np.clip(at, 0, coming.hours - 1)
    for name in dict.fromkeys([*seen.forecast.fields, *coming.fields]):
        past, later = seen.forecast.values(name), coming.values(name)[:1]
        later = np.where(inside, later[..., position], np.nan)
        values = np.where(np.isnan(past), later, past)
        known = ~np.isnan(values).all(axis=1, keepdims=True)
        fields[name] = Field(values, np.where(known, Reason.KNOWN, Reason.AFTER_END).astype(np.uint8))
    nominal = np.where(inside, coming.nominal_members[position], 1)
    return Forecast(seen.forecast.start, seen.forecast.hours, fields, coming.provenance, nominal)
