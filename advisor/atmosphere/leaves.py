"""Wet leaves: the criterion of the rules and the published models of leaf wetness.

Wetness is a number: 1 wet, 0 dry, NaN unknown. Drying after rain stands in ``drying`` and can be had from
here.
"""

from __future__ import annotations

import numpy as np

from advisor.atmosphere.drying import LEAF_CAPACITY, drying_time, leaf_water, wet_surface_evaporation
from advisor.atmosphere.moisture import dew_point
from advisor.floats import as_floats
from advisor.votes import Votes

__all__ = [
    "CART_DRY_DEPRESSION",
    "DRY_DEPRESSION",
    "LEAF_CAPACITY",
    "WET_DEPRESSION",
    "WET_RELATIVE_HUMIDITY",
    "cart_calm_index",
    "cart_windy_index",
    "dew_point_depression",
    "drying_time",
    "leaf_water",
    "leaf_wet",
    "leaf_wetness_from_cart",
    "leaf_wetness_from_depression",
    "leaf_wetness_from_relative_humidity",
    "wet_by_air",
    "wet_by_rain",
    "wet_surface_evaporation",
]

WET_RELATIVE_HUMIDITY = 87.0
"""Leaves count as dry below this relative humidity [%] (thresholds from 83 to 93 are published)."""

DRY_DEPRESSION = 3.8
"""Dew-point depression above which the depression model calls leaves dry [K] (from memory)."""

WET_DEPRESSION = 2.0
"""Dew-point depression below which the depression model calls leaves wet [K] (from memory)."""

CART_DRY_DEPRESSION = 3.7
"""Dew-point depression from which the CART model calls leaves dry [K]."""

_CART_WIND = 2.5
_CART_CALM_LIMIT = 14.4674


def _verdict(wet, dry, kind):
    """1 where wet, 0 where dry, NaN where neither is known; wet wins."""
    return np.where(wet, 1.0, np.where(dry, 0.0, np.nan)).astype(kind)[()]


def dew_point_depression(air_temperature, relative_humidity):
    """Air temperature minus dew point (Magnus, Alduchov and Eskridge 1996).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature. [degC]
    relative_humidity : numeric
        Relative humidity. [%]

    Returns
    -------
    numeric
        Dew-point depression. [K]

    References
    ----------
    Alduchov OA, Eskridge RE (1996) Improved Magnus form approximation of saturation vapor pressure.
    J. Appl. Meteor. 35:601-609.
    """
    temperature, humidity = as_floats(air_temperature, relative_humidity)
    return (temperature - dew_point(temperature, humidity, method="alduchov-eskridge"))[()]


def leaf_wet(relative_humidity, dew_point_depression, precipitation):
    """Leaf wetness for the rules: dry when RH < 87 %, dew-point depression > 3.8 K and no rain (combined).

    Parameters
    ----------
    relative_humidity : numeric
        Relative humidity. [%]
    dew_point_depression : numeric
        Air temperature minus dew point. [K]
    precipitation : numeric
        Rain in the hour. [mm]

    Returns
    -------
    numeric
        1 wet, 0 dry, NaN unknown. One sign of wetness is enough, also when the others are unknown; dry needs
        all three known. [-]

    References
    ----------
    Sentelhas PC et al. (2008) Suitability of relative humidity as an estimator of leaf wetness duration.
    Agric. For. Meteorol. 148:392-400, tests both criteria.
    """
    humidity, depression, rain = as_floats(relative_humidity, dew_point_depression, precipitation)
    wet = (humidity >= WET_RELATIVE_HUMIDITY) | (depression <= DRY_DEPRESSION) | (rain > 0)
    # A negative humidity or rain is a fault of the data and no sign of dryness.
    dry = (humidity < WET_RELATIVE_HUMIDITY) & (humidity >= 0) & (depression > DRY_DEPRESSION) & (rain == 0)
    return _verdict(wet, dry, humidity.dtype)


