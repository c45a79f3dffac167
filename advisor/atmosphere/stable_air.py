"""Whether the air is stable: Turner's classes E to G, asked as a yes or no of many members at once."""

from __future__ import annotations

from functools import cache

import numpy as np

from advisor.atmosphere.stability import BROKEN_CLOUD, KNOT, WHOLE_KNOTS, turner_key
from advisor.floats import as_floats
from advisor.votes import Votes

CLASS_E = 5
"""The first stable class."""


@cache
def _stable_below(index: int) -> float:
    """Wind [m/s] below which table 6-4 calls the air stable, by the net radiation index of the night."""
    knots = np.array(WHOLE_KNOTS)
    return float(knots[turner_key(float(index), knots * KNOT) >= CLASS_E].max() + 0.5) * KNOT


def stable_air(sun_elevation, is_night, cloud_cover, wind_speed_10m) -> Votes:
    """Whether Turner's class is a stable one, E to G, member by member (EPA-454/R-99-005 tables 6-4 to 6-6).

    As `turner_class` without a ceiling says, by one comparison a cloud: by day no class is stable, and by night all are
    below some wind.

    Parameters
    ----------
    sun_elevation : ndarray, shape (site, 1, hour)
        Elevation of the sun. [degrees]
    is_night : ndarray of bool, shape (site, 1, hour)
        Night as in `is_night`.
    cloud_cover, wind_speed_10m : ndarray, shape (site, member, hour)
        Total cloud cover [%] and wind speed at 10 m [m/s].

    Returns
    -------
    Votes
        Not known where the wind or the sun is not; where only the cloud is not, no where no sky makes the air stable.

    References
    ----------
    US EPA (2000) EPA-454/R-99-005.
    """
    height, cover, speed = as_floats(sun_elevation, cloud_cover, wind_speed_10m)
    under_clear, under_cloud = (Votes.of(speed < _stable_below(index)) for index in (-2, -1))
    in_this_sky = Votes.of(cover < BROKEN_CLOUD) | under_cloud
    unknown_cloud, unknown = np.isnan(cover), (~(speed >= 0), np.isnan(height))
    if unknown_cloud.any():
        in_this_sky = in_this_sky.only_known(Votes.of(~unknown_cloud).surely)
    stable = Votes.of(np.asarray(is_night, dtype=bool)) & under_clear & in_this_sky
    for one in unknown:
        if one.any():
            stable = stable.only_known(Votes.of(~one).surely)
    return stable
