"""Past hours of a forecast replaced by what was measured, and filled by what later answers said of them.

====================  ==================================================================================
hours that are over   measured values replace the forecast's own, in all members; a gap of the forecast is
                      filled from the past hours of other answers, never from what they had only forecast
hours still to come   stay as they are
variables             only those that the forecast carries: one that is known of the past alone would look like a gap
                      of what is to come. Humidity and dew point follow from each other
====================  ==================================================================================

The soil's water balance, the leaves before the work and the moisture before a runoff rest on these hours.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from advisor.atmosphere import moisture
from advisor.clock import HOUR, to_numpy
from advisor.forecast import Field, Forecast, Reason, on_axis
from advisor.variables import VARIABLES


@dataclass(frozen=True, eq=False)
class Past:
    """Past weather of one site, without members.

    Attributes
    ----------
    forecast : Forecast
        NaN where nothing is known.
    measured : mapping of str to ndarray of bool (hour,)
        Where a value was measured; elsewhere it is a later answer's word for a past hour.
    """

    forecast: Forecast
    measured: dict[str, np.ndarray]

    @property
    def empty(self) -> bool:
        return not any(one.known.any() for one in self.forecast.fields.values())


def with_past(forecast: Forecast, past: Past, now: datetime) -> Forecast:
    """The forecast with what is known of the hours that are over at `now`, on an axis that begins with the earlier."""
    if past.empty:
        return forecast
    past = _with_humidity(past)
    seen = past.forecast
    start = min(forecast.start, seen.start)
    end = forecast.start + forecast.hours * HOUR
    own = on_axis(forecast, start, int((end - start) / HOUR))
    # hours before the forecast begins promise as many members as its first one
    own = replace(own, nominal_members=np.where(own.axis < forecast.start, forecast.nominal_members[0],
                                                own.nominal_members))  # fmt: skip
    at = ((own.axis - seen.start) // HOUR).astype(int)
    inside = (at >= 0) & (at < seen.hours)
    at = np.clip(at, 0, seen.hours - 1)
    fields, taken = dict(own.fields), {}
    for name, one in seen.fields.items():
        if name not in own.fields:
            continue
        length = 0 if VARIABLES[name].kind == "instant" else 1
        over = inside & (own.axis + length * HOUR <= to_numpy(now))
        known = over & one.known[0, 0, at]
        measured = known & past.measured.get(name, np.zeros(seen.hours, dtype=bool))[at]
        fields[name], taken[name] = _laid_over(own, name, one, at, known, measured)
    hours = _hours(taken.values())
    if not hours:
        return forecast
    measured = _hours(past.measured[name][at] & where for name, where in taken.items() if name in past.measured)
    note = f"{hours} past hours known" + (f", {measured} of them measured" if measured else "")
    provenance = own.provenance
    credits = (provenance.attribution, seen.provenance.attribution if measured else "")
    provenance = replace(
        provenance,
        notes=(*provenance.notes, f"{note} ({'; '.join(seen.provenance.notes)})"),
        attribution="; ".join(dict.fromkeys(filter(None, credits))),
    )
    return replace(own, fields=fields, provenance=provenance)


def _with_humidity(past: Past) -> Past:
    """Past weather with humidity from the dew point and the dew point from humidity, where only the other is known."""
    fields, measured = dict(past.forecast.fields), dict(past.measured)
    if "air_temperature" not in fields:
        return past
    air = fields["air_temperature"].values
    for name, other, derive in (
        ("relative_humidity", "dew_point", moisture.relative_humidity),
        ("dew_point", "relative_humidity", moisture.dew_point),
    ):
        if other not in past.forecast.fields:
            continue
        derived = derive(air, past.forecast.fields[other].values)
        stated = past.forecast.fields.get(name)
        gap = np.ones(derived.shape, dtype=bool) if stated is None else np.isnan(stated.values)
        values = np.where(gap, derived, np.nan if stated is None else stated.values)
        reason = np.where(np.isnan(values), Reason.NULL, Reason.KNOWN).astype(np.uint8)
        fields[name] = Field(values, reason)
        of_derived = past.measured[other] & past.measured["air_temperature"]
        measured[name] = np.where(gap[0, 0], of_derived, past.measured.get(name, False))
    return Past(replace(past.forecast, fields=fields), measured)


def _hours(where: Iterable[np.ndarray]) -> int:
    """How many hours are marked in any of several rows."""
    rows = list(where)
    return int(np.any(rows, axis=0).sum()) if rows else 0


def _laid_over(own: Forecast, name: str, seen: Field, at: np.ndarray, known: np.ndarray, measured: np.ndarray):
    """(field, where it was changed)."""
    mine, there = own.fields[name], seen.values[:1, :1, at]
    hours = np.arange(own.hours, dtype=np.int32)
    take = measured | (known & ~mine.known.any(axis=(0, 1)))
    values = np.where(take, there, mine.values).astype(mine.values.dtype)
    reason = np.where(take, np.uint8(Reason.KNOWN), mine.reason)
    first, last = mine.block_first, mine.block_last
    if first is not None or seen.block_first is not None:
        shift = hours - at
        lent = [hours if edge is None else edge[0, 0, at] + shift for edge in (seen.block_first, seen.block_last)]
        kept = [hours if edge is None else edge for edge in (first, last)]
        first, last = (
            np.broadcast_to(np.where(take, theirs, ours), reason.shape).astype(np.int32)
            for theirs, ours in zip(lent, kept, strict=True)
        )
    return Field(values, reason, first, last), take
