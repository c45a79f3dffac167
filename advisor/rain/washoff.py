"""What rain takes off treated grass leaves, from a rainfall trial on Kentucky bluegrass."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "TRIAL_DELAY",
    "TRIAL_RAIN",
    "WASHOFF_CURVES",
    "Washoff",
    "remaining_exponential",
    "remaining_power",
    "washoff",
]

#: Hours between spraying and rain in the trial [h].
TRIAL_DELAY = (18.0, 48.0)
#: Depths of rain in the trial [mm].
TRIAL_RAIN = (2.0, 58.0)

_AT_LEAST = "at least this much lost: the trial rained no sooner than 18 h after spraying"
_AS_TRIAL = "as in the trial"
_LATE = "probably less lost: the trial rained no later than 48 h after spraying"
_UNKNOWN = "unknown"


class Washoff(NamedTuple):
    """What :func:`washoff` found.

    Parameters
    ----------
    remaining : numpy.ndarray or float
        Share still on the leaf [0 to 1].
    lost : numpy.ndarray or float
        Share washed off [0 to 1].
    words : numpy.ndarray or str
        How far the trial supports the numbers.
    """

    remaining: np.ndarray
    lost: np.ndarray
    words: np.ndarray


def _trial(rain_mm) -> np.ndarray:
    rain = as_floats(rain_mm)
    # More rain than the trial had takes off at least as much as its most; no curve is drawn beyond it.
    return np.where(rain >= 0, np.minimum(rain, TRIAL_RAIN[1]), np.nan).astype(rain.dtype)


def remaining_power(rain_mm):
    """Share of dicamba left on bluegrass leaves after rain, Carroll et al. (1993): 1 - 0.341 x^0.187.

    Parameters
    ----------
    rain_mm : array_like
        Rain after the treatment [mm]; 2 to 58 in the trial, no lower value is given beyond 58.

    Returns
    -------
    numpy.ndarray or float
        Share remaining [0 to 1]; NaN for missing or negative rain.

    References
    ----------
    Carroll MJ, Hill RL, Pfeil E, Herner AE (1993) Washoff of dicamba and 3,6-dichlorosalicylic acid from
    turfgrass foliage. Weed Technology 7 (rain 18 to 48 h after treatment).
    """
    rain = _trial(rain_mm)
    return (1 - 0.341 * rain**0.187).astype(rain.dtype)[()]


def remaining_exponential(rain_mm):
    """Share of 3,6-dichlorosalicylic acid left after rain, Carroll et al. (1993): exp(-0.210 x).

    Parameters
    ----------
    rain_mm : array_like
        Rain after the treatment [mm]; 2 to 58 in the trial, no lower value is given beyond 58.

    Returns
    -------
    numpy.ndarray or float
        Share remaining [0 to 1]; NaN for missing or negative rain.

    References
    ----------
    Carroll et al. (1993) Weed Technology 7 (rain 18 to 48 h after treatment).
    """
    rain = _trial(rain_mm)
    return np.exp(-0.210 * rain).astype(rain.dtype)[()]


#: The two published curves: "power" for dicamba, "exponential" for its acid, which washes off far more
#: readily.
WASHOFF_CURVES = {"power": remaining_power, "exponential": remaining_exponential}


def washoff(rain_mm, hours_since_treatment, curve: str = "power") -> Washoff:
    """Share left and share lost after rain, with what the trial can say about it, Carroll et al. (1993).

    Parameters
    ----------
    rain_mm : array_like
        Rain after the treatment [mm].
    hours_since_treatment : array_like
        From the end of the treatment to the first rain [h].
    curve : {"power", "exponential"}
        Which of the two published curves.

    Returns
    -------
    Washoff
        Shares and words. Where rain came sooner than in the trial the words say "at least this much lost".
        NaN and "unknown" where an input is missing or negative.

    Notes
    -----
    An indication for the review of a pass. It never replaces the label's own rainfast time.

    References
    ----------
    Carroll et al. (1993) Weed Technology 7.
    """
    if curve not in WASHOFF_CURVES:
        raise ValueError(f"Wash-off curve {curve!r} is not known: use one of {', '.join(WASHOFF_CURVES)}.")
    rain, hours = as_floats(rain_mm, hours_since_treatment)
    remaining = np.where(hours >= 0, np.asarray(WASHOFF_CURVES[curve](rain)), np.nan).astype(rain.dtype)
    words = np.select(
        [np.isnan(remaining), hours < TRIAL_DELAY[0], hours <= TRIAL_DELAY[1]],
        [_UNKNOWN, _AT_LEAST, _AS_TRIAL],
        _LATE,
    )
    return Washoff(remaining[()], (1 - remaining)[()], words[()])
