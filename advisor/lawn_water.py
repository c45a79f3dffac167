"""Daily sums and reference evapotranspiration from hourly series, by local calendar day."""

from __future__ import annotations

import numpy as np

from advisor.atmosphere import evapotranspiration, moisture, radiation
from advisor.conditions import Conditions

#: share of a day's hours that must be known before its extremes may stand for the day
ENOUGH_OF_A_DAY = 1 / 3


def by_day(values: np.ndarray, index: np.ndarray, count: int, ufunc: np.ufunc, empty: float) -> np.ndarray:
    """Reduce (task, member, hour) over the hours of each day: (task, member, day).

    Parameters
    ----------
    index : ndarray of int (task, hour)
        Day of each hour, rising along the axis.
    empty : float
        Value of a day that holds no hour.
    """
    tasks = max(values.shape[0], index.shape[0])
    values = np.broadcast_to(values, (tasks, *values.shape[1:]))
    out = np.full((*values.shape[:-1], count), empty)
    for row in _distinct(index):
        starts = np.flatnonzero(np.r_[True, np.diff(row) > 0])
        rows = np.flatnonzero((index == row).all(axis=1))
        out[rows[:, None, None], np.arange(values.shape[1])[None, :, None], row[starts][None, None, :]] = (
            ufunc.reduceat(values[rows], starts, axis=-1)
        )
    return out


def daily_totals(values: np.ndarray, index: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Sum of the known hours of each day, and whether the whole local day was known."""
    known = ~np.isnan(values)
    total = by_day(np.where(known, values, 0.0), index, count, np.add, 0.0)
    hours = by_day(known.astype(float), index, count, np.add, 0.0)
    return total, hours >= 23


def daily_reference_et(
    conditions: Conditions, site: np.ndarray, index: np.ndarray, days: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Reference evapotranspiration [mm] of each local day (task, member, day), and whether enough of it was known.

    FAO-56 eq. 6 where shortwave radiation, humidity and wind are known for the whole day, Hargreaves (FAO-56 eq. 52)
    from the day's temperatures else; NaN where less than a third of the day's temperatures are known.
    """
    count = days.shape[1]

    def gather(values):
        return values if values.shape[0] == 1 else values[site]

    def known_hours(values):
        return by_day((~np.isnan(values)).astype(float), index, count, np.add, 0.0)

    def mean(values):
        total = by_day(np.nan_to_num(values), index, count, np.add, 0.0)
        hours = known_hours(values)
        return np.where(hours > 0, total / np.maximum(hours, 1.0), np.nan), hours

    temperature = gather(conditions.air_temperature)
    hours_known = known_hours(temperature)
    enough = hours_known >= 24 * ENOUGH_OF_A_DAY
    highest = np.where(
        enough, by_day(np.nan_to_num(temperature, nan=-np.inf), index, count, np.maximum, -np.inf), np.nan
    )
    lowest = np.where(
        enough, by_day(np.nan_to_num(temperature, nan=np.inf), index, count, np.minimum, np.inf), np.nan
    )
    latitude = conditions.sites.latitude[site][:, None]
    day_of_year = (days - days.astype("datetime64[Y]")).astype(int) + 1
    extraterrestrial = radiation.extraterrestrial_daily(latitude, day_of_year)[:, None, :]
    hargreaves = evapotranspiration.hargreaves_et(0.5 * (highest + lowest), highest, lowest, extraterrestrial)
    shortwave, sun_hours = mean(gather(conditions.forecast.values("shortwave_radiation")))
    dew, dew_hours = mean(gather(conditions.dew_point))
    wind, wind_hours = mean(gather(conditions.wind_speed_2m))
    elevation = np.nan_to_num(conditions.sites.elevation[site])[:, None, None]
    whole = (hours_known >= 23) & (sun_hours >= 23) & (dew_hours >= 23) & (wind_hours >= 23)
    vapour = moisture.vapour_pressure_from_dew_point(dew)
    incoming = radiation.watts_to_megajoules(shortwave, 24.0)
    clear = radiation.clear_sky_shortwave(extraterrestrial, elevation)
    outgoing = radiation.net_longwave_daily(highest, lowest, vapour, incoming, clear)
    net = radiation.net_radiation(radiation.net_shortwave(incoming), outgoing)
    pressure = moisture.atmospheric_pressure(elevation)
    penman = evapotranspiration.reference_et_daily(highest, lowest, vapour, wind, net, pressure)
    return np.maximum(np.where(whole, penman, hargreaves), 0.0), enough


def _distinct(index: np.ndarray) -> np.ndarray:
    return index[:1] if (index == index[0]).all() else np.unique(index, axis=0)
