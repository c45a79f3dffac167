"""Stability of the air near the ground: Turner's method and the SRDT method.

Classes are numbers: 1 = A (very unstable) to 4 = D (neutral), 6 = F, 7 = G (very stable); NaN is unknown.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from advisor.atmosphere.inversions import INVERSION_SETTINGS, inversion_closed, inversion_likelihood, is_night
from advisor.floats import as_floats

__all__ = [
    "INVERSION_SETTINGS",
    "insolation_class",
    "inversion_closed",
    "inversion_likelihood",
    "is_night",
    "net_radiation_index",
    "srdt_class",
    "turner_class",
    "turner_class_bounds",
    "turner_key",
]

KNOT = 0.514444
"""One knot [m/s]."""

BROKEN_CLOUD = 45.0
"""Cloud cover from which a night counts as cloudy, 5/10 when rounded to whole tenths [%]."""

LOW_CEILING = 7000 * 0.3048
HIGH_CEILING = 16000 * 0.3048
"""Ceilings at which Turner's method changes the net radiation index, 7000 and 16000 ft [m]."""

# EPA-454/R-99-005 table 6-4: rows by whole knots, columns by net radiation index 4, 3, 2, 1, 0, -1, -2.
TURNER_TABLE = np.array(
    [
        (1, 1, 2, 3, 4, 6, 7),  # 0, 1 kt
        (1, 2, 2, 3, 4, 6, 7),  # 2, 3
        (1, 2, 3, 4, 4, 5, 6),  # 4, 5
        (2, 2, 3, 4, 4, 5, 6),  # 6
        (2, 2, 3, 4, 4, 4, 5),  # 7
        (2, 3, 3, 4, 4, 4, 5),  # 8, 9
        (3, 3, 4, 4, 4, 4, 5),  # 10
        (3, 3, 4, 4, 4, 4, 4),  # 11
        (3, 4, 4, 4, 4, 4, 4),  # 12 and more
    ],
    dtype=np.float64,
)
_ROW_EDGES = np.array([2, 4, 6, 7, 8, 10, 11, 12])

# EPA-454/R-99-005 table 6-7, by day: rows by wind speed, columns by radiation below 175, 675, 925 and above.
_SRDT_DAY = np.array([(4, 2, 1, 1), (4, 3, 2, 1), (4, 3, 2, 2), (4, 4, 3, 3), (4, 4, 4, 3)], dtype=np.float64)
_SRDT_DAY_WIND = np.array([2.0, 3.0, 5.0, 6.0])
_SRDT_DAY_RADIATION = np.array([175.0, 675.0, 925.0])
# By night: rows by wind speed, columns temperature falling with height, not falling.
_SRDT_NIGHT = np.array([(5, 6), (4, 5), (4, 4)], dtype=np.float64)
_SRDT_NIGHT_WIND = np.array([2.0, 2.5])


def insolation_class(sun_elevation):
    """Insolation class by the sun's elevation (EPA-454/R-99-005 table 6-5).

    Parameters
    ----------
    sun_elevation : numeric
        Elevation of the sun. [degrees]

    Returns
    -------
    numeric
        4 strong (above 60), 3 moderate, 2 slight, 1 weak (15 and below). [-]

    References
    ----------
    US EPA (2000) EPA-454/R-99-005.
    """
    height = as_floats(sun_elevation)
    steps = 1.0 + (height > 15.0) + (height > 35.0) + (height > 60.0)
    return np.where(np.isnan(height), np.nan, steps).astype(height.dtype)[()]


def _whole_tenths(cloud_cover):
    """Cloud cover in whole tenths as an observer reports it: 10/10 only without gaps (99.5 % and more)."""
    tenths = np.minimum(np.floor(cloud_cover / 10.0 + 0.5), 9.0)
    return np.where(cloud_cover >= 99.5, 10.0, np.where(np.isnan(cloud_cover), np.nan, tenths))


