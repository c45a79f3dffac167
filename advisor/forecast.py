"""The canonical forecast: every source's answer as arrays (site, member, hour) on one axis of UTC hours.

Hours are half-open, stamped at their start. A value that is not known is NaN, and `Field.reason` says why, hour by
hour. Amounts and probabilities keep the block of hours they were stated for: a six-hour amount is spread evenly over
its hours for the axis, but remains one block for every judgement.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from enum import IntEnum

import numpy as np

from advisor.clock import HOUR
from advisor.variables import VARIABLES


class Reason(IntEnum):
    """Why a value is unknown; KNOWN where it is not."""

    KNOWN = 0
    NOT_CARRIED = 1
    NULL = 2
    AFTER_END = 3
    BEFORE_START = 4
    COARSE_STEP = 5
    IMPLAUSIBLE = 6
    CONTRADICTION = 7
    STUCK = 8
    STALE = 9
    UNIT = 10
    DISAGREEMENT = 11
    NOT_FETCHED = 12


REASON_TEXT: dict[Reason, str] = {
    Reason.NOT_CARRIED: "the source does not carry it",
    Reason.NULL: "the source left it empty",
    Reason.AFTER_END: "it lies after the end of the source's data",
    Reason.BEFORE_START: "it lies before the start of the source's data",
    Reason.COARSE_STEP: "the source gives values several hours apart, and what lies between is not known",
    Reason.IMPLAUSIBLE: "the source's value is impossible",
    Reason.CONTRADICTION: "the source contradicts itself",
    Reason.STUCK: "the source repeats one value for too long",
    Reason.STALE: "the forecast is too old",
    Reason.UNIT: "the source states a unit that is not known here",
    Reason.DISAGREEMENT: "two sources differ by more than forecasts usually err, and which is right is not known",
    Reason.NOT_FETCHED: "it was asked for and could not be had",
}


#: note on a stored answer that says neither when it was issued nor when it was fetched
AGE_ASSUMED = "the answer does not say how old it is: it is taken as fetched now"


@dataclass(frozen=True, slots=True)
class Field:
    """One variable of a forecast.

    Attributes
    ----------
    values : ndarray (site, member, hour)
        Canonical unit of the variable; NaN where unknown. The member axis has length 1 for a value that all members
        share. Sums hold the block's amount divided by its length.
    reason : ndarray of uint8 (site, 1, hour)
        A `Reason` for each hour; 0 where at least one member is known.
    block_first, block_last : ndarray of int32 (site, 1, hour), optional
        Index of the first and of the last hour of the block an hour belongs to, on the forecast's axis (they may lie
        outside it). None means that every hour is its own block.
    """

    values: np.ndarray
    reason: np.ndarray
    block_first: np.ndarray | None = None
    block_last: np.ndarray | None = None

    @property
    def known(self) -> np.ndarray:
        return ~np.isnan(self.values)


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a forecast comes from. `issued_at` is None where the answer does not say.

    `own_axis` is the first hour and the number of hours of the answer itself, whatever has been laid around it since.
    `no_past_before` is the hour before which none of the household's answers ever held anything, so that nothing of it
    can be lost; None where one may have.
    """

    source: str
    fetched_at: datetime | None = None
    issued_at: datetime | None = None
    latitude: float | None = None
    longitude: float | None = None
    elevation: float | None = None
    attribution: str = ""
    sha256: str = ""
    #: spread between members: "none", "ensemble", "assumed spread" or "learned from N days"
    spread: str = "none"
    notes: tuple[str, ...] = ()
    own_axis: tuple[np.datetime64, int] | None = None
    no_past_before: np.datetime64 | None = None

    def age_hours(self, now: datetime) -> float | None:
        """Age at `now` [h], counted from the issue, else from the fetch; None when neither is known."""
        since = self.issued_at or self.fetched_at
        return None if since is None else (now - since).total_seconds() / 3600.0


