"""Radiation at the surface: net longwave and net radiation, and the soil heat flux that follows from it.

Daily values in MJ m-2 d-1, hourly ones in MJ m-2 h-1. All equations from FAO-56 chapter 3 unless stated.
The radiation above the air stands in ``extraterrestrial``, shortwave radiation in ``shortwave``; both can be
had from here too.
"""

from __future__ import annotations

import numpy as np

from advisor.atmosphere.extraterrestrial import (
    SOLAR_CONSTANT,
    daylight_hours,
    declination_of_day,
    extraterrestrial_daily,
    extraterrestrial_hourly,
    inverse_relative_distance,
    seasonal_correction,
    solar_time_angle,
    sunset_hour_angle,
)
from advisor.atmosphere.shortwave import (
    ALBEDO,
    clear_sky_shortwave,
    net_shortwave,
    shortwave_from_cloud,
    shortwave_from_sunshine,
    shortwave_from_temperature_range,
    watts_to_megajoules,
)
from advisor.floats import as_floats

__all__ = [
    "ALBEDO",
    "SOLAR_CONSTANT",
    "carry_ratio",
    "clear_sky_ratio",
    "clear_sky_shortwave",
    "daylight_hours",
    "declination_of_day",
    "extraterrestrial_daily",
    "extraterrestrial_hourly",
    "inverse_relative_distance",
    "net_longwave_daily",
    "net_longwave_hourly",
    "net_radiation",
    "net_shortwave",
    "seasonal_correction",
    "shortwave_from_cloud",
    "shortwave_from_sunshine",
    "shortwave_from_temperature_range",
    "soil_heat_flux_hourly",
    "soil_heat_flux_monthly",
    "solar_time_angle",
    "sunset_hour_angle",
    "watts_to_megajoules",
]

# Stefan-Boltzmann constant as each publication rounds it [MJ K-4 m-2 per day, per hour].
_STEFAN_BOLTZMANN = {"fao": (4.903e-9, 2.043e-10), "asce": (4.901e-9, 2.042e-10)}


def clear_sky_ratio(shortwave, clear_sky):
    """Relative shortwave radiation Rs/Rso, the measure of cloud in the longwave balance (FAO-56 eq. 39).

    Parameters
    ----------
    shortwave, clear_sky : numeric
        Over the same interval. [MJ/m2]

    Returns
    -------
    numeric
        0.3 to 1; NaN where there is no clear-sky radiation. [-]

    Notes
    -----
    FAO-56 limits the ratio to 1 and names 0.33 for dense cloud; ASCE-EWRI (eq. 18) limits it to 0.3 to 1, and
    so does this, for below 0.26 the formula would turn the outgoing radiation into an incoming one.

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. ASCE-EWRI (2005).
    """
    incoming, clear = as_floats(shortwave, clear_sky)
    with np.errstate(all="ignore"):
        return np.clip(incoming / np.where(clear > 0, clear, np.nan), 0.3, 1.0)[()]


def carry_ratio(ratio, sun_elevation, initial=0.6, lowest_sun=17.2):
    """Carry Rs/Rso of the last hour with a high sun through the night (FAO-56 ch. 3, ASCE-EWRI eq. 46).

    Parameters
    ----------
    ratio : numeric, shape (..., hour)
        Rs/Rso of consecutive hours. [-]
    sun_elevation : numeric, shape (..., hour)
        Elevation of the sun in the middle of the hour. [degrees]
    initial : numeric
        Ratio before the first hour with a high sun; NaN when that shall be unknown. [-]
    lowest_sun : float
        Below this elevation the ratio is not reliable: 0.3 radians. [degrees]

    Returns
    -------
    numeric, shape (..., hour)
        Ratio; NaN where that of the last hour with a high sun is NaN.

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. ASCE-EWRI (2005).
    """
    relative, height = as_floats(ratio, sun_elevation)
    single = relative.ndim == height.ndim == 0
    relative, height = np.broadcast_arrays(np.atleast_1d(relative), height)
    hour = np.arange(relative.shape[-1])
    # An unknown sun counts as high with an unknown ratio, so that nothing older is carried past it.
    relative = np.where(np.isnan(height), relative.dtype.type(np.nan), relative)
    last = np.maximum.accumulate(np.where(height < lowest_sun, -1, hour), axis=-1)
    carried = np.take_along_axis(relative, np.maximum(last, 0), axis=-1)
    carried = np.where(last >= 0, carried, relative.dtype.type(initial))
    return carried[0] if single else carried


