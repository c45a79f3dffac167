"""Wet leaves: dew from humidity, published models of leaf wetness, and drying after rain.

Wetness is a number: 1 wet, 0 dry, NaN unknown.
"""

from __future__ import annotations

import numpy as np

from .arrays import as_floats

WET_RELATIVE_HUMIDITY = 87.0
"""Leaves count as dry below this relative humidity [%] (thresholds from 83 to 93 are published)."""

DRY_DEPRESSION = 3.8
"""Dew-point depression above which the depression model calls leaves dry [K] (from memory)."""

WET_DEPRESSION = 2.0
"""Dew-point depression below which the depression model calls leaves wet [K] (from memory)."""


def _verdict(wet, dry):
    """1 where wet, 0 where dry, NaN where neither is known; wet wins."""
    return np.where(wet, 1.0, np.where(dry, 0.0, np.nan))


def leaf_wet(relative_humidity, dew_point_depression, precipitation):
    """Leaf wetness for the rules: dry when RH < 87 %, dew-point depression > 3.8 K and no rain (combined).

    Parameters
    ----------
    relative_humidity : numeric
        Relative humidity. [%]
    dew_point_depression : numeric
        Air temperature minus dew point. [K]
    precipitation : numeric
        Rain in the hour. [mm]

    Returns
    -------
    numeric
        1 wet, 0 dry, NaN unknown. One sign of wetness is enough, also when the others are unknown; dry needs
        all three known. [-]

    References
    ----------
    Sentelhas PC et al. (2008) Suitability of relative humidity as an estimator of leaf wetness duration.
    Agric. For. Meteorol. 148:392-400, tests both criteria.
    """
    humidity, depression, rain = as_floats(relative_humidity, dew_point_depression, precipitation)
    wet = (humidity >= WET_RELATIVE_HUMIDITY) | (depression <= DRY_DEPRESSION) | (rain > 0)
    dry = (humidity < WET_RELATIVE_HUMIDITY) & (humidity >= 0) & (depression > DRY_DEPRESSION) & (rain == 0)
    return _verdict(wet, dry).astype(humidity.dtype)[()]
