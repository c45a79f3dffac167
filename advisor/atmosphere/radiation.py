"""Radiation at the surface: extraterrestrial, clear-sky, estimates of shortwave, net long- and shortwave.

Daily values in MJ m-2 d-1, hourly ones in MJ m-2 h-1. All equations from FAO-56 chapter 3 unless stated.
"""

from __future__ import annotations

import numpy as np

from .arrays import as_floats

SOLAR_CONSTANT = 0.0820
"""Solar constant [MJ m-2 min-1] (FAO-56 eq. 21)."""

ALBEDO = 0.23
"""Albedo of the grass reference surface [-] (FAO-56 eq. 38)."""

# Stefan-Boltzmann constant as each publication rounds it [MJ K-4 m-2 per day, per hour].
_STEFAN_BOLTZMANN = {"fao": (4.903e-9, 2.043e-10), "asce": (4.901e-9, 2.042e-10)}


def watts_to_megajoules(flux, hours=1.0):
    """Energy of a mean flux over some hours (1 W m-2 = 0.0036 MJ m-2 h-1).

    Parameters
    ----------
    flux : numeric
        Mean flux. [W/m2]
    hours : numeric
        Length of the interval. [h]

    Returns
    -------
    numeric
        Energy. [MJ/m2]
    """
    power, length = as_floats(flux, hours)
    return (power * 0.0036 * length)[()]


def inverse_relative_distance(day_of_year):
    """Inverse relative distance from the earth to the sun (FAO-56 eq. 23).

    Parameters
    ----------
    day_of_year : numeric
        1 to 366. [-]

    Returns
    -------
    numeric
        About 0.967 to 1.033. [-]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    day = as_floats(day_of_year)
    return (1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0))[()]


def declination_of_day(day_of_year):
    """Solar declination by the day of the year, within 0.6 degrees (FAO-56 eq. 24).

    Parameters
    ----------
    day_of_year : numeric
        1 to 366. [-]

    Returns
    -------
    numeric
        Declination. [radians]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    day = as_floats(day_of_year)
    return (0.409 * np.sin(2.0 * np.pi * day / 365.0 - 1.39))[()]


def sunset_hour_angle(latitude, day_of_year):
    """Sunset hour angle, pi under midnight sun and 0 in the polar night (FAO-56 eq. 25).

    Parameters
    ----------
    latitude : numeric
        North positive. [degrees]
    day_of_year : numeric
        1 to 366. [-]

    Returns
    -------
    numeric
        0 to pi. [radians]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    north, day = as_floats(latitude, day_of_year)
    cosine = -np.tan(np.radians(north)) * np.tan(declination_of_day(day))
    return np.arccos(np.clip(cosine, -1.0, 1.0))[()]


def daylight_hours(latitude, day_of_year):
    """Possible sunshine of a day (FAO-56 eq. 34).

    Parameters
    ----------
    latitude : numeric
        North positive. [degrees]
    day_of_year : numeric
        1 to 366. [-]

    Returns
    -------
    numeric
        0 to 24. [h]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    return (sunset_hour_angle(latitude, day_of_year) * (24.0 / np.pi))[()]


def extraterrestrial_daily(latitude, day_of_year):
    """Extraterrestrial radiation of a day (FAO-56 eq. 21).

    Parameters
    ----------
    latitude : numeric
        North positive. [degrees]
    day_of_year : numeric
        1 to 366. [-]

    Returns
    -------
    numeric
        Radiation on a horizontal plane above the air. [MJ m-2 d-1]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    north, day = as_floats(latitude, day_of_year)
    north = np.radians(north)
    declination = declination_of_day(day)
    angle = np.arccos(np.clip(-np.tan(north) * np.tan(declination), -1.0, 1.0))
    return (
        24.0
        * 60.0
        / np.pi
        * SOLAR_CONSTANT
        * inverse_relative_distance(day)
        * (
            angle * np.sin(north) * np.sin(declination)
            + np.cos(north) * np.cos(declination) * np.sin(angle)
        )
    )[()]


def seasonal_correction(day_of_year):
    """Seasonal correction for solar time (FAO-56 eq. 32, 33).

    Parameters
    ----------
    day_of_year : numeric
        1 to 366. [-]

    Returns
    -------
    numeric
        Correction. [h]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    turn = 2.0 * np.pi * (as_floats(day_of_year) - 81.0) / 364.0
    return (0.1645 * np.sin(2.0 * turn) - 0.1255 * np.cos(turn) - 0.025 * np.sin(turn))[()]


