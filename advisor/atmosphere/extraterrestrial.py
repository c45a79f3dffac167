"""Radiation above the air and the length of the day, as FAO-56 chapter 3 computes them."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats
from advisor.sun.position import unix_seconds

SOLAR_CONSTANT = 0.0820
"""Solar constant [MJ m-2 min-1] (FAO-56 eq. 21)."""


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
    return _sunset(np.radians(north), declination_of_day(day))[()]


def _sunset(north, declination):
    """Sunset hour angle from latitude and declination, all [radians] (FAO-56 eq. 25)."""
    return np.arccos(np.clip(-np.tan(north) * np.tan(declination), -1.0, 1.0))


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
    angle = _sunset(north, declination)
    return (
        24.0
        * 60.0
        / np.pi
        * SOLAR_CONSTANT
        * inverse_relative_distance(day)
        * (angle * np.sin(north) * np.sin(declination) + np.cos(north) * np.cos(declination) * np.sin(angle))
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
    local = unix_seconds(time) + 1800.0 * hours + 240.0 * np.asarray(longitude, dtype=np.float64)
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
    sunset = _sunset(north, declination)
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
