"""What clock and calendar say about each hour: working hours that are left, watering, time since a moment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta

import numpy as np

from advisor.clock import HOUR, from_numpy, local_dates, local_instant, to_numpy
from advisor.local_days import LocalDays
from advisor.task_table import TaskTable

#: hours of the day on which clocks go back, and one more for zones that change by less than an hour
LONGEST_DAY = 26


def spare_time(axis: np.ndarray, table: TaskTable) -> np.ndarray:
    """[h] left of the person's hours after 1.5 times the job and clean-up (task, 1, hour); -1 outside the hours."""
    left = _each_once(
        zip(table.hours, table.zone, strict=True), lambda hours, zone: _hours_left(axis, hours, zone)
    )
    needed = 1.5 * table.duration + table.clean_up
    return np.where(left > 0.0, left - needed[:, None], -1.0)[:, None, :]


def irrigation(axis: np.ndarray, table: TaskTable) -> np.ndarray:
    """[mm] an hour from the timetable (task, 1, hour); NaN where the timetable is not stated."""

    def water(timetable, zone) -> np.ndarray:
        return np.full(len(axis), np.nan) if timetable is None else sprinkled(axis, timetable, zone)

    return _each_once(zip(table.irrigation, table.zone, strict=True), water)[:, None, :]


def local_days(axis: np.ndarray, zones: Sequence) -> LocalDays:
    """The local calendar days that the axis touches."""
    dates = _each_once(((zone,) for zone in zones), lambda zone: local_dates(axis, zone))
    first = dates.min(axis=1)
    index = (dates - first[:, None]).astype(int)
    count = int(index.max()) + 1
    hours = _each_once(((zone,) for zone in zones), lambda zone: _hours_of_days(axis, zone, count))
    return LocalDays(index, first[:, None] + np.arange(count), hours)


def _hours_of_days(axis: np.ndarray, zone, count: int) -> np.ndarray:
    """How many full hours of UTC lie on each local day from that of the first hour on, whether the axis holds them."""
    longer = axis[0] + np.arange(-LONGEST_DAY, len(axis) + LONGEST_DAY) * HOUR
    dates = local_dates(longer, zone)
    days = local_dates(axis[:1], zone) + np.arange(count)
    return np.searchsorted(dates, days, "right") - np.searchsorted(dates, days)


def hours_since(axis: np.ndarray, moments: np.ndarray, without: float) -> np.ndarray:
    """[h] from a moment (task,) to each start (task, 1, hour); `without` where there is none."""
    elapsed = (axis.astype("datetime64[s]")[None, :] - moments[:, None]) / np.timedelta64(3600, "s")
    return np.where(np.isnat(moments)[:, None], without, elapsed)[:, None, :]


def _each_once(inputs, make: Callable[..., np.ndarray]) -> np.ndarray:
    """Rows of an array, made once for all tasks that share the same objects."""
    made: dict[tuple[int, ...], int] = {}
    rows, order = [], []
    for given in inputs:
        key = tuple(map(id, given))
        if key not in made:
            made[key] = len(rows)
            rows.append(make(*given))
        order.append(made[key])
    return np.stack(rows)[order]


def _hours_left(axis: np.ndarray, hours, zone) -> np.ndarray:
    """[h] from each hour's start to the end of the working hours it lies in; 0 outside them."""
    left = np.zeros(len(axis))
    seconds = axis.astype("datetime64[s]")
    first = from_numpy(axis[0]).astimezone(zone).date() - timedelta(days=1)
    last = from_numpy(axis[-1]).astimezone(zone).date()
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        for opens, closes in hours.get(day.weekday(), ()):
            begin = to_numpy(local_instant(day, opens, zone))
            end = to_numpy(local_instant(day + timedelta(days=closes <= opens), closes, zone))
            inside = (seconds >= begin) & (seconds < end)
            left[inside] = (end - seconds[inside]) / np.timedelta64(3600, "s")
    return left


def sprinkled(axis: np.ndarray, timetable, zone) -> np.ndarray:
    """[mm] of irrigation in each hour; the depth is spread evenly over the hours that the watering touches."""
    out = np.zeros(len(axis))
    first = from_numpy(axis[0]).astimezone(zone).date() - timedelta(days=1)
    last = from_numpy(axis[-1]).astimezone(zone).date()
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        for watering in timetable:
            if day.weekday() not in watering.weekdays if watering.on is None else day != watering.on:
                continue
            begin = to_numpy(local_instant(day, watering.at, zone))
            end = begin + np.timedelta64(int(watering.duration * 3600), "s")
            low = int((begin.astype("datetime64[h]") - axis[0]) // HOUR)
            high = max(low + 1, int(-(-(end - axis[0].astype("datetime64[s]")) // np.timedelta64(3600, "s"))))
            inside = slice(max(low, 0), max(min(high, len(axis)), 0))
            out[inside] += watering.depth / (high - low)
    return out