def solar_time_angle(time, longitude, hours=1.0):
    """Solar time angle at the middle of an interval (FAO-56 eq. 31), and the day of the year there.

    Parameters
    ----------
    time : datetime64 array
        Start of the interval, UTC.
    longitude : numeric
        East positive. [degrees]
    hours : float
        Length of the interval. [h]

    Returns
    -------
    angle : numeric
        0 at solar noon, -pi to pi. [radians]
    day_of_year : numeric
        Day of the year by local solar date. [-]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    stamp = np.asarray(time).astype("datetime64[s]")
    seconds = np.where(np.isnat(stamp), np.nan, stamp.astype(np.int64).astype(np.float64))
    local = seconds + 1800.0 * hours + 240.0 * np.asarray(longitude, dtype=np.float64)
    known = np.isfinite(local)
    date = np.where(known, local, 0.0).astype(np.int64).astype("datetime64[s]").astype("datetime64[D]")
    day = np.where(known, (date - date.astype("datetime64[Y]")).astype(np.float64) + 1.0, np.nan)
    clock = (local % 86_400.0) / 3600.0 + seasonal_correction(day)
    angle = np.pi / 12.0 * (clock - 12.0)
    return ((angle + np.pi) % (2.0 * np.pi) - np.pi)[()], day[()]


def extraterrestrial_hourly(time, latitude, longitude, hours=1.0):
    """Extraterrestrial radiation of an hour or shorter (FAO-56 eq. 28), 0 while the sun is down.

    Parameters
    ----------
    time : datetime64 array
        Start of the interval, UTC; broadcast against the coordinates.
    latitude, longitude : numeric
        North and east positive. [degrees]
    hours : float
        Length of the interval. [h]

    Returns
    -------
    numeric
        Radiation on a horizontal plane above the air, for the whole interval. [MJ/m2]

    Notes
    -----
    In the hours of sunrise and sunset only the part with the sun up counts (ASCE-EWRI eq. 56).

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. ASCE-EWRI (2005) The ASCE Standardized Reference
    Evapotranspiration Equation.
    """
    kind = as_floats(latitude, longitude)[0].dtype
    middle, day = solar_time_angle(time, longitude, hours)
    north = np.radians(np.asarray(latitude, dtype=np.float64))
    declination = declination_of_day(day)
    sunset = np.arccos(np.clip(-np.tan(north) * np.tan(declination), -1.0, 1.0))
    half = np.pi / 24.0 * hours
    first = np.clip(middle - half, -sunset, sunset)
    last = np.clip(middle + half, -sunset, sunset)
    energy = (
        720.0
        / np.pi
        * SOLAR_CONSTANT
        * inverse_relative_distance(day)
        * (
            (last - first) * np.sin(north) * np.sin(declination)
            + np.cos(north) * np.cos(declination) * (np.sin(last) - np.sin(first))
        )
    )
    return np.maximum(energy, 0.0).astype(kind, copy=False)[()]


def clear_sky_shortwave(extraterrestrial, elevation=0.0):
    """Shortwave radiation under a clear sky, the simple form (FAO-56 eq. 37).

    Parameters
    ----------
    extraterrestrial : numeric
        Daily or hourly extraterrestrial radiation. [MJ/m2]
    elevation : numeric
        Height above sea level. [m]

    Returns
    -------
    numeric
        Clear-sky radiation over the same interval. [MJ/m2]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    above, height = as_floats(extraterrestrial, elevation)
    return ((0.75 + 2e-5 * height) * above)[()]


