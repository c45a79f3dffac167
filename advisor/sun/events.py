"""Sunrise, transit and sunset for many sites and days, and the nights of a span of time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from advisor.sun.position import declination_and_equation_of_time, unix_seconds

SUNRISE_ELEVATION = -0.833
"""True elevation of the disc's centre at sunrise and sunset: half a disc and 34' of refraction [degrees]."""

_DAY = 86_400
_STEPS = 8
_STILL = 1e-3
"""A step that moves sunrise or sunset by less is the last [s]."""


class SunEvents(NamedTuple):
    """Sunrise, transit (sun in the meridian) and sunset of a solar day, ``datetime64[s]`` UTC."""

    sunrise: np.ndarray
    transit: np.ndarray
    sunset: np.ndarray


def _stamps(seconds):
    """Unix seconds to ``datetime64[s]``, rounded; NaN to NaT."""
    missing = ~np.isfinite(seconds)
    whole = np.rint(np.where(missing, 0.0, seconds)).astype(np.int64).astype("datetime64[s]")
    return np.where(missing, np.datetime64("NaT", "s"), whole)


def _between_knots(begin, end):
    """The sun's declination and equation of time between two Unix times, from values twelve hours apart.

    Cubic interpolation: both functions turn once or twice a year, so that the error stays below 1e-8 degrees and 1e-8
    minutes, while many sites share the few values.
    """
    step = _DAY / 2
    start = begin - 2 * step
    count = int((end - start) // step) + 4
    tables = declination_and_equation_of_time(start + step * np.arange(count))

    def sun(seconds):
        place = (seconds - start) / step
        knot = np.clip(np.nan_to_num(place), 1, count - 3).astype(int)
        u = place - knot
        weights = (
            u * (u - 1.0) * (u - 2.0) / -6.0,
            (u + 1.0) * (u - 1.0) * (u - 2.0) / 2.0,
            (u + 1.0) * u * (u - 2.0) / -2.0,
            (u + 1.0) * u * (u - 1.0) / 6.0,
        )
        return [sum(weight * table[knot + at] for at, weight in enumerate(weights, -1)) for table in tables]

    return sun


def _event_seconds(day, latitude, longitude, sun=declination_and_equation_of_time):
    """Sunrise, transit and sunset in Unix seconds as float64, NaN where the sun does not rise or set.

    `sun` gives declination and equation of time at Unix times.
    """
    north = np.radians(np.asarray(latitude, dtype=np.float64))
    east = np.asarray(longitude, dtype=np.float64)
    noon = unix_seconds(np.asarray(day).astype("datetime64[D]")) + _DAY / 2 - east * 240.0
    transit = noon
    for _ in range(3):
        transit = noon - 60.0 * sun(transit)[1]
    transit = transit + 0.0 * north
    noon, north = (np.broadcast_to(part, transit.shape) for part in (noon, north))
    rises, sets = _crossings(noon, transit, north, sun)
    return rises, transit, sets


def _crossings(noon, transit, north, sun):
    """Sunrise and sunset [Unix seconds] by steps from the transit; each day steps until it moves by less than 1 ms."""
    threshold = np.sin(np.radians(SUNRISE_ELEVATION))
    shape = (2, *transit.shape)
    side = np.repeat([-240.0, 240.0], transit.size)
    time, noon, north = (np.array(np.broadcast_to(part, shape)).ravel() for part in (transit, noon, north))
    sine, cosine_north, found = np.sin(north), np.cos(north), np.ones(time.shape, dtype=bool)
    left = np.arange(time.size)
    with np.errstate(all="ignore"):
        for _ in range(_STEPS):
            declination, equation = sun(time[left])
            cosine = (threshold - sine[left] * np.sin(declination)) / (
                cosine_north[left] * np.cos(declination)
            )
            found[left] = np.abs(cosine) <= 1.0
            angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
            moved = noon[left] - 60.0 * equation + side[left] * angle
            moving = np.abs(moved - time[left]) > _STILL
            time[left] = moved
            left = left[moving]
            if not left.size:
                break
    return np.where(found, time, np.nan).reshape(shape)


def sun_events(day, latitude, longitude):
    """Sunrise, transit and sunset of a solar day (NOAA solar calculator equations, zenith 90.833 degrees).

    The solar day is the one around mean noon of the calendar date `day` at the longitude, that is around
    12:00 UTC minus longitude / 15 h. Sunset may therefore fall on the next UTC date, and near midsummer in
    the north after local midnight.

    Parameters
    ----------
    day : datetime64 scalar or array
        Date, broadcast against the coordinates.
    latitude : numeric
        North positive. [degrees]
    longitude : numeric
        East positive. [degrees]

    Returns
    -------
    SunEvents
        sunrise, transit and sunset, ``datetime64[s]`` UTC; sunrise and sunset NaT where there is none, all
        three NaT where an input is missing.

    Notes
    -----
    Within 15 s of ephemeris programs below 66 degrees of latitude; the true horizon, pressure and refraction
    of the day shift the event seen by a minute or more.

    References
    ----------
    Meeus J (1998) Astronomical Algorithms, 2nd ed., Willmann-Bell. NOAA Global Monitoring Laboratory, Solar
    Calculator.
    """
    sunrise, transit, sunset = _event_seconds(day, latitude, longitude)
    return SunEvents(_stamps(sunrise)[()], _stamps(transit)[()], _stamps(sunset)[()])


def nights(start, end, latitude, longitude):
    """The consecutive nights around a span of time, each a sunset and the next sunrise (as in `sun_events`).

    Where the sun does not set, or does not rise again by the next noon, the night is 18:00 to 06:00 apparent
    solar time.

    Parameters
    ----------
    start, end : datetime64
        The span, UTC.
    latitude, longitude : numeric, shape () or (site,)
        North and east positive. [degrees]

    Returns
    -------
    sunset, sunrise : numpy.ndarray, datetime64[s] UTC, shape (site, night)
        Night 0 of each site is the first whose sunset is at or after `start` minus one day; the last sunset
        is at or after `end` plus one day. Unknown coordinates give NaT.

    References
    ----------
    See `sun_events`.
    """
    first = np.datetime64(start, "s") - np.timedelta64(1, "D")
    last = np.datetime64(end, "s") + np.timedelta64(1, "D")
    if np.isnat(first) or np.isnat(last) or last < first:
        raise ValueError(f"nights: needs a start not after the end, got {start} and {end}; check the span")
    north = np.atleast_1d(np.asarray(latitude, dtype=np.float64))[:, None]
    east = np.atleast_1d(np.asarray(longitude, dtype=np.float64))[:, None]
    # Two days to spare on each side: the solar day of a date and its sunset may lie a day off in UTC.
    days = np.arange(first.astype("datetime64[D]") - 2, last.astype("datetime64[D]") + 4)
    sun = _between_knots(*(float(unix_seconds(day)) for day in (days[0] - 1, days[-1] + 2)))
    rise, transit, fall = _event_seconds(days[None, :], north, east, sun)
    sunset, sunrise = fall[:, :-1], rise[:, 1:]
    missing = np.isnan(sunset) | np.isnan(sunrise)
    sunset = np.where(missing, transit[:, :-1] + 6 * 3600.0, sunset)
    sunrise = np.where(missing, transit[:, 1:] - 6 * 3600.0, sunrise)
    # The sites' first nights may differ by one date: shift each so that all rows start with their own first.
    offset = np.sum(sunset < unix_seconds(first), axis=1)
    count = int((last - first) / np.timedelta64(1, "D")) + 2
    index = np.minimum(offset[:, None] + np.arange(count)[None, :], sunset.shape[1] - 1)
    return (
        _stamps(np.take_along_axis(sunset, index, axis=1)),
        _stamps(np.take_along_axis(sunrise, index, axis=1)),
    )
