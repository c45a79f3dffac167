"""Wind: from one height to another, gusts, directions.

Speeds in m/s. A direction is where the wind comes FROM, in degrees true; calm air has none (NaN).
"""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

FORECAST_HEIGHT = 10.0
"""Height of forecast and airport wind [m]."""

GUST_FACTOR = 1.66
"""Three-second gust over ten-minute mean, inland (Harper et al. 2010, table 1.1; from memory)."""

CALM_BELOW = 0.3
"""Below this speed the air is calm, Beaufort 0 [m/s] (WMO No. 8; from memory)."""

# Exponents of the power law by stability class 1 (A) to 6 (F); EPA regulatory defaults, from memory.
_EXPONENTS = {
    "rural": (0.07, 0.07, 0.10, 0.15, 0.35, 0.55),
    "urban": (0.15, 0.15, 0.20, 0.25, 0.30, 0.30),
}

#: share of the wind over open land that is sure to blow at a sheltered place. Common practice, no source.
SHELTERED_SHARE = 0.5


def wind_speed_at_2m(speed, height):
    """Wind speed at 2 m from a measurement at another height, over short grass (FAO-56 eq. 47).

    Parameters
    ----------
    speed : numeric
        Wind speed at `height`. [m/s]
    height : numeric
        Height of the anemometer, at least 1; NaN below, where the logarithmic profile over grass ends. [m]

    Returns
    -------
    numeric
        Wind speed at 2 m. [m/s]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    measured, level = as_floats(speed, height)
    with np.errstate(all="ignore"):
        profile = np.log(67.8 * np.where(level >= 1.0, level, np.nan) - 5.42)
        return (measured * 4.87 / profile)[()]


def wind_speed_2m(wind_speed_10m):
    """Wind speed at 2 m from that at 10 m, a factor of 0.748 (FAO-56 eq. 47).

    Parameters
    ----------
    wind_speed_10m : numeric
        Wind speed at 10 m. [m/s]

    Returns
    -------
    numeric
        Wind speed at 2 m. [m/s]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    return wind_speed_at_2m(wind_speed_10m, FORECAST_HEIGHT)


def power_law(speed, height_from, height_to, exponent):
    """Wind speed at another height by the power law (EPA-454/R-99-005 section 6.2.5).

    Parameters
    ----------
    speed : numeric
        Wind speed at `height_from`. [m/s]
    height_from, height_to : numeric
        Heights above ground, above 0. [m]
    exponent : numeric
        About 0.1 on a sunny afternoon to 0.6 in a cloudless night. [-]

    Returns
    -------
    numeric
        Wind speed at `height_to`. [m/s]

    References
    ----------
    US EPA (2000) Meteorological Monitoring Guidance for Regulatory Modeling Applications, EPA-454/R-99-005.
    """
    measured, lower, upper, power = as_floats(speed, height_from, height_to, exponent)
    with np.errstate(all="ignore"):
        ratio = np.where((lower > 0) & (upper > 0), upper / lower, np.nan)
        return (measured * ratio**power)[()]


def power_law_exponent(stability_class, terrain="rural"):
    """Exponent of the power law for a stability class (EPA regulatory defaults; values from memory).

    Parameters
    ----------
    stability_class : numeric
        1 (A) to 6 (F); 7 (G) counts as 6. [-]
    terrain : {"rural", "urban"}
        Surroundings.

    Returns
    -------
    numeric
        Exponent; NaN for a class that is NaN or outside 1 to 7. [-]

    References
    ----------
    US EPA (2000) EPA-454/R-99-005; the defaults are those of EPA's regulatory dispersion models.
    """
    if terrain not in _EXPONENTS:
        raise ValueError(f"power_law_exponent: terrain {terrain!r} is not known; use 'rural' or 'urban'")
    given = as_floats(stability_class)
    known = (given >= 1.0) & (given <= 7.0)
    index = np.minimum(np.where(known, given, 1.0), 6.0).astype(int) - 1
    values = np.array(_EXPONENTS[terrain], dtype=given.dtype)
    return np.where(known, values[index], given.dtype.type(np.nan))[()]


def lowest_wind_speed_2m(wind_speed_10m, stability_class):
    """Lowest credible wind speed at 2 m: the smaller of FAO-56 eq. 47 and the rural power law of the class.

    For the calm limit, where too high an estimate would be the dangerous one.

    Parameters
    ----------
    wind_speed_10m : numeric
        Wind speed at 10 m. [m/s]
    stability_class : numeric
        1 (A) to 7 (G); NaN counts as the most stable, which gives the lowest wind. [-]

    Returns
    -------
    numeric
        Wind speed at 2 m; NaN where the wind is unknown. [m/s]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56; US EPA (2000) EPA-454/R-99-005.
    """
    speed, given = as_floats(wind_speed_10m, stability_class)
    known = (given >= 1.0) & (given <= 7.0)
    if not np.all(known):
        given = np.where(known, given, given.dtype.type(6.0))
    # one factor a class: raised to the power seven times and not once an hour
    factor = power_law(1.0, FORECAST_HEIGHT, 2.0, power_law_exponent(np.arange(8.0))).astype(speed.dtype)
    return np.minimum(wind_speed_2m(speed), speed * np.take(factor, given.astype(np.uint8)))[()]


def gust_estimate(wind_speed, factor=GUST_FACTOR):
    """Gust from the mean wind where none is given, an estimate (Harper et al. 2010, table 1.1; from memory).

    Parameters
    ----------
    wind_speed : numeric
        Ten-minute mean. [m/s]
    factor : numeric
        Gust factor; below 1 counts as 1. [-]

    Returns
    -------
    numeric
        Estimated three-second gust, never below the mean. [m/s]

    Notes
    -----
    Published for strong wind over open land; in light wind on a sunny day gusts are relatively stronger.

    References
    ----------
    Harper BA, Kepert JD, Ginger JD (2010) Guidelines for converting between various wind averaging periods in
    tropical cyclone conditions. WMO/TD-No. 1555.
    """
    speed, ratio = as_floats(wind_speed, factor)
    return (speed * np.maximum(ratio, 1.0))[()]


def angle_between(direction_a, direction_b):
    """Smallest angle between two directions (plane geometry).

    Parameters
    ----------
    direction_a, direction_b : numeric
        Any directions, also beyond 0 to 360. [degrees]

    Returns
    -------
    numeric
        0 to 180. [degrees]
    """
    first, second = as_floats(direction_a, direction_b)
    with np.errstate(all="ignore"):
        return np.abs((first - second + 180.0) % 360.0 - 180.0)[()]


def direction_toward(wind_direction):
    """Direction in which the wind carries: the opposite of where it comes from (WMO convention).

    Parameters
    ----------
    wind_direction : numeric
        Where the wind comes FROM. [degrees true]

    Returns
    -------
    numeric
        0 to below 360. [degrees true]
    """
    with np.errstate(all="ignore"):
        return ((as_floats(wind_direction) + 180.0) % 360.0)[()]


def direction_unless_calm(wind_direction, wind_speed, calm_below=CALM_BELOW):
    """Wind direction, NaN where the air is calm and therefore has none (Beaufort 0).

    Parameters
    ----------
    wind_direction : numeric
        Where the wind comes FROM. [degrees true]
    wind_speed : numeric
        Mean wind. [m/s]
    calm_below : numeric
        Speeds below this are calm. [m/s]

    Returns
    -------
    numeric
        Direction, NaN where calm or where either is unknown. [degrees true]
    """
    direction, speed, calm = as_floats(wind_direction, wind_speed, calm_below)
    return np.where(speed >= calm, direction, direction.dtype.type(np.nan))[()]
