"""When weeds come up: published heat sums for smooth crabgrass, soil means for a pre-emergence treatment."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats
from advisor.growth.degree_days import degree_days

__all__ = [
    "CRABGRASS_BASE",
    "CRABGRASS_FIRST",
    "CRABGRASS_MAJOR",
    "CRABGRASS_STAGES",
    "PREEMERGENCE_STAGES",
    "crabgrass_degree_days",
    "crabgrass_stage",
    "five_day_mean",
    "preemergence_stage",
    "winter_annual_stage",
]

#: Base temperature of the soil at 2.5 cm for smooth crabgrass [degC].
CRABGRASS_BASE = 12.0
#: Degree days at the first seedlings, earliest and latest of three years [K day].
CRABGRASS_FIRST = (42.0, 78.0)
#: Degree days over which most seedlings came up [K day].
CRABGRASS_MAJOR = (140.0, 230.0)

#: Meaning of the numbers that :func:`crabgrass_stage` gives.
CRABGRASS_STAGES = {
    0: "before the earliest first emergence",
    1: "first emergence",
    2: "after first emergence, before the flush",
    3: "major emergence",
    4: "after the flush",
}
#: Meaning of the numbers that :func:`preemergence_stage` gives.
PREEMERGENCE_STAGES = {
    0: "early: below 50 degF",
    1: "now: 50 to 55 degF, the treatment should be in place",
    2: "late: above 55 degF, seeds may have begun to germinate",
    3: "too late: 60 degF or more, seeds germinate",
}
# 50, 55, 60 and 70 degF [degC].
_FIFTY, _FIFTY_FIVE, _SIXTY, _SEVENTY = 10.0, (55 - 32) / 1.8, (60 - 32) / 1.8, (70 - 32) / 1.8
# 50 degF in another unit's arithmetic must still be 50 degF.
_SLACK = 1e-5


def crabgrass_degree_days(soil_maximum, soil_minimum):
    """Degree days of a day for smooth crabgrass, base 12 degC in the soil at 2.5 cm, Fidanza et al. (1996).

    Parameters
    ----------
    soil_maximum, soil_minimum : array_like
        Highest and lowest soil temperature of the day at 2.5 cm [degC].

    Returns
    -------
    numpy.ndarray or float
        Degree days [K day], mean less base, never below 0 (McMaster and Wilhelm method 1).

    Notes
    -----
    The trial counted from 1 April in Maryland; elsewhere the counts want local calibration. Which of the
    two methods the trial used could not be read; method 1 gives the smaller sums and so the later date.

    References
    ----------
    Fidanza MA, Dernoeden PH, Zhang M (1996) Degree-days for predicting smooth crabgrass emergence in
    cool-season turfgrasses. Crop Sci. 36:990-996.
    """
    return degree_days(soil_maximum, soil_minimum, CRABGRASS_BASE, method=1)


def crabgrass_stage(accumulated):
    """Stage of smooth crabgrass by accumulated degree days, Fidanza et al. (1996); edges belong to the stage.

    Parameters
    ----------
    accumulated : array_like
        Sum of :func:`crabgrass_degree_days` from 1 April [K day].

    Returns
    -------
    numpy.ndarray or float
        A key of :data:`CRABGRASS_STAGES` as a float; NaN where missing or negative.

    References
    ----------
    Fidanza et al. (1996) Crop Sci. 36:990-996: first seedlings at 42 to 78, most at 140 to 230 degree days.
    """
    total = as_floats(accumulated)
    stage = np.select(
        [
            total > CRABGRASS_MAJOR[1],
            total >= CRABGRASS_MAJOR[0],
            total > CRABGRASS_FIRST[1],
            total >= CRABGRASS_FIRST[0],
        ],
        [4.0, 3.0, 2.0, 1.0],
        0.0,
    )
    return np.where(total >= 0, stage, np.nan).astype(total.dtype)[()]


def five_day_mean(daily_mean):
    """Mean of a day and the four before it.

    Parameters
    ----------
    daily_mean : array_like, shape (..., day)
        Daily means, such as of the soil at 2 in [degC].

    Returns
    -------
    numpy.ndarray, shape (..., day)
        Running mean [degC]; NaN on the first four days and wherever one of the five is missing.
    """
    daily = as_floats(daily_mean)
    if daily.ndim == 0:
        raise ValueError("A running mean needs a day axis: give daily_mean by day.")
    result = np.full(daily.shape, np.nan, dtype=daily.dtype)
    if daily.shape[-1] >= 5:
        windows = np.lib.stride_tricks.sliding_window_view(daily, 5, axis=-1)
        result[..., 4:] = windows.mean(axis=-1)
    return result


def preemergence_stage(soil_five_day_mean):
    """Where a spring pre-emergence treatment stands by the five-day soil mean at 2 in; extension guidance.

    Parameters
    ----------
    soil_five_day_mean : array_like
        From :func:`five_day_mean` [degC].

    Returns
    -------
    numpy.ndarray or float
        A key of :data:`PREEMERGENCE_STAGES` as a float; NaN where missing.

    References
    ----------
    University of Wisconsin turf extension: in place at soil 50 to 55 degF, germination at 60 to 70 degF in
    the top 2 in. The five days: common practice, no source.
    """
    mean = as_floats(soil_five_day_mean)
    stage = np.select(
        [mean >= _SIXTY - _SLACK, mean > _FIFTY_FIVE + _SLACK, mean >= _FIFTY - _SLACK], [3.0, 2.0, 1.0], 0.0
    )
    return np.where(np.isnan(mean), np.nan, stage).astype(mean.dtype)[()]


def winter_annual_stage(soil_five_day_mean):
    """Whether winter annuals such as annual bluegrass may germinate: soil below 70 degF in autumn.

    Parameters
    ----------
    soil_five_day_mean : array_like
        From :func:`five_day_mean`, late summer and autumn only [degC].

    Returns
    -------
    numpy.ndarray or float
        1.0 where seeds may germinate, 0.0 where the soil is still too warm, NaN where missing.

    References
    ----------
    Clemson University home and garden information center: germination as the soil drops below 70 degF.
    """
    mean = as_floats(soil_five_day_mean)
    return np.where(np.isnan(mean), np.nan, np.where(mean < _SEVENTY - _SLACK, 1.0, 0.0)).astype(mean.dtype)[
        ()
    ]