@dataclass(frozen=True, slots=True)
class Flag:
    """Something that quality control saw: which check, on what, where, and what it made unknown."""

    check: str
    variable: str
    says: str
    first_hour: np.datetime64 | None = None
    last_hour: np.datetime64 | None = None
    makes_unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Forecast:
    """Fields on one hourly axis.

    Attributes
    ----------
    start : datetime64[h]
        First hour, UTC.
    hours : int
        Length of the axis.
    fields : mapping of str to Field
        By the names of `advisor.variables`.
    nominal_members : ndarray of int (hour,)
        How many members the source promises at that hour, whatever arrived.
    """

    start: np.datetime64
    hours: int
    fields: Mapping[str, Field]
    provenance: Provenance
    nominal_members: np.ndarray
    flags: tuple[Flag, ...] = field(default=())

    @property
    def axis(self) -> np.ndarray:
        """The hours, datetime64[h] (hour,)."""
        return self.start + np.arange(self.hours) * HOUR

    @property
    def sites(self) -> int:
        return max((f.values.shape[0] for f in self.fields.values()), default=1)

    @property
    def members(self) -> int:
        return max((f.values.shape[1] for f in self.fields.values()), default=1)

    def values(self, name: str) -> np.ndarray:
        """Values of a variable (site, member, hour); all NaN when the source does not carry it."""
        if name in self.fields:
            return self.fields[name].values
        return np.full((1, 1, self.hours), np.nan)

    def reason(self, name: str) -> np.ndarray:
        if name in self.fields:
            return self.fields[name].reason
        return np.full((1, 1, self.hours), Reason.NOT_CARRIED, dtype=np.uint8)

    def index(self, instant: np.datetime64) -> int:
        """Position of an hour on the axis; it may lie outside."""
        return int((instant.astype("datetime64[h]") - self.start) // HOUR)

    def with_fields(self, fields: Mapping[str, Field], flags: Iterable[Flag] = ()) -> Forecast:
        return replace(self, fields={**self.fields, **fields}, flags=(*self.flags, *flags))


def extended(forecast: Forecast, hours: int) -> Forecast:
    """The forecast on an axis of at least so many hours; what is added lies after the end of the data."""
    more = hours - forecast.hours
    if more <= 0:
        return forecast

    def longer(one: Field) -> Field:
        def pad(values, fill):
            return np.concatenate(
                [values, np.full((*values.shape[:-1], more), fill, dtype=values.dtype)], axis=-1
            )

        first, last = one.block_first, one.block_last
        if first is not None:
            own = np.broadcast_to(
                np.arange(forecast.hours, hours, dtype=first.dtype), (*first.shape[:-1], more)
            )
            first, last = np.concatenate([first, own], axis=-1), np.concatenate([last, own], axis=-1)
        return Field(pad(one.values, np.nan), pad(one.reason, Reason.AFTER_END), first, last)

    nominal = np.append(forecast.nominal_members, np.repeat(forecast.nominal_members[-1:], more))
    fields = {name: longer(one) for name, one in forecast.fields.items()}
    return replace(forecast, hours=hours, fields=fields, nominal_members=nominal)


def on_axis(forecast: Forecast, start: np.datetime64, hours: int) -> Forecast:
    """The same forecast on an axis that holds its own: unknown before and after, and promising nothing there."""
    before = int((forecast.start - start) / HOUR)
    after = hours - before - forecast.hours
    if before < 0 or after < 0:
        raise ValueError("The new axis must hold the forecast's own.")
    if before == 0 and after == 0:
        return forecast
    fields = {}
    for name, one in forecast.fields.items():
        width = ((0, 0), (0, 0), (before, after))
        values = np.pad(one.values, width, constant_values=np.nan)
        reason = np.pad(one.reason, width, constant_values=int(Reason.AFTER_END))
        reason[..., :before] = int(Reason.BEFORE_START)
        bounds = [None, None]
        if one.block_first is not None:
            own = np.arange(hours, dtype=np.int32)
            bounds = []
            for block in (one.block_first, one.block_last):
                moved = np.pad(block + before, width)
                moved[..., :before], moved[..., hours - after :] = own[:before], own[hours - after :]
                bounds.append(moved.astype(np.int32))
        fields[name] = Field(values, reason, *bounds)
    nominal = np.pad(forecast.nominal_members, (before, after))
    return replace(forecast, start=start, hours=hours, fields=fields, nominal_members=nominal)


def empty_forecast(now: datetime, why: str, hours: int = 192) -> Forecast:
    """A forecast that knows nothing: what stands in where no source has answered. Never a go."""
    start = np.datetime64(now.astimezone(UTC).replace(tzinfo=None), "h")
    provenance = Provenance("none", attribution=f"no forecast ({why})", notes=(why,))
    return Forecast(start, hours, {}, provenance, np.ones(hours, dtype=int))


class ForecastBuilder:
    """Collects one site's series of any step into a Forecast. Used by the parsers only.

    Parameters
    ----------
    start, end : datetime64[h]
        The axis is [start, end).
    """

    def __init__(self, start: np.datetime64, end: np.datetime64):
        self.start, self.hours = start.astype("datetime64[h]"), int((end - start) / HOUR)
        self._fields: dict[str, Field] = {}

    def instants(self, name: str, times: np.ndarray, values: np.ndarray) -> None:
        """Values at instants (time,) or (member, time), NaN where the source says null; any steps.

        Between instants further than one hour apart nothing is known.
        """
        values = np.atleast_2d(np.asarray(values, dtype=float))
        out = np.full((1, values.shape[0], self.hours), np.nan)
        reason = self._outside(times, np.ones(len(times), dtype=int), Reason.COARSE_STEP)
        # A time off the full hour (a first entry such as 01:30) is no value for any hour of the axis.
        on_hour = times.astype("datetime64[s]") == times.astype("datetime64[h]").astype("datetime64[s]")
        at = self._positions(times)
        inside = (at >= 0) & (at < self.hours) & on_hour
        out[0, :, at[inside]] = values[:, inside].T
        reason[at[inside]] = np.where(np.isnan(values[:, inside]).all(axis=0), Reason.NULL, Reason.KNOWN)
        self._fields[name] = Field(out, reason[None, None, :])

    def blocks(self, name: str, starts: np.ndarray, lengths: np.ndarray, values: np.ndarray) -> None:
        """Values that hold for blocks of whole hours: `starts` datetime64[h], `lengths` [h] int, values
        (block,) or (member, block). Sums are divided by their length, other kinds repeated."""
        values = np.atleast_2d(np.asarray(values, dtype=float))
        kind = VARIABLES[name].kind
        out = np.full((1, values.shape[0], self.hours), np.nan)
        first = np.arange(self.hours, dtype=np.int32)
        last = first.copy()
        reason = self._outside(starts, lengths, Reason.NULL)
        positions, lengths = self._positions(starts), np.asarray(lengths, dtype=int)
        block = np.repeat(np.arange(len(lengths)), lengths)
        at = positions[block] + np.arange(len(block)) - (np.cumsum(lengths) - lengths)[block]
        inside = (at >= 0) & (at < self.hours)
        at, block = at[inside], block[inside]
        each = values / lengths if kind == "sum" else values
        out[0, :, at] = each[:, block].T
        reason[at] = np.where(np.isnan(values).all(axis=0), Reason.NULL, Reason.KNOWN)[block]
        first[at], last[at] = positions[block], (positions + lengths - 1)[block]
        blocked = kind in ("sum", "probability") and bool((lengths > 1).any())
        self._fields[name] = Field(
            out,
            reason[None, None, :],
            first[None, None, :] if blocked else None,
            last[None, None, :] if blocked else None,
        )

    def unknown(self, name: str, reason: Reason) -> None:
        """The source carries the variable, but nothing of it can be used, for one stated reason."""
        shape = (1, 1, self.hours)
        self._fields[name] = Field(np.full(shape, np.nan), np.full(shape, reason, dtype=np.uint8))

    def present(self, members: list[int]) -> np.ndarray:
        """Hours (hour,) at which any of these members of any variable is known."""
        found = np.zeros(self.hours, dtype=bool)
        for one in self._fields.values():
            if one.values.shape[1] > max(members):
                found |= ~np.isnan(one.values[0, members]).all(axis=0)
        return found

    def build(self, provenance: Provenance, nominal_members: np.ndarray | int = 1) -> Forecast:
        nominal = np.broadcast_to(np.asarray(nominal_members, dtype=int), (self.hours,)).copy()
        provenance = replace(provenance, own_axis=(self.start, self.hours))
        return Forecast(self.start, self.hours, dict(self._fields), provenance, nominal)

    def _positions(self, times: np.ndarray) -> np.ndarray:
        return ((times.astype("datetime64[h]") - self.start) // HOUR).astype(int)

    def _outside(self, starts: np.ndarray, lengths: np.ndarray, between: Reason) -> np.ndarray:
        """Reasons before any value is placed: before the first, after the last, or between."""
        reason = np.full(self.hours, between, dtype=np.uint8)
        if len(starts) == 0:
            reason[:] = Reason.NULL
            return reason
        positions = self._positions(starts)
        reason[: max(0, positions.min())] = Reason.BEFORE_START
        reason[max(0, (positions + lengths).max()) :] = Reason.AFTER_END
        return reason