def shortwave_from_sunshine(sunshine_hours, possible_hours, extraterrestrial, offset=0.25, slope=0.50):
    """Shortwave radiation from the hours of sunshine, an estimate (Angstrom formula, FAO-56 eq. 35).

    Parameters
    ----------
    sunshine_hours, possible_hours : numeric
        Measured and possible sunshine (`daylight_hours`). [h]
    extraterrestrial : numeric
        Extraterrestrial radiation of the day. [MJ m-2 d-1]
    offset, slope : numeric
        Angstrom coefficients. [-]

    Returns
    -------
    numeric
        Shortwave radiation; NaN where no sunshine is possible. [MJ m-2 d-1]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    sunshine, possible, above, start, rise = as_floats(
        sunshine_hours, possible_hours, extraterrestrial, offset, slope
    )
    with np.errstate(all="ignore"):
        return ((start + rise * sunshine / np.where(possible > 0, possible, np.nan)) * above)[()]


def shortwave_from_cloud(cloud_cover, clear_sky):
    """Shortwave radiation from total cloud cover, an estimate, G0 (1 - 0.75 n^3.4) (Kasten, Czeplak 1980).

    Parameters
    ----------
    cloud_cover : numeric
        Total cloud cover; NaN outside 0 to 100. [%]
    clear_sky : numeric
        Clear-sky radiation over the interval. [MJ/m2 or W/m2]

    Returns
    -------
    numeric
        Shortwave radiation in the unit of `clear_sky`.

    Notes
    -----
    Fitted to ten years of Hamburg; single hours are off by a third and more.

    References
    ----------
    Kasten F, Czeplak G (1980) Solar and terrestrial radiation dependent on the amount and type of cloud.
    Solar Energy 24:177-189.
    """
    cover, clear = as_floats(cloud_cover, clear_sky)
    with np.errstate(all="ignore"):
        share = np.where((cover >= 0) & (cover <= 100), cover, np.nan) / 100.0
        return (clear * (1.0 - 0.75 * share**3.4)).astype(clear.dtype)[()]


def shortwave_from_temperature_range(
    temperature_maximum, temperature_minimum, extraterrestrial, coefficient=0.16
):
    """Shortwave radiation from the day's temperature range, an estimate (Hargreaves, FAO-56 eq. 50).

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Daily extremes of the air temperature. [degC]
    extraterrestrial : numeric
        Extraterrestrial radiation of the day. [MJ m-2 d-1]
    coefficient : numeric
        0.16 inland, 0.19 at a coast. [degC^-0.5]

    Returns
    -------
    numeric
        Shortwave radiation; NaN where the maximum is below the minimum. [MJ m-2 d-1]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. Hargreaves GH, Samani ZA (1982) Estimating
    potential evapotranspiration. J. Irrig. Drain. Eng. 108:223-230.
    """
    highest, lowest, above, factor = as_floats(
        temperature_maximum, temperature_minimum, extraterrestrial, coefficient
    )
    with np.errstate(all="ignore"):
        return (factor * np.sqrt(highest - lowest) * above)[()]


def net_shortwave(shortwave, albedo=ALBEDO):
    """Net shortwave radiation (FAO-56 eq. 38).

    Parameters
    ----------
    shortwave : numeric
        Incoming shortwave radiation. [MJ/m2]
    albedo : numeric
        0.23 for the grass reference. [-]

    Returns
    -------
    numeric
        Net shortwave radiation. [MJ/m2]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    incoming, reflected = as_floats(shortwave, albedo)
    return ((1.0 - reflected) * incoming)[()]


def clear_sky_ratio(shortwave, clear_sky, method="fao"):
    """Relative shortwave radiation Rs/Rso, at most 1 (FAO-56 eq. 39; with ASCE-EWRI also at least 0.3).

    Parameters
    ----------
    shortwave, clear_sky : numeric
        Over the same interval. [MJ/m2]
    method : {"fao", "asce"}
        ASCE-EWRI limits the ratio to 0.3 to 1.

    Returns
    -------
    numeric
        Ratio; NaN where there is no clear-sky radiation. [-]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56. ASCE-EWRI (2005).
    """
    incoming, clear = as_floats(shortwave, clear_sky)
    lowest = 0.3 if _method(method) == "asce" else 0.0
    with np.errstate(all="ignore"):
        return np.clip(incoming / np.where(clear > 0, clear, np.nan), lowest, 1.0)[()]


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
        Rounding of the Stefan-Boltzmann constant and limits of the ratio.

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
    ratio = clear_sky_ratio(incoming, clear, method)
    emitted = 0.5 * ((highest + 273.16) ** 4 + (lowest + 273.16) ** 4)
    with np.errstate(all="ignore"):
        return _net_longwave(_STEFAN_BOLTZMANN[method][0] * emitted, moisture, ratio)


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
