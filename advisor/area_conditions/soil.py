"""The soil water of each task's area, day by day: from what a person saw of the soil, or from a dry profile."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from advisor.conditions import Conditions
from advisor.forecast import Reason
from advisor.lawn_water import daily_reference_et
from advisor.local_days import LocalDays
from advisor.series import Series, Total
from advisor.soil.runoff import curve_number_runoff
from advisor.soil.water import Season, depletion_fraction, stress_coefficient
from advisor.task_table import TaskTable

#: A stated look at the soil is carried over days without data by this much use a day, without rain [mm].
UNSEEN_DAILY_USE = 5.0
#: What a day of unknown weather is taken to use when it is asked how dry is too dry [mm]; common practice, no source.
UNKNOWN_DAILY_USE = 8.0
#: Whole days without a gap after which a balance that began with a dry profile counts.
SPIN_UP_DAYS = 7


class SoilDays(NamedTuple):
    """Ks at the beginning of each local day (FAO-56 eq. 84) and the depletion [mm] at its end (task, member, day)."""

    stress: np.ndarray
    depletion_end: np.ndarray


def soil_days(
    conditions: Conditions,
    table: TaskTable,
    gather: Callable[[np.ndarray], np.ndarray],
    wetting: Total,
    local: LocalDays,
) -> SoilDays:
    """Run the balance of each task over the local days.

    It runs on from what the person saw of the soil. Where nobody looked, or where a day without data lies between, it
    runs on from a dry profile and counts once it holds at least seven whole days; else it is unknown.

    Parameters
    ----------
    gather : callable
        Site arrays by task.
    wetting : Total
        Of rain and irrigation, by hour [mm].
    """
    rain, watering = wetting.parts
    days, count = local.days, local.count
    fallen = local.total(rain)
    sprinkled = local.total(watering).astype(fallen.dtype)
    watered = ~np.isnan(watering.values[..., :1])  # a timetable that is stated is known throughout
    reference_et = daily_reference_et(conditions, gather, table.site, local)
    whole = local.whole(rain) & watered & ~np.isnan(reference_et.whole)
    number, p_table, coefficient, available = (
        table.scalars[name].astype(fallen.dtype)[:, None, None]
        for name in ("curve_number", "depletion_share", "crop_coefficient", "available_water")
    )
    lost = np.nan_to_num(curve_number_runoff(fallen, number))
    use = coefficient * reference_et.at_most
    unsure = np.isnan(reference_et.whole)
    p = depletion_fraction(p_table, np.where(unsure, np.fmax(use, UNKNOWN_DAILY_USE), use).astype(use.dtype))
    first, carried = _seen(table, days)
    # The day of the look may lie partly before the data; rain of it that is not known counts as none, and its use as
    # the most that it may have been. Rain that the source has lost does not: it may not take the place of what was
    # known.
    begun = gather(conditions.forecast.reason("precipitation")) != Reason.BEFORE_START
    gone = local.total(Series((np.isnan(rain.values) & begun).astype(float))) > 0.0
    seen = (np.arange(count) == first[:, None])[:, None, :] & watered & ~np.isnan(reference_et.at_most) & ~gone
    shape = np.broadcast_shapes(whole.shape, p.shape)
    amounts = (fallen, lost, sprinkled, reference_et.at_most, coefficient, available, p_table)
    season = Season(*(np.moveaxis(x, -1, 0) for x in amounts))
    known, seen, p = (_by_day(x, shape) for x in (whole, seen | whole, p))
    available = np.broadcast_to(available[..., 0], shape[:-1])
    # what is told of the soil, and a profile that was dry before the data
    both = np.stack([np.full_like(available, np.nan), available])
    stress, ends = (np.empty((count, *shape[:-1]), dtype=available.dtype) for _ in range(2))
    age, carried = np.zeros_like(available), carried.astype(available.dtype)
    for day in range(count):
        both[0] = np.where((first == day)[:, None], carried[:, None], both[0])
        stress[day] = stress_coefficient(_counting(both, age), available, p[day])
        told, dry = season.after(both, day).depletion_end
        both[0] = np.where(seen[day], told, np.nan)
        both[1] = np.where(known[day], dry, available)
        age = np.where(known[day], age + 1, 0)
        ends[day] = _counting(both, age)
    # What is told stands at the beginning of its day, which is the end of the day before: an estimate from a dry
    # profile must not take its place there, and be kept in the place of what was seen.
    rows = np.flatnonzero(first > 0)
    ends[first[rows] - 1, rows] = carried[rows, None]
    return SoilDays(np.moveaxis(stress, 0, -1), np.moveaxis(ends, 0, -1))


def _by_day(values: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    return np.moveaxis(np.broadcast_to(values, shape), -1, 0)


def _counting(both: np.ndarray, age: np.ndarray) -> np.ndarray:
    """What is told of the soil; without it the run from a dry profile, once it is old enough."""
    told, dry = both
    return np.where(np.isnan(told) & (age >= SPIN_UP_DAYS), dry, told)


def _seen(table: TaskTable, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Day index at which what was seen of the soil stands (-1: never), and the depletion [mm] before that day.

    A look before the first day is carried on to it without rain.
    """
    stated_day, stated = table.scalars["stated_day"], table.scalars["stated_depletion"]
    gap = days[:, 0].astype("datetime64[D]").astype(float) - stated_day
    with np.errstate(invalid="ignore"):
        usable = ~np.isnan(gap + stated) & (-gap < days.shape[1])
        first = np.where(usable, np.maximum(-gap, 0.0), -1.0)
    carried = stated + UNSEEN_DAILY_USE * np.nan_to_num(np.maximum(gap, 0.0))
    return first.astype(int), np.minimum(carried, table.scalars["available_water"])
