"""Shortwave radiation at the ground: under a clear sky, estimated, and net (FAO-56 chapter 3)."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

ALBEDO = 0.23
"""Albedo of the grass reference surface [-] (FAO-56 eq. 38)."""


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
    Fitted to ten years of Hamburg. On the typical year of Greensboro NC the year's sum is within 2 %, a
    month's within 20 %, an hour off by a fifth of the mean.

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