def net_radiation_index(sun_elevation, is_night, cloud_cover, ceiling=None):
    """Net radiation index of Turner's method (EPA-454/R-99-005 table 6-6, steps read as exclusive).

    Parameters
    ----------
    sun_elevation : numeric
        Elevation of the sun. [degrees]
    is_night : bool array
        Night as in `is_night`.
    cloud_cover : numeric
        Total cloud cover, rounded here to whole tenths. [%]
    ceiling : numeric, optional
        Height of the ceiling above ground, inf when unlimited; None when no ceiling is to be considered. [m]

    Returns
    -------
    numeric
        4 to -2, NaN where an input is unknown. [-]

    References
    ----------
    US EPA (2000) EPA-454/R-99-005. Turner DB (1964) A diffusion model for an urban area. J. Appl. Meteor.
    3:83-91.
    """
    height, cover, base = as_floats(sun_elevation, cloud_cover, np.inf if ceiling is None else ceiling)
    night = np.asarray(is_night, dtype=bool)
    insolation = insolation_class(height)
    tenths = _whole_tenths(cover)
    overcast = tenths >= 10
    drop = np.where(base < LOW_CEILING, 2.0, np.where((base < HIGH_CEILING) | overcast, 1.0, 0.0))
    by_day = np.where(tenths <= 5, insolation, np.maximum(insolation - drop, 1.0))
    by_night = np.where(tenths <= 4, -2.0, -1.0)
    index = np.where(overcast & (base < LOW_CEILING), 0.0, np.where(night, by_night, by_day))
    unknown = np.isnan(height) | np.isnan(cover) | np.isnan(base)
    return np.where(unknown, np.nan, index).astype(height.dtype)[()]


def turner_key(index, wind_speed_10m):
    """Stability class of a net radiation index and a wind speed (EPA-454/R-99-005 table 6-4).

    Parameters
    ----------
    index : numeric
        Net radiation index, 4 to -2. [-]
    wind_speed_10m : numeric
        Wind speed at 10 m, rounded here to whole knots. [m/s]

    Returns
    -------
    numeric
        Stability class 1 to 7, NaN where an input is unknown. [-]

    References
    ----------
    US EPA (2000) EPA-454/R-99-005.
    """
    radiation, speed = as_floats(index, wind_speed_10m)
    known = ~(np.isnan(radiation) | np.isnan(speed)) & (radiation <= 4) & (radiation >= -2) & (speed >= 0)
    knots = np.floor(np.where(known, speed, speed.dtype.type(0)).astype(np.float64) / KNOT + 0.5)
    row = np.searchsorted(_ROW_EDGES, knots, side="right")
    column = 4 - np.where(known, radiation, radiation.dtype.type(0)).astype(int)
    return np.where(known, TURNER_TABLE[row, column], np.nan).astype(radiation.dtype)[()]


def turner_class(sun_elevation, is_night, cloud_cover, wind_speed_10m, ceiling=None):
    """Stability class by Turner's method (EPA-454/R-99-005 tables 6-4 to 6-6).

    Parameters
    ----------
    sun_elevation : numeric
        Elevation of the sun. [degrees]
    is_night : bool array
        Night as in `is_night`: from one hour before sunset to one hour after sunrise.
    cloud_cover : numeric
        Total cloud cover. [%]
    wind_speed_10m : numeric
        Wind speed at 10 m. [m/s]
    ceiling : numeric, optional
        Height of the ceiling above ground, inf when unlimited. [m]

    Returns
    -------
    numeric
        1 (A) to 7 (G); NaN where an input is unknown, also where only the cloud is: then see
        `turner_class_bounds`.

    Notes
    -----
    ===========================  ==========================================================================
    wind                         rounded to whole knots, as the table counts
    cloud cover                  rounded to whole tenths; 10/10 only from 99.5 %
    steps of table 6-6           exclusive: 10/10 takes 1 off only where no ceiling below 16000 ft did
    ceiling not given            no ceiling, so that nights are never made neutral by an unknown low cloud
    ===========================  ==========================================================================

    References
    ----------
    Turner DB (1964) A diffusion model for an urban area. J. Appl. Meteor. 3:83-91.
    US EPA (2000) Meteorological Monitoring Guidance for Regulatory Modeling Applications, EPA-454/R-99-005.
    """
    if ceiling is None:
        return _without_ceiling(sun_elevation, is_night, cloud_cover, wind_speed_10m)
    return turner_key(net_radiation_index(sun_elevation, is_night, cloud_cover, ceiling), wind_speed_10m)


#: heights of the sun, clouds and winds, one of each kind that tables 6-4 to 6-6 tell apart where no ceiling is given
_SUNS, _CLOUDS, WHOLE_KNOTS = (0.0, 10.0, 25.0, 45.0, 75.0), (0.0, 70.0, 100.0), tuple(range(13))
_UNKNOWN_CASE = len(_SUNS) * len(_CLOUDS) * len(WHOLE_KNOTS)


@cache
def _classes_without_ceiling() -> np.ndarray:
    """Turner's class of every kind of sky, cloud and wind, the first sky being night; NaN for what is not known."""
    height, cover, knots = np.meshgrid(_SUNS, _CLOUDS, WHOLE_KNOTS, indexing="ij")
    night = np.zeros(height.shape, dtype=bool)
    night[0] = True
    classes = turner_key(net_radiation_index(height, night, cover), knots * KNOT)
    return np.append(classes.ravel(), np.nan)


