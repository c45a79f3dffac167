"""Walking forward through kept forecasts: each is corrected by what had been measured when it was issued, no more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.spread.learned import (
    BAND_EDGES,
    LEAST_DAYS,
    VARIANCE_WEIGHT,
    band_of,
    chance_of_rain,
    day_weights,
    distinct_days,
    errors,
    fit_location_scale,
    fit_rain,
    known_by,
)
from advisor.spread.noise import normal_scores
from advisor.spread.pairs import Pairs
from advisor.variables import MEASURABLE_RAIN_MM
from advisor.verification.crps import crps_ensemble, crps_student_t
from advisor.verification.distributions import student_t_cdf

#: degrees of freedom that stand for a normal distribution: what is assumed where nothing is learned
_NORMAL = 1e6
#: members by which a distribution is scored that has no closed form
_MEMBERS = 51


@dataclass(frozen=True, eq=False)
class Walked:
    """The forecast distribution of each pair as it stood when it was issued, all (pair,).

    Attributes
    ----------
    error : ndarray
        Observation minus the corrected forecast; of the wind in square roots, as all that follows.
    scale, degrees : ndarray
        Of Student's t.
    days : ndarray of int
        Distinct days it was learned from; below `LEAST_DAYS` it is the assumed spread about the raw forecast.
    """

    error: np.ndarray
    scale: np.ndarray
    degrees: np.ndarray
    days: np.ndarray

    @property
    def learned(self) -> np.ndarray:
        return self.days >= LEAST_DAYS

    @property
    def position(self) -> np.ndarray:
        """Where the observation lies in its forecast distribution, 0 to 1; even where the spread is true."""
        return student_t_cdf(self.error / self.scale, self.degrees)


def walk(pairs: Pairs, least_days: int = LEAST_DAYS, prior: float = 1.0) -> Walked:
    """Location and scale of every pair, learned per place and lead band from what was measured before its issue.

    Parameters
    ----------
    pairs : Pairs
        After `control_pairs`; of any variable but rain.
    least_days : int
        With fewer days the raw forecast stands with the assumed spread.
    prior : float
        Variance assumed before anything is learned, over the stated one. Both are here to see what hangs on them.
    """
    bands = len(BAND_EDGES)
    group = pairs.place * bands + band_of(pairs.lead)
    groups = int(group.max(initial=0)) + 1
    error, size = errors(pairs)
    bias, factor, total = np.zeros(len(pairs)), np.full(len(pairs), prior), np.full(len(pairs), np.inf)
    days = np.zeros(len(pairs), dtype=int)
    for moment, now in _issues(pairs):
        past = pairs.rows(known_by(pairs, moment))
        if not len(past):
            continue
        theirs = past.place * bands + band_of(past.lead)
        weight = day_weights(past, theirs, moment)
        days[now] = distinct_days(theirs, past.day, groups, weight > 0.0)[group[now]]
        learned_bias, learned_factor, n = fit_location_scale(past, theirs, groups, weight, prior)
        usable = days[now] >= least_days
        bias[now] = np.where(usable, learned_bias[group[now]], 0.0)
        factor[now] = np.where(usable, learned_factor[group[now]], prior)
        total[now] = np.where(usable, n[group[now]], np.inf)
    degrees = np.minimum(total + VARIANCE_WEIGHT, _NORMAL)
    return Walked(error - bias, size * np.sqrt(factor), degrees, days)


def walk_rain(pairs: Pairs) -> tuple[np.ndarray, np.ndarray]:
    """Learned chance of measurable rain (pair,) and the distinct days behind it, as they stood at issue."""
    bands = len(BAND_EDGES)
    group = pairs.place * bands + band_of(pairs.lead)
    groups = int(group.max(initial=0)) + 1
    chance, days = share_wet(pairs.members), np.zeros(len(pairs), dtype=int)
    for moment, now in _issues(pairs):
        past = pairs.rows(known_by(pairs, moment))
        if not len(past):
            continue
        theirs = past.place * bands + band_of(past.lead)
        weight = day_weights(past, theirs, moment)
        days[now] = distinct_days(theirs, past.day, groups, weight > 0.0)[group[now]]
        coefficients, _ = fit_rain(past, theirs, groups, weight)
        learned = chance_of_rain(pairs.members[now], coefficients[group[now]])
        chance[now] = np.where(days[now] >= LEAST_DAYS, learned, chance[now])
    return chance, days


def _issues(pairs: Pairs):
    """The beginning of each day of issue, datetime64[D], and the positions of its pairs."""
    issued = pairs.issued.astype("datetime64[D]")
    order = np.argsort(issued, kind="stable")
    moments, first = np.unique(issued[order], return_index=True)
    yield from zip(moments, np.split(order, first[1:]), strict=True)


def share_wet(members: np.ndarray) -> np.ndarray:
    """Raw share of the known members with measurable rain (pair,); NaN where none is known."""
    known = (~np.isnan(members)).sum(axis=-1)
    wet = (members >= MEASURABLE_RAIN_MM * (1.0 - 1e-6)).sum(axis=-1)
    return np.where(known > 0, wet / np.maximum(known, 1), np.nan)


def rained(pairs: Pairs) -> np.ndarray:
    """1 where measurable rain fell, 0 where not, NaN where not known (pair,)."""
    wet = pairs.observed >= MEASURABLE_RAIN_MM * (1.0 - 1e-6)
    return np.where(np.isnan(pairs.observed), np.nan, wet)


def crps_walked(pairs: Pairs, walked: Walked) -> np.ndarray:
    """CRPS of each pair (pair,) in the unit of the variable; closed form but for the wind.

    The wind is scored by 51 members at even quantiles of Student's t in square roots.
    """
    if pairs.variable != "wind_speed_10m":
        return crps_student_t(np.zeros(len(pairs)), walked.scale, walked.degrees, walked.error)
    centre = np.sqrt(np.maximum(pairs.observed, 0.0)) - walked.error
    quantiles = student_quantiles(walked.degrees, _MEMBERS)
    members = np.maximum(centre[:, None] + walked.scale[:, None] * quantiles, 0.0) ** 2
    return crps_ensemble(members, pairs.observed)


def student_quantiles(degrees: np.ndarray, count: int) -> np.ndarray:
    """Even quantiles of Student's t (..., count), from those of the normal distribution by Cornish and Fisher (1938).

    Good to 1e-3 from 20 degrees of freedom on (quantiles within 0.01 to 0.99).
    """
    z = normal_scores(count)
    nu = np.asarray(degrees, dtype=float)[..., None]
    return (
        z
        + (z**3 + z) / (4.0 * nu)
        + (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / (96.0 * nu**2)
        + (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / (384.0 * nu**3)
    )


def crps_raw(pairs: Pairs) -> np.ndarray:
    """CRPS of the forecast as it came (pair,): its members, or the absolute error of one without members."""
    if not np.isnan(pairs.members).any():
        return crps_ensemble(pairs.members, pairs.observed)
    # lost members: the known ones alone, one count of members at a time
    counts = (~np.isnan(pairs.members)).sum(axis=-1)
    out = np.full(len(pairs), np.nan)
    ordered = np.sort(pairs.members, axis=-1)
    for count in np.unique(counts[counts > 0]):
        rows = counts == count
        out[rows] = crps_ensemble(ordered[rows, :count], pairs.observed[rows])
    return out
