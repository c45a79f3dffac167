"""The sizes of forecast errors that are assumed where nothing has been learned, by lead time.

The sizes of temperature, wind and the rest stand beside the variables (`advisor.variables`); how they grow, how
long an error lasts and what is assumed of rain stands here. What has no source says so.
"""

from __future__ import annotations

from datetime import datetime

import numpy as np

from advisor.clock import HOUR, to_numpy
from advisor.forecast import Forecast
from advisor.variables import MEASURABLE_RAIN_MM, VARIABLES

#: how long an error lasts [h]: the lag at which its correlation with itself has fallen to 1/e. A wrong air mass or
#: cloud deck lasts for a good part of a day, a wrong gust for hours. Common practice, no source.
MEMORY: dict[str, float] = {
    "air_temperature": 18.0,
    "dew_point": 18.0,
    "soil_temperature_5cm": 36.0,
    "wind_speed_10m": 8.0,
    "wind_from_direction": 8.0,
    "cloud_cover": 8.0,
    "rain": 6.0,
}
#: correlation of the errors of dew point and air temperature, of soil and air temperature. Common practice, no
#: source: an air mass that is too warm is mostly too moist as well, less so under a wrong cloud.
DEW_POINT_WITH_AIR, SOIL_WITH_AIR = 0.5, 0.6

#: the wind at which the stated error of the wind holds [m/s]; it is constant in square roots, so that light winds
#: err by less and strong ones by more
WIND_OF_STATED_ERROR = 4.0

#: chance of measurable rain in a day for which the source gives no amount and no chance: one day ahead, growth a
#: day, and the climate's frequency at which it ends. Common practice, no source.
UNSTATED_DRY_DAY = (0.10, 0.03, 0.30)
#: the chance that a large forecast amount comes true as measurable rain: one day ahead, loss a day, least. Common
#: practice, no source; rain or no rain was right in 87 % of cases on day 1 and 68 % on day 6 in a sample of a
#: month (a private verification at Mount Pocono, Pennsylvania).
LARGE_AMOUNT = (0.90, 0.04, 0.60)
#: a chance below this beside an amount of at least `AMOUNT_COUNTS` contradicts it, and the amount counts [0 to 1]
CHANCE_NEAR_ZERO = 0.05
AMOUNT_COUNTS = MEASURABLE_RAIN_MM


def stated_error(name: str, lead_hours) -> np.ndarray:
    """Standard error assumed of a variable, constant for a day and then growing linearly.

    Parameters
    ----------
    name : str
        One of `advisor.variables` that states a spread.
    lead_hours : array_like
        [h] from the issue of the forecast.

    Returns
    -------
    numpy.ndarray
        Canonical unit of the variable, the shape of `lead_hours`.

    References
    ----------
    See `advisor.variables`, where the sizes stand.
    """
    first, growth = VARIABLES[name].spread
    return first + growth * np.maximum(np.asarray(lead_hours, dtype=float) / 24.0 - 1.0, 0.0)


def root_wind_error(lead_hours) -> np.ndarray:
    """Standard error of the square root of the wind speed [(m/s)^0.5], d sqrt(v) = dv / (2 sqrt v) at 4 m/s.

    Parameters
    ----------
    lead_hours : array_like
        [h]
    """
    return stated_error("wind_speed_10m", lead_hours) / (2.0 * WIND_OF_STATED_ERROR**0.5)


def chance_from_amount(amount, block_hours, lead_hours) -> np.ndarray:
    """Chance of measurable rain in a block, where only the forecast amount is known: p0 + (p1 - p0)(1 - exp(-mu)).

    Parameters
    ----------
    amount : array_like
        Forecast rain of the block, mu [mm].
    block_hours : array_like
        Length of the block [h].
    lead_hours : array_like
        [h]

    Returns
    -------
    numpy.ndarray
        [0 to 1]; NaN where the amount is.

    Notes
    -----
    Assumptions, common practice without a source:

    ==========================  ========================================================================
    dry forecast                `UNSTATED_DRY_DAY` of a day, shared out over its blocks
    large amount                `LARGE_AMOUNT`
    scale of the exponential    1 mm
    ==========================  ========================================================================
    """
    amount = np.asarray(amount, dtype=float)
    days = np.maximum(np.asarray(lead_hours, dtype=float) / 24.0 - 1.0, 0.0)
    length = np.asarray(block_hours, dtype=float)
    dry_day = np.minimum(UNSTATED_DRY_DAY[0] + UNSTATED_DRY_DAY[1] * days, UNSTATED_DRY_DAY[2])
    # Blocks depend on each other through the latent noise, so a short one needs more than its independent share:
    # with this factor the blocks of 1, 3, 6 and 12 h of a day reach the day's 10 % within half a point.
    dry = (1.0 - (1.0 - dry_day) ** (length / 24.0)) * (1.0 + 1.05 * length**-1.2)
    large = np.maximum(LARGE_AMOUNT[0] - LARGE_AMOUNT[1] * days, LARGE_AMOUNT[2])
    return dry + (large - dry) * -np.expm1(-np.maximum(amount, 0.0))


def lead_hours(forecast: Forecast, now: datetime) -> np.ndarray:
    """[h] (hour,) from the forecast's issue to each of its hours, 0 before it.

    A source that does not say when it issued counts from the asking, and from `now` where that is not known either.
    """
    provenance = forecast.provenance
    since = provenance.issued_at or provenance.fetched_at or now
    return np.maximum(
        (forecast.axis.astype("datetime64[s]") - to_numpy(since)) / np.timedelta64(3600, "s"), 0.0
    )


def still_to_come(forecast: Forecast, now: datetime) -> np.ndarray:
    """Boolean (hour,): the hour that holds `now` and those after it; what lies before has happened."""
    return (forecast.axis - to_numpy(now, "h")) / HOUR >= 0
