"""Past hours of one site: several answers or files as one, and cut into seasons that are judged one at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np

from advisor.atmosphere import wind
from advisor.clock import HOUR, from_numpy, local_instant, to_numpy
from advisor.forecast import Field, Flag, Forecast, on_axis

#: without these no day can be judged
CORE = ("air_temperature", "wind_speed_10m", "precipitation")
#: months in which a meteorological season begins
SEASONS = (3, 6, 9, 12)
#: a station that leaves out more gusts than this reports them only when there are any
SILENT_SHARE = 0.1
#: days before a season that are read with it: the soil's water is spun up from a dry start
SPIN_UP_DAYS = 21


@dataclass(frozen=True, slots=True)
class Season:
    """One season of one year, with the days around it that judging its days needs.

    Attributes
    ----------
    forecast : Forecast
        The past hours, as if they were a forecast without error.
    first, following : date
        Local days [first, following) that are counted.
    middle : datetime
        An instant in it, for what depends on the season.
    """

    forecast: Forecast
    first: date
    following: date
    middle: datetime


def join_history(parts: Sequence[Forecast]) -> Forecast:
    """Several stretches of past weather on one axis; where two know the same hour the first one given counts."""
    if not parts:
        raise ValueError("There is no history to join.")
    if len(parts) == 1:
        return parts[0]
    start = min(one.start for one in parts)
    hours = max(int((one.start - start) / HOUR) + one.hours for one in parts)
    joined = on_axis(parts[0], start, hours)
    for part in parts[1:]:
        placed = on_axis(part, start, hours)
        fields = dict(joined.fields)
        for name, field in placed.fields.items():
            fields[name] = _filled(fields[name], field) if name in fields else field
        joined = replace(joined, fields=fields, flags=(*joined.flags, *placed.flags))
    ones = np.ones(hours, dtype=int)
    return replace(joined, nominal_members=ones)


def _filled(first: Field, second: Field) -> Field:
    empty = np.isnan(first.values)
    values = np.where(empty, second.values, first.values)
    reason = np.where(np.isnan(values).all(axis=1, keepdims=True), first.reason, 0).astype(np.uint8)
    block_first, block_last = first.block_first, first.block_last
    if block_first is not None or second.block_first is not None:
        hours = np.arange(values.shape[-1], dtype=np.int32)[None, None, :]
        ours = (hours, hours) if block_first is None else (block_first, block_last)
        theirs = (hours, hours) if second.block_first is None else (second.block_first, second.block_last)
        block_first, block_last = (
            np.where(empty.all(axis=1, keepdims=True), other, own)
            for own, other in zip(ours, theirs, strict=True)
        )
    return Field(values, reason, block_first, block_last)


def with_station_gusts(history: Forecast) -> Forecast:
    """Stations report a gust only when there is one: what they leave out is estimated from the mean wind of the hour.

    Only where gusts are missing in more than a tenth of the hours of known wind; a few gaps stay gaps. The estimate is
    the one that rules use where a source has no gusts at all.
    """
    if not {"wind_gust", "wind_speed_10m"} <= history.fields.keys():
        return history
    gust, speed = history.fields["wind_gust"], history.fields["wind_speed_10m"].values
    following = np.full_like(speed, np.nan)
    following[..., :-1] = speed[..., 1:]
    strongest = np.maximum(speed, following)
    silent = np.isnan(gust.values) & ~np.isnan(strongest)
    if silent.sum() <= SILENT_SHARE * np.sum(~np.isnan(strongest)):
        return history
    values = np.where(silent, wind.gust_estimate(strongest), gust.values)
    reason = np.where(np.isnan(values).all(axis=1, keepdims=True), gust.reason, 0).astype(np.uint8)
    says = f"{int(silent.sum()):,} hours report no gust, as stations do in light wind; it is estimated from the mean"
    flags = tuple(
        flag for flag in history.flags if not (flag.variable == "wind_gust" and flag.check == "gap")
    )
    changed = replace(gust, values=values, reason=reason)
    flags = (Flag("gusts", "wind_gust", says), *flags)
    return replace(history, flags=flags).with_fields({"wind_gust": changed})


def missing_core(history: Forecast) -> list[str]:
    """Names of the variables without which nothing can be counted."""
    return [
        name for name in CORE if name not in history.fields or np.isnan(history.fields[name].values).all()
    ]


def part(history: Forecast, low: int, stop: int) -> Forecast:
    """Hours [low, stop) of the axis."""
    low, stop = max(low, 0), min(stop, history.hours)

    def cut(one: Field) -> Field:
        first, last = one.block_first, one.block_last
        if first is not None:
            first, last = first[..., low:stop] - low, last[..., low:stop] - low
        return Field(one.values[..., low:stop], one.reason[..., low:stop], first, last)

    return replace(
        history,
        start=history.start + low * HOUR,
        hours=stop - low,
        fields={name: cut(one) for name, one in history.fields.items()},
        nominal_members=history.nominal_members[low:stop],
        flags=(),
    )


def seasons(history: Forecast, zone: ZoneInfo, days_after: int) -> Iterator[Season]:
    """The history season by season, oldest first; each with `SPIN_UP_DAYS` before and `days_after` behind it."""
    axis_first = from_numpy(history.start).astimezone(zone).date()
    axis_last = from_numpy(history.start + (history.hours - 1) * HOUR).astimezone(zone).date()
    first = axis_first
    while first <= axis_last:
        following = min(_next_season(first), date.fromordinal(axis_last.toordinal() + 1))
        low = history.index(to_numpy(local_instant(first, time(0), zone), "h")) - 24 * SPIN_UP_DAYS
        stop = history.index(to_numpy(local_instant(following, time(0), zone), "h")) + 24 * days_after
        middle = date.fromordinal((first.toordinal() + following.toordinal()) // 2)
        noon = local_instant(middle, time(12), zone)
        yield Season(part(history, low, stop), first, following, noon)
        first = following


def _next_season(day: date) -> date:
    for month in SEASONS:
        if (day.month, day.day) < (month, 1):
            return date(day.year, month, 1)
    return date(day.year + 1, SEASONS[0], 1)
