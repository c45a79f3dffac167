"""Position of the sun by the NOAA solar calculator's equations (after Meeus), vectorised.

The equations give the true (geometric, not refracted) position of the centre of the sun's disc.
"""

from __future__ import annotations

import numpy as np

_J2000_SECONDS = 946_728_000  # 2000-01-01T12:00:00Z as a Unix time
_SECONDS_PER_CENTURY = 36_525 * 86_400


def unix_seconds(time):
    """Seconds since 1970 as float64, NaN for NaT."""
    stamp = np.asarray(time).astype("datetime64[s]")
    return np.where(np.isnat(stamp), np.nan, stamp.astype(np.int64).astype(np.float64))


def declination_and_equation_of_time(seconds):
    """Declination [radians] and equation of time [minutes] at Unix seconds (Meeus ch. 25, 28)."""
    century = (seconds - _J2000_SECONDS) / _SECONDS_PER_CENTURY
    longitude = np.radians((280.46646 + century * (36000.76983 + 0.0003032 * century)) % 360.0)
    anomaly = np.radians((357.52911 + century * (35999.05029 - 0.0001537 * century)) % 360.0)
    eccentricity = 0.016708634 - century * (0.000042037 + 0.0000001267 * century)
    centre = (
        np.sin(anomaly) * (1.914602 - century * (0.004817 + 0.000014 * century))
        + np.sin(2 * anomaly) * (0.019993 - 0.000101 * century)
        + np.sin(3 * anomaly) * 0.000289
    )
    node = np.radians(125.04 - 1934.136 * century)
    apparent = longitude + np.radians(centre - 0.00569 - 0.00478 * np.sin(node))
    arc_seconds = 21.448 - century * (46.815 + century * (0.00059 - 0.001813 * century))
    obliquity = np.radians(23.0 + (26.0 + arc_seconds / 60.0) / 60.0 + 0.00256 * np.cos(node))
    declination = np.arcsin(np.sin(obliquity) * np.sin(apparent))
    y = np.tan(obliquity / 2.0) ** 2
    equation = 4.0 * np.degrees(
        y * np.sin(2 * longitude)
        - 2 * eccentricity * np.sin(anomaly)
        + 4 * eccentricity * y * np.sin(anomaly) * np.cos(2 * longitude)
        - 0.5 * y**2 * np.sin(4 * longitude)
        - 1.25 * eccentricity**2 * np.sin(2 * anomaly)
    )
    return declination, equation


def _hour_angle(seconds, equation_of_time, longitude):
    """Hour angle of the sun [radians], not wrapped: only its sine and cosine are used."""
    degrees = (seconds % 86_400) / 240.0 + equation_of_time / 4.0 - 180.0
    return np.radians(degrees + longitude)


def _output_type(latitude, longitude):
    """float32 where every coordinate array is float32, otherwise float64; plain numbers follow the arrays."""
    arrays = [array for array in (np.asarray(latitude), np.asarray(longitude)) if array.ndim]
    single = bool(arrays) and all(array.dtype == np.float32 for array in arrays)
    return np.dtype(np.float32 if single else np.float64)


def solar_declination(time):
    """Apparent declination of the sun (Meeus ch. 25, as in the NOAA solar calculator).

    Parameters
    ----------
    time : datetime64 scalar or array
        UTC; NaT gives NaN.

    Returns
    -------
    numeric
        Declination, north positive. [degrees]

    Notes
    -----
    Within 0.01 degrees between 1950 and 2050; UTC is taken for dynamical time (a minute apart, 0.0003
    degrees).

    References
    ----------
    Meeus J (1998) Astronomical Algorithms, 2nd ed., Willmann-Bell. NOAA Global Monitoring Laboratory, Solar
    Calculator.
    """
    return np.degrees(declination_and_equation_of_time(unix_seconds(time))[0])[()]


def solar_elevation(time, latitude, longitude):
    """True elevation of the sun above the horizon, without refraction (NOAA solar calculator equations).

    Parameters
    ----------
    time : datetime64 scalar or array
        UTC, broadcast against the coordinates; NaT gives NaN. The astronomy is done once per time, so that
        times of shape (hour,) with sites of shape (site, 1) are cheap.
    latitude : numeric
        North positive. [degrees]
    longitude : numeric
        East positive. [degrees]

    Returns
    -------
    numeric
        Elevation of the centre of the disc. [degrees]

    Notes
    -----
    Within 0.02 degrees of the NREL algorithm from 1950 to 2050. float32 coordinates give a float32 result
    within 2e-4 degrees of float64.

    References
    ----------
    Meeus J (1998) Astronomical Algorithms, 2nd ed., Willmann-Bell. NOAA Global Monitoring Laboratory, Solar
    Calculator.
    """
    kind = _output_type(latitude, longitude)
    seconds = unix_seconds(time)
    declination, equation = declination_and_equation_of_time(seconds)
    north = np.radians(np.asarray(latitude, dtype=np.float64))
    cos_angle = np.cos(_hour_angle(seconds, equation, np.asarray(longitude, dtype=np.float64)))
    sine = np.sin(north) * np.sin(declination) + np.cos(north) * np.cos(declination) * cos_angle
    return np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))).astype(kind, copy=False)[()]


def solar_position(time, latitude, longitude):
    """True elevation and azimuth of the sun, without refraction (NOAA solar calculator equations).

    Parameters
    ----------
    time : datetime64 scalar or array
        UTC, broadcast against the coordinates; NaT gives NaN.
    latitude : numeric
        North positive. [degrees]
    longitude : numeric
        East positive. [degrees]

    Returns
    -------
    elevation : numeric
        Elevation of the centre of the disc. [degrees]
    azimuth : numeric
        Bearing of the sun, clockwise from true north, 0 to 360. [degrees]

    References
    ----------
    Meeus J (1998) Astronomical Algorithms, 2nd ed., Willmann-Bell. NOAA Global Monitoring Laboratory, Solar
    Calculator.
    """
    kind = _output_type(latitude, longitude)
    seconds = unix_seconds(time)
    declination, equation = declination_and_equation_of_time(seconds)
    north = np.radians(np.asarray(latitude, dtype=np.float64))
    angle = _hour_angle(seconds, equation, np.asarray(longitude, dtype=np.float64))
    east_part = -np.cos(declination) * np.sin(angle)
    north_part = np.sin(declination) * np.cos(north) - np.cos(declination) * np.sin(north) * np.cos(angle)
    sine = np.sin(north) * np.sin(declination) + np.cos(north) * np.cos(declination) * np.cos(angle)
    azimuth = np.degrees(np.arctan2(east_part, north_part)) % 360.0
    elevation = np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0)))
    return elevation.astype(kind, copy=False)[()], azimuth.astype(kind, copy=False)[()]
