"""Share of the applied rate that lands on a neighbour, from the published field-crop drift trials."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "DRIFT_90TH",
    "DRIFT_DISTANCES",
    "DRIFT_PERCENT",
    "DRIFT_PERCENTILES",
    "FOCUS_COEFFICIENTS",
    "REFUSED",
    "angle_off_wind",
    "deposit_at_neighbour",
    "deposit_percent",
    "strip_mean",
]

# Basic drift values of the JKI (2010), field crops, ground deposit in % of the applied rate, by number of
# applications.
DRIFT_DISTANCES = (1, 3, 5, 10, 15, 20, 30, 40, 50)
DRIFT_PERCENT: dict[int, tuple[float, ...]] = {
    1: (2.77, 0.95, 0.57, 0.29, 0.20, 0.15, 0.10, 0.07, 0.06),
    2: (2.38, 0.79, 0.47, 0.24, 0.16, 0.12, 0.08, 0.06, 0.05),
    3: (2.01, 0.68, 0.41, 0.20, 0.14, 0.10, 0.07, 0.05, 0.04),
    4: (1.85, 0.62, 0.38, 0.19, 0.13, 0.10, 0.06, 0.05, 0.04),
    5: (1.75, 0.59, 0.36, 0.18, 0.12, 0.09, 0.06, 0.05, 0.04),
    6: (1.64, 0.56, 0.34, 0.17, 0.11, 0.09, 0.06, 0.04, 0.03),
    7: (1.61, 0.55, 0.33, 0.17, 0.11, 0.08, 0.06, 0.04, 0.03),
    8: (1.52, 0.52, 0.31, 0.16, 0.11, 0.08, 0.05, 0.04, 0.03),
}
# The percentile of the trials that each number of applications uses; together they make a 90th percentile.
DRIFT_PERCENTILES = {1: 90, 2: 82, 3: 77, 4: 74, 5: 72, 6: 70, 7: 69, 8: 67}
# One pass: distance [m] -> deposit [%].
DRIFT_90TH: dict[int, float] = dict(zip(DRIFT_DISTANCES, DRIFT_PERCENT[1], strict=True))

# FOCUS regression for arable crops, drift % = A z^B, z in metres.
FOCUS_COEFFICIENTS: dict[int, tuple[float, float]] = {
    1: (2.7593, -0.9778),
    2: (2.4376, -1.0100),
    3: (2.0244, -0.9956),
    4: (1.8619, -0.9861),
    5: (1.7942, -0.9943),
    6: (1.6314, -0.9861),
    7: (1.5784, -0.9811),
    8: (1.5119, -0.9832),
}
# The trials begin at 1 m; nearer than that the curve runs away and the whole rate is assumed to arrive.
NEAREST = 1.0
REFUSED = 100.0


def _coefficients(applications: int) -> tuple[float, float]:
    if applications not in FOCUS_COEFFICIENTS:
        raise ValueError(f"Drift values exist for 1 to 8 applications, not for {applications!r}.")
    return FOCUS_COEFFICIENTS[applications]


def deposit_percent(distance, applications: int = 1):
    """Ground deposit at a distance downwind, FOCUS regression A z^B through the 90th percentile trials.

    Parameters
    ----------
    distance : array_like
        Distance from the edge of the treated area, along the wind [m].
    applications : int
        Number of passes that the percentile is shared over, 1 to 8.

    Returns
    -------
    numpy.ndarray or float
        Deposit [% of the applied rate]. 100 (refused) nearer than 1 m, where no trial was made and the curve
        diverges; NaN where the distance is missing or negative.

    Notes
    -----
    The trials reach from 1 to 50 m; beyond that the curve is extrapolated.

    ==================================  ======================================================================
    assumption                          effect
    ==================================  ======================================================================
    field-crop boom, wind up to 5 m/s   a wand near the ground usually drifts less, high pressure drifts more
    90th percentile of the trials       one pass in ten did worse
    ==================================  ======================================================================

    The field-crop values are the ones published for hand-held and knapsack equipment in crops below 50 cm.

    References
    ----------
    Rautmann D, Streloke M, Winkler R (2001) New basic drift values in the authorization procedure for plant
    protection products. Mitt. Biol. Bundesanst. 383:133-141.
    FOCUS (2001) Surface water scenarios in the EU evaluation process. SANCO/4802/2001 rev. 2, appendix B.
    """
    factor, exponent = _coefficients(applications)
    away = as_floats(distance)
    curve = factor * np.maximum(away, NEAREST) ** exponent
    result = np.where(away < NEAREST, REFUSED, curve)
    return np.where(away >= 0, result, np.nan).astype(away.dtype)[()]


def strip_mean(near, far, applications: int = 1):
    """Mean deposit over a strip, the integral of the FOCUS regression divided by the width.

    Parameters
    ----------
    near, far : array_like
        Distances of the two edges of the strip from the treated area [m], 1 m or more, far above near.
    applications : int
        Number of passes, 1 to 8.

    Returns
    -------
    numpy.ndarray or float
        Mean deposit [% of the applied rate]. 100 (refused) where the strip begins nearer than 1 m; NaN
        where it has no width or an edge is missing or negative.

    References
    ----------
    FOCUS (2001) SANCO/4802/2001 rev. 2, appendix B.
    """
    factor, exponent = _coefficients(applications)
    inner, outer = as_floats(near, far)
    possible = (inner >= 0) & (outer > inner)
    start = np.maximum(inner, NEAREST)
    width = np.where(possible & (outer > start), outer - start, 1)
    power = exponent + 1
    mean = factor / (width * power) * (np.maximum(outer, NEAREST) ** power - start**power)
    return np.where(possible, np.where(inner < NEAREST, REFUSED, mean), np.nan).astype(inner.dtype)[()]


def angle_off_wind(bearing, wind_from_direction, arc=0.0):
    """Angle between where the wind blows to and the neighbour, less half the neighbour's arc, never below 0.

    Parameters
    ----------
    bearing : array_like
        Direction from the area to the middle of the neighbour, clockwise from true north [degree].
    wind_from_direction : array_like
        Direction that the wind comes from [degree].
    arc : array_like
        Width of the neighbour as seen from the area, 0 to 360 [degree].

    Returns
    -------
    numpy.ndarray or float
        Angle, 0 (straight at the neighbour) to 180 [degree].
    """
    towards, origin, width = as_floats(bearing, wind_from_direction, arc)
    return _angle_off(towards, origin, width)[()]


def _angle_off(towards: np.ndarray, origin: np.ndarray, width: np.ndarray) -> np.ndarray:
    turn = np.asarray(origin + (180 - towards))
    turn = np.abs(turn - 360 * np.rint(turn / 360))
    return np.maximum(turn - width / 2, 0)


def deposit_at_neighbour(
    distance, bearing, wind_from_direction, wind_speed, arc=0.0, calm_below: float = 0.5
):
    """Ground deposit at a neighbour for each hour's wind, FOCUS regression at distance / cos(angle off).

    Parameters
    ----------
    distance : array_like
        From the nearest edge of the area to the neighbour [m].
    bearing : array_like or None
        Direction from the area to the neighbour [degree]; None or NaN means the wind always counts as
        toward it.
    wind_from_direction : array_like, shape (..., hour)
        Direction that the wind comes from [degree].
    wind_speed : array_like, shape (..., hour)
        Wind speed [m/s].
    arc : array_like or None
        Width of the neighbour as seen from the area [degree]; None means 0.
    calm_below : float
        Below this speed the direction means nothing and counts as toward [m/s].

    Returns
    -------
    numpy.ndarray or float
        Deposit [% of the applied rate]: 0 where the wind blows 90 degrees or more away, 100 (refused) where
        the neighbour is nearer than 1 m and not so; NaN where speed, distance or arc is missing or
        impossible.

    Notes
    -----
    A missing direction with a known speed counts as toward. The neighbour's nearest edge decides, so a wind
    between the bearing and the edge of the arc blows straight at it. How uncertain the direction is belongs
    in the members.

    References
    ----------
    Rautmann D, Streloke M, Winkler R (2001) Mitt. Biol. Bundesanst. 383:133-141; FOCUS (2001)
    SANCO/4802/2001. The distance along the wind is plain geometry.
    """
    # The winds decide the type: they are the large arrays, the neighbours a handful of numbers.
    origin, speed = as_floats(wind_from_direction, wind_speed)
    away = np.asarray(distance, dtype=origin.dtype)
    towards = np.asarray(np.nan if bearing is None else bearing, dtype=origin.dtype)
    width = np.asarray(0.0 if arc is None else arc, dtype=origin.dtype)
    possible = (away >= 0) & (speed >= 0) & (width >= 0) & (width <= 360)

    factor, exponent = FOCUS_COEFFICIENTS[1]
    straight = factor * np.maximum(away, NEAREST) ** exponent
    angle = np.empty(np.broadcast_shapes(possible.shape, origin.shape, towards.shape), dtype=origin.dtype)
    angle[...] = _angle_off(towards, origin, np.where(np.isnan(width), 0, width))
    unknown = np.isnan(angle)
    if unknown.any():
        np.copyto(angle, 0, where=unknown)
    # products with yes or no: picking values out by them takes many times as long
    angle *= ~(speed < calm_below)
    toward = angle < 90
    # Just short of crosswind the path is endless for every purpose; 89.999 keeps the cosine above 0.
    np.minimum(angle, 89.999, out=angle)
    angle *= np.pi / 180
    # A (d / cos)^B = A d^B cos^-B: the distance is raised once a neighbour, not once an hour.
    deposit = np.power(np.cos(angle, out=angle), -exponent, out=angle)
    deposit *= straight
    if np.any(away < NEAREST):
        np.copyto(deposit, REFUSED, where=away < NEAREST)
    deposit *= toward
    if not np.all(possible):
        np.copyto(deposit, np.nan, where=~possible)
    return deposit[()]