def _without_ceiling(sun_elevation, is_night, cloud_cover, wind_speed_10m):
    """`turner_class` by one look into a table, its case counted in bytes: many times faster than table by table."""
    height, cover, speed = as_floats(sun_elevation, cloud_cover, wind_speed_10m)
    with np.errstate(invalid="ignore"):
        sky = np.where(np.asarray(is_night, dtype=bool), 0.0, insolation_class(height))
        unknown_sky = np.isnan(height)
        sky = np.where(unknown_sky, 0, sky).astype(np.uint8) * np.uint8(len(_CLOUDS))
        cloud = (cover >= BROKEN_CLOUD).view(np.uint8) + (cover >= 99.5).view(np.uint8)
        known = (speed >= 0) & (cover == cover) & ~unknown_sky
        # a wind that is not known may become any number here
        knots = speed * speed.dtype.type(1.0 / KNOT) + speed.dtype.type(0.5)
        case = np.minimum(knots, WHOLE_KNOTS[-1]).astype(np.uint8)
    case = (sky + cloud) * np.uint8(len(WHOLE_KNOTS)) + case
    if not known.all():
        case = np.where(known, case, np.uint8(_UNKNOWN_CASE))
    return np.take(_classes_without_ceiling().astype(height.dtype), case)[()]


def turner_class_bounds(sun_elevation, is_night, wind_speed_10m, cloud_cover=None, ceiling=None):
    """Lowest and highest Turner class that fit what is known of the cloud (EPA table 6-4 to 6-6).

    Without any cloud the highest class by day is 4: the air is then known not to be stable.

    Parameters
    ----------
    sun_elevation : numeric
        Elevation of the sun. [degrees]
    is_night : bool array
        Night as in `is_night`.
    wind_speed_10m : numeric
        Wind speed at 10 m. [m/s]
    cloud_cover : numeric, optional
        Total cloud cover; anything is possible where it is None or NaN. [%]
    ceiling : numeric, optional
        Height of the ceiling, inf when unlimited; anything is possible where it is None or NaN. [m]

    Returns
    -------
    lowest, highest : numeric
        Stability classes; NaN where the sun's elevation or the wind is unknown. [-]

    References
    ----------
    US EPA (2000) EPA-454/R-99-005.
    """
    height, speed, cover, base = as_floats(sun_elevation, wind_speed_10m, cloud_cover, ceiling)
    nan, low = height.dtype.type(np.nan), height.dtype.type(np.inf)
    least, most = low, -low
    # Every case of table 6-6 occurs among these clouds and ceilings; a lower index never lowers the class.
    for sky in (0.0, 70.0, 100.0):
        for bottom in (0.0, np.inf):
            index = net_radiation_index(
                height,
                is_night,
                np.where(np.isnan(cover), cover.dtype.type(sky), cover),
                np.where(np.isnan(base), base.dtype.type(bottom), base),
            )
            least, most = np.fmin(least, index), np.fmax(most, index)
    unknown = np.isnan(height)
    return (
        turner_key(np.where(unknown, nan, most), speed),
        turner_key(np.where(unknown, nan, least), speed),
    )


def srdt_class(shortwave_radiation, is_night, wind_speed_10m, temperature_gradient=None):
    """Stability class by solar radiation and temperature difference (EPA-454/R-99-005 table 6-7).

    Parameters
    ----------
    shortwave_radiation : numeric
        Global radiation, used by day. [W/m2]
    is_night : bool array
        Night.
    wind_speed_10m : numeric
        Wind speed at 10 m. [m/s]
    temperature_gradient : numeric, optional
        Change of temperature with height between 2 and 10 m, used by night; only its sign counts. None counts
        as rising, the more stable. [K/m]

    Returns
    -------
    numeric
        1 (A) to 6 (F), NaN where an input that is used is unknown. [-]

    References
    ----------
    US EPA (2000) EPA-454/R-99-005.
    """
    radiation, speed, gradient = as_floats(
        shortwave_radiation, wind_speed_10m, 0.0 if temperature_gradient is None else temperature_gradient
    )
    night = np.asarray(is_night, dtype=bool)
    wind = np.where(np.isnan(speed), 0, speed)
    light = np.searchsorted(_SRDT_DAY_RADIATION, np.where(np.isnan(radiation), 0, radiation), side="right")
    by_day = _SRDT_DAY[np.searchsorted(_SRDT_DAY_WIND, wind, side="right"), light]
    by_night = _SRDT_NIGHT[np.searchsorted(_SRDT_NIGHT_WIND, wind, side="right"), (gradient >= 0).astype(int)]
    unknown = ~(speed >= 0) | np.where(night, np.isnan(gradient), np.isnan(radiation))
    return np.where(unknown, np.nan, np.where(night, by_night, by_day)).astype(speed.dtype)[()]
