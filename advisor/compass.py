"""Directions by the sixteen points of the compass."""

from __future__ import annotations

#: from north, clockwise
POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
#: [degrees] from one point to the next
BETWEEN_POINTS = 360.0 / len(POINTS)


def point_of(degrees: float) -> str:
    """The point that is nearest to a direction [degrees true], no more than 11.25 degrees off."""
    return POINTS[round(degrees / BETWEEN_POINTS) % len(POINTS)]


def degrees_of(point: str) -> float:
    """[degrees true] of a point.

    Raises
    ------
    ValueError
        When there is no such point.
    """
    return POINTS.index(point) * BETWEEN_POINTS
