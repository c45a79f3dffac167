"""Reference evapotranspiration: FAO-56 Penman-Monteith, ASCE standardised, Hargreaves.

The equations from net radiation stand in ``penman`` and can be had from here; here they are put together from
the weather.
"""

from __future__ import annotations

import numpy as np

from advisor.atmosphere.penman import asce_et_daily, asce_et_hourly, reference_et_daily, reference_et_hourly
from advisor.atmosphere.radiation import (
    carry_ratio,
    clear_sky_ratio,
    clear_sky_shortwave,
    extraterrestrial_daily,
    extraterrestrial_hourly,
    net_longwave_daily,
    net_longwave_hourly,
    net_radiation,
    net_shortwave,
    soil_heat_flux_hourly,
    watts_to_megajoules,
)
from advisor.atmosphere.vapour import atmospheric_pressure
from advisor.floats import as_floats
from advisor.sun.position import solar_elevation

__all__ = [
    "asce_et_daily",
    "asce_et_hourly",
    "hargreaves_et",
    "hargreaves_et_at_most",
    "reference_et_daily",
    "reference_et_daily_from_weather",
    "reference_et_hourly",
    "reference_et_hourly_from_weather",
]


def hargreaves_et(temperature_mean, temperature_maximum, temperature_minimum, extraterrestrial):
    """Reference evapotranspiration of a day from temperature alone, an estimate (FAO-56 eq. 52).

    Parameters
    ----------
    temperature_mean, temperature_maximum, temperature_minimum : numeric
        Mean and extremes of the day. [degC]
    extraterrestrial : numeric
        Extraterrestrial radiation of the day. [MJ m-2 d-1]

    Returns
    -------
    numeric
        Reference evapotranspiration; NaN where the maximum is below the minimum. [mm/d]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. Hargreaves GH, Samani ZA (1985) Reference crop
    evapotranspiration from temperature. Appl. Eng. Agric. 1:96-99.
    """
    mean, highest, lowest, above = as_floats(
        temperature_mean, temperature_maximum, temperature_minimum, extraterrestrial
    )
    with np.errstate(all="ignore"):
        return (0.408 * 0.0023 * (mean + 17.8) * np.sqrt(highest - lowest) * above)[()]


def hargreaves_et_at_most(temperature_maximum, temperature_minimum, extraterrestrial):
    """The most that :func:`hargreaves_et` gives for a day that was at no time hotter or colder than these bounds.

    With the mean halfway between the extremes and ``a`` the maximum plus 17.8, the estimate goes with
    ``(a - range/2) sqrt(range)``, which grows with ``a``, and with the range up to ``2 a/3``.

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Bounds of the temperature of the day. [degC]
    extraterrestrial : numeric
        Extraterrestrial radiation of the day. [MJ m-2 d-1]

    Returns
    -------
    numeric
        Upper bound of the reference evapotranspiration; 0 for a maximum below -17.8 degC, NaN where the maximum is
        below the minimum. [mm/d]

    References
    ----------
    Derived from FAO-56 eq. 52.
    """
    highest, lowest, above = as_floats(temperature_maximum, temperature_minimum, extraterrestrial)
    warmth = np.maximum(highest + 17.8, 0.0)
    spread = np.minimum(highest - lowest, warmth * (2.0 / 3.0))
    with np.errstate(all="ignore"):
        return (0.408 * 0.0023 * (warmth - 0.5 * spread) * np.sqrt(spread) * above)[()]


def reference_et_daily_from_weather(
    temperature_maximum,
    temperature_minimum,
    vapour_pressure,
    wind_speed_2m,
    shortwave,
    latitude,
    day_of_year,
    elevation,
):
    """Reference evapotranspiration of a day straight from the weather (FAO-56 eq. 6 with eq. 7, 21, 37-40).

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Daily extremes of the air temperature. [degC]
    vapour_pressure : numeric
        Actual vapour pressure. [kPa]
    wind_speed_2m : numeric
        Mean wind speed at 2 m. [m/s]
    shortwave : numeric
        Shortwave radiation of the day. [MJ m-2 d-1]
    latitude : numeric
        North positive. [degrees]
    day_of_year : numeric
        1 to 366. [-]
    elevation : numeric
        Height above sea level. [m]

    Returns
    -------
    numeric
        Reference evapotranspiration; NaN in the polar night, where Rs/Rso does not exist. [mm/d]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    highest, lowest, moisture, wind, incoming, north, day, height = as_floats(
        temperature_maximum,
        temperature_minimum,
        vapour_pressure,
        wind_speed_2m,
        shortwave,
        latitude,
        day_of_year,
        elevation,
    )
    clear = clear_sky_shortwave(extraterrestrial_daily(north, day), height)
    longwave = net_longwave_daily(highest, lowest, moisture, incoming, clear)
    energy = net_radiation(net_shortwave(incoming), longwave)
    return reference_et_daily(highest, lowest, moisture, wind, energy, atmospheric_pressure(height))


def reference_et_hourly_from_weather(
    time,
    air_temperature,
    vapour_pressure,
    wind_speed_2m,
    shortwave,
    latitude,
    longitude,
    elevation,
    initial_ratio=0.6,
):
    """Reference evapotranspiration of consecutive hours straight from the weather (FAO-56 eq. 53).

    Parameters
    ----------
    time : datetime64 array, shape (..., hour)
        Starts of consecutive hours, UTC.
    air_temperature : numeric, shape (..., hour)
        Mean air temperature of the hour. [degC]
    vapour_pressure : numeric
        Actual vapour pressure. [kPa]
    wind_speed_2m : numeric
        Mean wind speed at 2 m. [m/s]
    shortwave : numeric
        Mean shortwave radiation of the hour. [W/m2]
    latitude, longitude, elevation : numeric
        North and east positive [degrees], height above sea level [m]; shapes broadcast against the rest, such
        as (site, 1).
    initial_ratio : numeric
        Rs/Rso for hours before the first with a high sun: 0.4 to 0.6 in humid, 0.7 to 0.8 in arid climates
        (FAO-56 ch. 3). [-]

    Returns
    -------
    numeric
        Reference evapotranspiration; below 0 means dew. [mm/h]

    Notes
    -----
    Rs/Rso of hours with the sun below 17 degrees is that of the last higher one (ASCE-EWRI eq. 46).

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. ASCE-EWRI (2005).
    """
    temperature, moisture, wind, flux, north, east, height = as_floats(
        air_temperature, vapour_pressure, wind_speed_2m, shortwave, latitude, longitude, elevation
    )
    incoming = watts_to_megajoules(flux)
    clear = clear_sky_shortwave(extraterrestrial_hourly(time, north, east), height)
    middle = np.asarray(time).astype("datetime64[s]") + np.timedelta64(1800, "s")
    sun = solar_elevation(middle, north, east)
    ratio = carry_ratio(clear_sky_ratio(incoming, clear), sun, initial_ratio)
    energy = net_radiation(net_shortwave(incoming), net_longwave_hourly(temperature, moisture, ratio))
    ground = soil_heat_flux_hourly(energy, sun > 0)
    return reference_et_hourly(temperature, moisture, wind, energy, ground, atmospheric_pressure(height))