def wet_by_air(relative_humidity, dew_point_depression) -> Votes:
    """Whether the air wets leaves at an instant, member by member: the signs of `leaf_wet` without rain.

    Parameters
    ----------
    relative_humidity : ndarray, shape (site, member, hour)
        Relative humidity. [%]
    dew_point_depression : ndarray, shape (site, member, hour)
        Air temperature minus dew point. [K]

    Returns
    -------
    Votes
        Wet by one sign, also when the other is unknown; dry needs both known.

    References
    ----------
    Sentelhas PC et al. (2008) Agric. For. Meteorol. 148:392-400.
    """
    humidity, depression = as_floats(relative_humidity, dew_point_depression)
    wet = (humidity >= WET_RELATIVE_HUMIDITY) | (depression <= DRY_DEPRESSION)
    # A negative humidity is a fault of the data and no sign of dryness.
    known = wet | ((humidity >= 0) & (depression > DRY_DEPRESSION))
    return Votes.of(wet, None if known.all() else known)


def wet_by_rain(precipitation) -> Votes:
    """Whether it rains in the hour, member by member.

    Parameters
    ----------
    precipitation : ndarray, shape (site, member, hour)
        Rain in the hour. [mm]
    """
    rain = as_floats(precipitation)
    # Negative rain is a fault of the data and no sign of dryness.
    known = rain >= 0
    return Votes.of(rain > 0, None if known.all() else known)


def leaf_wetness_from_relative_humidity(relative_humidity, threshold=90.0):
    """Leaf wetness by a threshold on relative humidity (Sentelhas et al. 2008).

    Parameters
    ----------
    relative_humidity : numeric
        Relative humidity. [%]
    threshold : numeric
        Wet at and above; 90 in the paper, 83 to 93 elsewhere. [%]

    Returns
    -------
    numeric
        1 wet, 0 dry, NaN unknown. [-]

    Notes
    -----
    Right in 87 to 92 % of the hours in four regions, with false alarms of 20 to 31 %.

    References
    ----------
    Sentelhas PC et al. (2008) Suitability of relative humidity as an estimator of leaf wetness duration.
    Agric. For. Meteorol. 148:392-400.
    """
    humidity, limit = as_floats(relative_humidity, threshold)
    return _verdict(humidity >= limit, humidity < limit, humidity.dtype)


def leaf_wetness_from_depression(dew_point_depression, wet_below=WET_DEPRESSION, dry_above=DRY_DEPRESSION):
    """Leaf wetness of consecutive hours by dew-point depression with hysteresis (DPD model; from memory).

    Leaves become wet below one depression and stay so until it exceeds another.

    Parameters
    ----------
    dew_point_depression : numeric, shape (..., hour)
        Air temperature minus dew point in consecutive hours. [K]
    wet_below, dry_above : float
        Onset and end of wetness. [K]

    Returns
    -------
    numeric, shape (..., hour)
        1 wet, 0 dry; NaN before the first hour that decides and after an unknown hour until the next that
        decides. [-]

    References
    ----------
    Sentelhas PC et al. (2008) Agric. For. Meteorol. 148:392-400, tests the model.
    """
    depression = as_floats(dew_point_depression)
    single = depression.ndim == 0
    depression = np.atleast_1d(depression)
    decided = _verdict(depression < wet_below, depression > dry_above, depression.dtype)
    # An hour between the limits keeps the state before it; an hour that is unknown makes the state unknown.
    between = (depression >= wet_below) & (depression <= dry_above)
    last = np.maximum.accumulate(np.where(between, -1, np.arange(depression.shape[-1])), axis=-1)
    state = np.take_along_axis(decided, np.maximum(last, 0), axis=-1)
    state = np.where(last >= 0, state, depression.dtype.type(np.nan))
    return state[0] if single else state