def net_longwave_daily(
    temperature_maximum, temperature_minimum, vapour_pressure, shortwave, clear_sky, method="fao"
):
    """Net outgoing longwave radiation of a day (FAO-56 eq. 39).

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Daily extremes of the air temperature. [degC]
    vapour_pressure : numeric
        Actual vapour pressure. [kPa]
    shortwave, clear_sky : numeric
        Shortwave radiation and that under a clear sky. [MJ m-2 d-1]
    method : {"fao", "asce"}
        Rounding of the Stefan-Boltzmann constant.

    Returns
    -------
    numeric
        Net longwave radiation, outgoing positive. [MJ m-2 d-1]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. ASCE-EWRI (2005).
    """
    highest, lowest, moisture, incoming, clear = as_floats(
        temperature_maximum, temperature_minimum, vapour_pressure, shortwave, clear_sky
    )
    ratio = clear_sky_ratio(incoming, clear)
    emitted = 0.5 * ((highest + 273.16) ** 4 + (lowest + 273.16) ** 4)
    with np.errstate(all="ignore"):
        return _net_longwave(_STEFAN_BOLTZMANN[_method(method)][0] * emitted, moisture, ratio)


def net_longwave_hourly(air_temperature, vapour_pressure, ratio, method="fao"):
    """Net outgoing longwave radiation of an hour (FAO-56 eq. 39 with the hourly constant).

    Parameters
    ----------
    air_temperature : numeric
        Mean air temperature of the hour. [degC]
    vapour_pressure : numeric
        Actual vapour pressure. [kPa]
    ratio : numeric
        Rs/Rso; at night that of the last hours of daylight (`carry_ratio`). [-]
    method : {"fao", "asce"}
        Rounding of the Stefan-Boltzmann constant.

    Returns
    -------
    numeric
        Net longwave radiation, outgoing positive. [MJ m-2 h-1]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. ASCE-EWRI (2005).
    """
    temperature, moisture, relative = as_floats(air_temperature, vapour_pressure, ratio)
    emitted = _STEFAN_BOLTZMANN[_method(method)][1] * (temperature + 273.16) ** 4
    with np.errstate(all="ignore"):
        return _net_longwave(emitted, moisture, relative)


def _net_longwave(emitted, vapour_pressure, ratio):
    return (emitted * (0.34 - 0.14 * np.sqrt(vapour_pressure)) * (1.35 * ratio - 0.35))[()]


def _method(method):
    if method not in _STEFAN_BOLTZMANN:
        raise ValueError(f"radiation: method {method!r} is not known; use 'fao' or 'asce'")
    return method


def net_radiation(shortwave_net, longwave_net):
    """Net radiation (FAO-56 eq. 40).

    Parameters
    ----------
    shortwave_net : numeric
        Net incoming shortwave radiation. [MJ/m2]
    longwave_net : numeric
        Net outgoing longwave radiation. [MJ/m2]

    Returns
    -------
    numeric
        Net radiation. [MJ/m2]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    incoming, outgoing = as_floats(shortwave_net, longwave_net)
    return (incoming - outgoing)[()]


def soil_heat_flux_monthly(temperature_previous, temperature_next):
    """Soil heat flux of a month from its neighbours' mean temperatures (FAO-56 eq. 43).

    Parameters
    ----------
    temperature_previous, temperature_next : numeric
        Mean air temperature of the month before and after. [degC]

    Returns
    -------
    numeric
        Soil heat flux, into the ground positive. [MJ m-2 d-1]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    before, after = as_floats(temperature_previous, temperature_next)
    return (0.07 * (after - before))[()]


def soil_heat_flux_hourly(net_radiation_hourly, is_daylight):
    """Soil heat flux of an hour under grass: 0.1 Rn by day, 0.5 Rn by night (FAO-56 eq. 45, 46).

    Parameters
    ----------
    net_radiation_hourly : numeric
        Net radiation. [MJ m-2 h-1]
    is_daylight : bool array
        By day.

    Returns
    -------
    numeric
        Soil heat flux, into the ground positive. [MJ m-2 h-1]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    energy = as_floats(net_radiation_hourly)
    share = np.where(np.asarray(is_daylight, dtype=bool), 0.1, 0.5).astype(energy.dtype)
    return (share * energy)[()]
