"""Daily sums and reference evapotranspiration from hourly series, by local calendar day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.atmosphere import evapotranspiration, moisture, radiation
from advisor.conditions import Conditions
from advisor.forecast import Reason

#: share of a day's hours that must be known before its extremes may stand for the day
ENOUGH_OF_A_DAY = 1 / 3
#: hours of the day on which clocks go forward
SHORTEST_DAY = 23


def by_day(values: np.ndarray, index: np.ndarray, count: int, ufunc: np.ufunc, empty: float) -> np.ndarray:
    """Reduce (task, member, hour) over the hours of each day: (task, member, day).

    Parameters
    ----------
    index : ndarray of int (task, hour)
        Day of each hour, rising along the axis.
    empty : float
        Value of a day that holds no hour.
    """
    distinct = _distinct(index)
    tasks = max(values.shape[0], index.shape[0])
    if len(distinct) == 1:
        # the days of all tasks begin in the same hours
        starts = np.flatnonzero(np.r_[True, np.diff(distinct[0]) > 0])
        out = np.full((*values.shape[:-1], count), empty, dtype=values.dtype)
        out[..., distinct[0][starts]] = ufunc.reduceat(values, starts, axis=-1)
        return np.broadcast_to(out, (tasks, *out.shape[1:]))
    values = np.broadcast_to(values, (tasks, *values.shape[1:]))
    out = np.full((*values.shape[:-1], count), empty, dtype=values.dtype)
    for row in distinct:
        starts = np.flatnonzero(np.r_[True, np.diff(row) > 0])
        rows = np.flatnonzero((index == row).all(axis=1))
        out[rows[:, None, None], np.arange(values.shape[1])[None, :, None], row[starts][None, None, :]] = (
            ufunc.reduceat(values[rows], starts, axis=-1)
        )
    return out


def whole_days(values: np.ndarray, index: np.ndarray, count: int) -> np.ndarray:
    """Whether every hour of each local day is known, (task, member, day); a day that the axis only touches is not."""
    known = known_hours(values, index, count)
    held = by_day(np.ones((index.shape[0], 1, index.shape[1])), index, count, np.add, 0.0)
    return (known == held) & (held >= SHORTEST_DAY)


def daily_totals(values: np.ndarray, index: np.ndarray, count: int) -> np.ndarray:
    """Sum of the known hours of each day (task, member, day)."""
    return by_day(known_or(values, 0.0), index, count, np.add, 0.0)


def known_hours(values: np.ndarray, index: np.ndarray, count: int) -> np.ndarray:
    """How many hours of each day are known (task, member or 1, day)."""
    unknown = np.isnan(values)
    if not unknown.any():
        return by_day(np.ones((index.shape[0], 1, index.shape[1])), index, count, np.add, 0.0)
    return by_day((~unknown).astype(float), index, count, np.add, 0.0)


def known_or(values: np.ndarray, stand_in: float) -> np.ndarray:
    """The values with something in the place of those that are not known; themselves where all are known."""
    unknown = np.isnan(values)
    return np.where(unknown, values.dtype.type(stand_in), values) if unknown.any() else values


@dataclass(frozen=True, slots=True)
class DailyEt:
    """Reference evapotranspiration [mm] of each local day (task, member, day).

    `whole` is NaN unless the whole day is known; `rough` also takes a day in which the source begins, from at least a
    third of its temperatures.
    """

    whole: np.ndarray
    rough: np.ndarray


def daily_reference_et(
    conditions: Conditions, site: np.ndarray, index: np.ndarray, days: np.ndarray
) -> DailyEt:
    """FAO-56 eq. 6 where the source carries radiation, humidity and wind, else Hargreaves (FAO-56 eq. 52).

    The method follows from what the source carries, not from what of it is known, so that a gap leaves the day unknown
    and never turns it into a milder one.

    Parameters
    ----------
    site : ndarray of int (task,)
    index : ndarray of int (task, hour)
        Day of each hour, rising along the axis.
    days : ndarray of datetime64[D] (task, day)
    """
    count = days.shape[1]
    in_order = np.array_equal(site, np.arange(len(conditions.sites.latitude)))

    def gather(values):
        return values if values.shape[0] == 1 or in_order else values[site]

    temperature = gather(conditions.air_temperature)
    begun = gather(conditions.forecast.reason("air_temperature")) != Reason.BEFORE_START
    highest, lowest = _extremes(temperature, begun, index, count)
    # in the type of the weather, so that float32 stays float32
    latitude = conditions.sites.latitude[site].astype(highest.dtype)[:, None, None]
    day_of_year = ((days - days.astype("datetime64[Y]")).astype(int) + 1).astype(highest.dtype)[:, None, :]
    extraterrestrial = radiation.extraterrestrial_daily(latitude, day_of_year)
    rough = evapotranspiration.hargreaves_et(0.5 * (highest + lowest), highest, lowest, extraterrestrial)
    rough = np.maximum(rough, 0.0)
    known = whole_days(temperature, index, count)
    forecast = conditions.forecast
    if not (
        "shortwave_radiation" in forecast.fields and {"dew_point", "relative_humidity"} & set(forecast.fields)
    ):
        return DailyEt(np.where(known, rough, np.nan), rough)
    series = (forecast.values("shortwave_radiation"), conditions.dew_point, conditions.wind_speed_2m)
    inputs = [gather(values) for values in series]
    for values in inputs:
        known = known & whole_days(values, index, count)
    shortwave, dew_point, wind = (_daily_mean(values, index, count) for values in inputs)
    penman = evapotranspiration.reference_et_daily_from_weather(
        highest,
        lowest,
        moisture.vapour_pressure_from_dew_point(dew_point),
        wind,
        radiation.watts_to_megajoules(shortwave, 24.0),
        latitude,
        day_of_year,
        np.nan_to_num(conditions.sites.elevation[site]).astype(highest.dtype)[:, None, None],
    )
    return DailyEt(np.where(known, np.maximum(penman, 0.0), np.nan), rough)


def _extremes(
    temperature: np.ndarray, begun: np.ndarray, index: np.ndarray, count: int
) -> tuple[np.ndarray, np.ndarray]:
    """Highest and lowest of each day; NaN where less than a third is known, or an hour lacks since the source began."""
    hours = known_hours(temperature, index, count)
    enough = (hours >= 24 * ENOUGH_OF_A_DAY) & (
        hours == by_day(begun.astype(float), index, count, np.add, 0.0)
    )
    warm = by_day(known_or(temperature, -np.inf), index, count, np.maximum, -np.inf)
    cold = by_day(known_or(temperature, np.inf), index, count, np.minimum, np.inf)
    return np.where(enough, warm, np.nan), np.where(enough, cold, np.nan)


def _daily_mean(values: np.ndarray, index: np.ndarray, count: int) -> np.ndarray:
    """Mean of the known hours of each day, 0 where none is."""
    return daily_totals(values, index, count) / np.maximum(known_hours(values, index, count), 1.0).astype(
        values.dtype
    )


def _distinct(index: np.ndarray) -> np.ndarray:
    return index[:1] if (index == index[0]).all() else np.unique(index, axis=0)