def cart_calm_index(air_temperature, relative_humidity, wind_speed, depression):
    """Discriminant of the CART model in light wind: wet above 14.4674 (Kim et al. 2002, node 2).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature, 0 and above. [degC]
    relative_humidity : numeric
        Relative humidity. [%]
    wind_speed : numeric
        Wind speed at the canopy, 0.3 m. [m/s]
    depression : numeric
        Dew-point depression. [K]

    Returns
    -------
    numeric
        Discriminant; NaN below freezing. [-]

    References
    ----------
    Kim KS, Taylor SE, Gleason ML et al. (2002) Model to enhance site-specific estimation of leaf wetness
    duration. Plant Dis. 86:179-185.
    """
    temperature, humidity, wind, deficit = as_floats(
        air_temperature, relative_humidity, wind_speed, depression
    )
    with np.errstate(all="ignore"):
        return (
            1.6064 * np.sqrt(temperature)
            + 0.0036 * temperature**2
            + 0.1531 * humidity
            - 0.4599 * wind * deficit
            - 0.0035 * temperature * humidity
        )[()]


def cart_windy_index(air_temperature, relative_humidity, wind_speed, depression):
    """Discriminant of the CART model in stronger wind, as public copies print it (Kim et al. 2002, node 4).

    Printed as wet above 37.0, but over all inputs that are physically possible it stays below 2: either the
    branch is meant to be always dry, or a constant is wrong in all copies. `leaf_wetness_from_cart` therefore
    calls it dry and does not use this value.

    Parameters
    ----------
    air_temperature, relative_humidity, wind_speed, depression : numeric
        As in `cart_calm_index`.

    Returns
    -------
    numeric
        Discriminant; NaN below freezing. [-]

    References
    ----------
    Kim et al. (2002) Plant Dis. 86:179-185.
    """
    temperature, humidity, wind, deficit = as_floats(
        air_temperature, relative_humidity, wind_speed, depression
    )
    with np.errstate(all="ignore"):
        return (
            0.7921 * np.sqrt(temperature)
            + 0.0046 * humidity
            - 2.3889 * wind
            - 0.0390 * temperature * wind
            + 1.0613 * wind * deficit
        )[()]


def leaf_wetness_from_cart(air_temperature, relative_humidity, wind_speed, precipitation=0.0):
    """Leaf wetness by classification tree and stepwise discrimination, CART/SLD/Wind (Kim et al. 2002).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature, 0 and above. [degC]
    relative_humidity : numeric
        Relative humidity. [%]
    wind_speed : numeric
        Wind speed at the canopy, 0.3 m. [m/s]
    precipitation : numeric
        Rain in the hour; 0.25 and more is wet (as one public copy adds). [mm]

    Returns
    -------
    numeric
        1 wet, 0 dry, NaN unknown, also in light wind below freezing. [-]

    Notes
    -----
    The third branch (wind of 2.5 m/s and more, RH of 87.8 % and more) cannot fire as published, see
    `cart_windy_index`; all such hours without rain are dry here.

    References
    ----------
    Gleason ML et al. (1994) Plant Dis. 78:1011-1016. Kim KS et al. (2002) Plant Dis. 86:179-185.
    """
    temperature, humidity, wind, rain = as_floats(
        air_temperature, relative_humidity, wind_speed, precipitation
    )
    depression = dew_point_depression(temperature, humidity)
    index = cart_calm_index(temperature, humidity, wind, depression)
    near = depression < CART_DRY_DEPRESSION
    calm = (wind < _CART_WIND) & (wind >= 0)
    wet = (rain >= 0.25) | (near & calm & (index > _CART_CALM_LIMIT))
    dry = (depression >= CART_DRY_DEPRESSION) | (calm & (index <= _CART_CALM_LIMIT)) | (wind >= _CART_WIND)
    known = ~np.isnan(temperature + humidity + wind + rain)
    return _verdict(wet, dry & known & (rain >= 0), temperature.dtype)
