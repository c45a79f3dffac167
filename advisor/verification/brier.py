"""Brier score of probability forecasts, its decomposition, and the table behind a reliability diagram."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "BrierDecomposition",
    "ReliabilityTable",
    "brier_score",
    "murphy_decomposition",
    "reliability_table",
]


class BrierDecomposition(NamedTuple):
    """Parts of a Brier score, see :func:`murphy_decomposition`; all in [0 to 1] but the skill.

    Parameters
    ----------
    score : float
        Brier score.
    reliability : float
        Weighted squared distance of the forecasts from how often the event then happened; 0 is best.
    resolution : float
        Weighted squared distance of those frequencies from the overall one; more is better.
    uncertainty : float
        Score of always forecasting the overall frequency.
    skill : float
        1 - score/uncertainty; NaN when the event always or never happened.
    within_bins : float
        What binning adds: variance of the forecasts within bins less twice their covariance with the event;
        0 without bins.
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    skill: float
    within_bins: float


class ReliabilityTable(NamedTuple):
    """One row a bin, for a reliability diagram.

    Parameters
    ----------
    count : numpy.ndarray
        Forecasts in the bin.
    forecast : numpy.ndarray
        Their mean probability [0 to 1]; NaN in an empty bin.
    observed : numpy.ndarray
        How often the event then happened [0 to 1]; NaN in an empty bin.
    """

    count: np.ndarray
    forecast: np.ndarray
    observed: np.ndarray


def _pairs(probability, outcome) -> tuple[np.ndarray, np.ndarray]:
    happened = np.asarray(outcome)
    if happened.dtype == bool:
        happened = happened.astype(np.float64)
    p, happened = np.broadcast_arrays(*as_floats(probability, happened))
    possible = (p >= 0) & (p <= 1) & ((happened == 0) | (happened == 1))
    return np.where(possible, p, np.nan), np.where(possible, happened, np.nan)


def brier_score(probability, outcome, axis=None):
    """Mean squared error of probabilities, Brier (1950).

    Parameters
    ----------
    probability : array_like
        Forecast probability of the event [0 to 1].
    outcome : array_like
        1 or True where the event happened, 0 or False where not.
    axis : int, tuple of int or None
        Axes to average over; all of them by default.

    Returns
    -------
    numpy.ndarray or float
        Score, 0 is best [0 to 1]; NaN where a pair is missing or impossible. Choose the pairs to score
        before calling: leaving out the missing ones is a choice that can bias the score.

    References
    ----------
    Brier GW (1950) Verification of forecasts expressed in terms of probability. Mon. Wea. Rev. 78:1-3.
    """
    p, happened = _pairs(probability, outcome)
    if p.size == 0:
        raise ValueError("A Brier score needs at least one pair of forecast and outcome.")
    return np.mean((p - happened) ** 2, axis=axis)[()]


def murphy_decomposition(probability, outcome, edges=None) -> BrierDecomposition:
    """Split a Brier score into reliability, resolution and uncertainty, Murphy (1973).

    Parameters
    ----------
    probability, outcome : array_like
        As in :func:`brier_score`; all pairs are pooled.
    edges : array_like, optional
        Increasing edges of the bins from 0 to 1, each bin holding its lower edge, the last one also 1.
        Without edges each distinct probability is a bin of its own.

    Returns
    -------
    BrierDecomposition
        score = reliability - resolution + uncertainty + within_bins; all NaN where a pair is missing or
        impossible.

    References
    ----------
    Murphy AH (1973) A new vector partition of the probability score. J. Appl. Meteor. 12:595-600.
    Stephenson DB, Coelho CAS, Jolliffe IT (2008) Two extra components in the Brier score decomposition. Wea.
    Forecasting 23:752-757.
    """
    p, happened = _pairs(probability, outcome)
    p, happened = p.astype(np.float64).ravel(), happened.astype(np.float64).ravel()
    score = float(brier_score(p, happened))
    if np.isnan(score):
        return BrierDecomposition(*(float("nan"),) * 6)
    if edges is None:
        _, where = np.unique(p, return_inverse=True)
        table = _tabulate(p, happened, where, int(where.max()) + 1)
    else:
        table = reliability_table(p, happened, edges)
    share = table.count / p.size
    base = happened.mean()
    full = table.count > 0
    forecast, observed = np.where(full, table.forecast, 0), np.where(full, table.observed, 0)
    reliability = float(np.sum(share * (forecast - observed) ** 2))
    resolution = float(np.sum(share[full] * (observed[full] - base) ** 2))
    uncertainty = float(base * (1 - base))
    within = 0.0
    if edges is not None:
        where = _bin(p, np.asarray(edges, dtype=float))
        away = p - forecast[where]
        within = float(np.mean(away**2) - 2 * np.mean(away * (happened - observed[where])))
    skill = 1 - score / uncertainty if uncertainty > 0 else float("nan")
    return BrierDecomposition(score, reliability, resolution, uncertainty, skill, within)


def reliability_table(probability, outcome, edges) -> ReliabilityTable:
    """Count, mean forecast and observed frequency in each bin of probability.

    Parameters
    ----------
    probability, outcome : array_like
        As in :func:`brier_score`; all pairs are pooled.
    edges : array_like
        Increasing edges of the bins from 0 to 1, each bin holding its lower edge, the last one also 1.

    Returns
    -------
    ReliabilityTable
        Missing pairs are in no bin; the counts say how many were used.
    """
    borders = np.asarray(edges, dtype=float)
    if (
        borders.ndim != 1
        or borders.size < 2
        or np.any(np.diff(borders) <= 0)
        or borders[0] != 0
        or borders[-1] != 1
    ):
        raise ValueError(f"Bin edges must increase from 0 to 1, not {edges!r}.")
    p, happened = _pairs(probability, outcome)
    known = np.isfinite(p)
    p, happened = p[known].astype(np.float64), happened[known].astype(np.float64)
    return _tabulate(p, happened, _bin(p, borders), borders.size - 1)


def _bin(p: np.ndarray, borders: np.ndarray) -> np.ndarray:
    return np.clip(np.searchsorted(borders, p, side="right") - 1, 0, borders.size - 2)


def _tabulate(p: np.ndarray, happened: np.ndarray, where: np.ndarray, bins: int) -> ReliabilityTable:
    count = np.bincount(where, minlength=bins)
    with np.errstate(divide="ignore", invalid="ignore"):
        forecast = np.bincount(where, weights=p, minlength=bins) / count
        observed = np.bincount(where, weights=happened, minlength=bins) / count
    return ReliabilityTable(count, forecast, observed)
