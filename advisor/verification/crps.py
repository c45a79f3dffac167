"""Continuous ranked probability score: how far a forecast distribution lies from what was observed."""

from __future__ import annotations

import math

import numpy as np

from advisor.floats import as_floats
from advisor.verification.distributions import (
    _log_gamma,
    normal_cdf,
    normal_pdf,
    student_t_cdf,
    student_t_pdf,
)

__all__ = ["crps_ensemble", "crps_gaussian", "crps_student_t"]


def crps_gaussian(mean, standard_deviation, observed):
    """Score of a normal forecast, closed form of Gneiting et al. (2005).

    Parameters
    ----------
    mean, standard_deviation : array_like
        The forecast, in the unit of the quantity.
    observed : array_like
        What was observed, same unit.

    Returns
    -------
    numpy.ndarray or float
        Score, same unit, 0 is best: s (z (2 F(z) - 1) + 2 f(z) - 1/sqrt(pi)). With a spread of 0 it is the
        absolute error; NaN for a negative spread.

    References
    ----------
    Gneiting T, Raftery AE, Westveld AH, Goldman T (2005) Calibrated probabilistic forecasting using
    ensemble model output statistics and minimum CRPS estimation. Mon. Wea. Rev. 133:1098-1118.
    """
    centre, spread, truth = as_floats(mean, standard_deviation, observed)
    error = truth - centre
    z = error / np.where(spread > 0, spread, 1)
    score = spread * (z * (2 * normal_cdf(z) - 1) + 2 * normal_pdf(z) - 1 / math.sqrt(math.pi))
    score = np.where(spread > 0, score, np.where(spread == 0, np.abs(error), np.nan))
    return score.astype(centre.dtype)[()]


def crps_student_t(location, scale, degrees_of_freedom, observed):
    """Score of a Student t forecast, closed form of Jordan et al. (2019).

    Parameters
    ----------
    location, scale : array_like
        The forecast: centre and scale (not standard deviation), in the unit of the quantity.
    degrees_of_freedom : array_like
        Degrees of freedom, above 1 [-]; at 1 or below the score is infinite.
    observed : array_like
        What was observed, same unit.

    Returns
    -------
    numpy.ndarray or float
        Score, same unit, 0 is best. With a scale of 0 it is the absolute error; NaN for a negative scale
        and for degrees of freedom at 1 or below.

    References
    ----------
    Jordan A, Krueger F, Lerch S (2019) Evaluating probabilistic forecasts with scoringRules. J. Stat.
    Softw. 90(12).
    """
    centre, width, degrees, truth = as_floats(location, scale, degrees_of_freedom, observed)
    count = np.where(degrees > 1, degrees, np.nan).astype(np.float64)
    error = (truth - centre).astype(np.float64)
    z = error / np.where(width > 0, width, 1)
    # B(1/2, nu - 1/2) / B(1/2, nu/2)^2 in logarithms; B(1/2, 1/2) = pi cancels one square root of pi.
    beta = np.exp(
        _log_gamma(count - 0.5)
        - _log_gamma(count)
        + 2 * (_log_gamma((count + 1) / 2) - _log_gamma(count / 2))
        - 0.5 * math.log(math.pi)
    )
    score = z * (2 * student_t_cdf(z, count) - 1)
    score = score + 2 * student_t_pdf(z, count) * (count + z * z) / (count - 1)
    score = width * (score - 2 * np.sqrt(count) / (count - 1) * beta)
    score = np.where(width > 0, score, np.where((width == 0) & (degrees > 1), np.abs(error), np.nan))
    return score.astype(centre.dtype)[()]


def crps_ensemble(members, observed, axis: int = -1, fair: bool = False):
    """Score of an ensemble, mean |x - y| less half the mean |x - x'| (sorted form).

    Parameters
    ----------
    members : array_like, shape (..., member)
        The ensemble, in the unit of the quantity.
    observed : array_like, shape (...)
        What was observed, same unit.
    axis : int
        Axis of the members.
    fair : bool
        Divide the second term by m (m - 1) in place of m^2, so that small ensembles are not punished for
        their size.

    Returns
    -------
    numpy.ndarray or float
        Score, same unit, 0 is best; for one member the absolute error. NaN where a member or the
        observation is missing.

    References
    ----------
    Gneiting T, Raftery AE (2007) Strictly proper scoring rules, prediction, and estimation. J. Am. Stat.
    Assoc. 102:359-378, eq. 21. Fair form: Ferro CAT (2014) Q. J. R. Meteorol. Soc. 140:1917-1923 (from
    memory).
    """
    ensemble, truth = as_floats(members, observed)
    if ensemble.ndim == 0 or ensemble.shape[axis] == 0:
        raise ValueError("A score of an ensemble needs a member axis with at least one member.")
    ensemble = np.sort(np.moveaxis(ensemble, axis, -1), axis=-1)
    count = ensemble.shape[-1]
    distance = np.abs(ensemble - truth[..., None]).mean(axis=-1)
    weights = (2 * np.arange(1, count + 1) - count - 1).astype(ensemble.dtype)
    # Deviations from the middle member keep the sum small for members that are close together.
    middle = ensemble[..., count // 2]
    pairs = ((ensemble - middle[..., None]) * weights).sum(axis=-1)
    divisor = count * (count - 1) if fair and count > 1 else count * count
    return np.asarray(distance - pairs / divisor, dtype=ensemble.dtype)[()]
