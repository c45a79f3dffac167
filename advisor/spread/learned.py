"""Bias and spread of one site by lead time, learned from kept forecasts and what was then measured.

Everything is shrunk towards what is assumed anyway, so that a few days change little and many days decide:

=============  =================================================================================================
bias           n x mean error / (n + 10); of the wind in square roots
variance       (sum of squares about the bias + 20 x the stated variance) / (n + 20), and (1 + 1/(n + 10)) of it
               for the bias being an estimate
distribution   Student's t with n + 20 degrees of freedom
rain           the chance of measurable rain through a logistic regression on the share of members and the amount,
               with a prior worth 20 days that leaves the share as it is
=============  =================================================================================================

n counts days, each weighted by half for every 30 days that it lies back. With fewer than 10 days a lead band is not
learned.

References
----------
Gneiting T, Raftery AE, Westveld AH, Goldman T (2005) Calibrated probabilistic forecasting using ensemble model output
statistics and minimum CRPS estimation. Mon. Wea. Rev. 133:1098-1118 (location and scale). Sloughter JM, Raftery AE,
Gneiting T, Fraley C (2007) Probabilistic quantitative precipitation forecasting using Bayesian model averaging. Mon.
Wea. Rev. 135:3209-3220 (logistic regression on the cube root of the amount).
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import date

import numpy as np

from advisor.errors import StoreError
from advisor.spread.pairs import Pairs, mean_known
from advisor.spread.stated import root_wind_error, stated_error
from advisor.variables import MEASURABLE_RAIN_MM

#: upper edges of the lead bands [h]; the last is open
BAND_EDGES = (24.0, 48.0, 72.0, 120.0, 168.0, np.inf)
#: days of weight of the prior: of the bias, of the variance and of the chance of rain
BIAS_WEIGHT, VARIANCE_WEIGHT = 10.0, 20.0
#: after so many days a day counts half. Common practice, no source.
HALF_LIFE_DAYS = 30.0
#: with fewer days nothing is said to be learned. Common practice, no source.
LEAST_DAYS = 10
#: a logistic slope is worth most where half of the cases happen, p (1 - p) = 1/4 a day
_LOGISTIC_PRECISION = VARIANCE_WEIGHT / 4.0
#: the logistic regression that leaves the share of members as it is: intercept, slope of its logit, slope of the
#: cube root of the mean amount about 1 mm
_AS_STATED = (0.0, 1.0, 0.0)

_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Fit:
    """What is known of one lead band.

    Attributes
    ----------
    days : int
        Distinct days behind it.
    weight : float
        n, those days weighted by how recent they are.
    bias : float
        To be added to the forecast; of the wind, to its square root.
    factor : float
        Predictive variance over the stated one.
    rain : tuple of float
        Coefficients of the logistic regression; empty for other variables.
    """

    days: int
    weight: float
    bias: float = 0.0
    factor: float = 1.0
    rain: tuple[float, ...] = ()

    @property
    def usable(self) -> bool:
        return self.days >= LEAST_DAYS


@dataclass(frozen=True, slots=True)
class Learned:
    """What a site has taught: one `Fit` a variable and lead band, in the order of `BAND_EDGES`."""

    site: str
    until: date
    fits: Mapping[str, tuple[Fit, ...]] = field(default_factory=dict)
    #: [h] that a chance of rain was learned for
    rain_period: int = 12

    def usable(self, name: str) -> np.ndarray:
        """Boolean (band,): where there are days enough."""
        return np.array([fit.usable for fit in self.fits.get(name, ())] or [False] * len(BAND_EDGES))

    def to_json(self) -> str:
        fits = {name: [asdict(fit) for fit in bands] for name, bands in self.fits.items()}
        plain = {"format": _FORMAT, "site": self.site, "until": self.until.isoformat(),
                 "rain_period": self.rain_period, "band_edges": list(BAND_EDGES[:-1]), "fits": fits}  # fmt: skip
        return json.dumps(plain, allow_nan=False, sort_keys=True)

    @classmethod
    def from_json(cls, text: str) -> Learned:
        """Raises StoreError when the text is none of this program's, so that nothing is corrected by accident."""
        try:
            plain = json.loads(text)
            if plain["format"] != _FORMAT or tuple(plain["band_edges"]) != BAND_EDGES[:-1]:
                raise ValueError("it was learned by another version")
            fits = {
                name: tuple(Fit(**{**band, "rain": tuple(band["rain"])}) for band in bands)
                for name, bands in plain["fits"].items()
            }
            if any(len(bands) != len(BAND_EDGES) for bands in fits.values()):
                raise ValueError("lead bands are missing")
            return cls(plain["site"], date.fromisoformat(plain["until"]), fits, int(plain["rain_period"]))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise StoreError(f"what was learned of the forecast's errors cannot be read: {error}",
                             hint="delete it; it is learned anew from the kept forecasts") from error  # fmt: skip


def band_of(lead_hours) -> np.ndarray:
    """Index of the lead band, each holding its upper edge."""
    return np.searchsorted(np.array(BAND_EDGES[:-1]), np.asarray(lead_hours, dtype=float), side="left")


def learn(pairs: Iterable[Pairs], until: np.datetime64 | date, site: str = "") -> Learned:
    """What one site's pairs teach.

    Parameters
    ----------
    pairs : iterable of Pairs
        One table a variable, after `control_pairs`.
    until : datetime64 or date
        The day it is learned on. Pairs that were not complete at its beginning are left out.
    """
    until = np.datetime64(until, "D")
    bands = len(BAND_EDGES)
    fits: dict[str, tuple[Fit, ...]] = {}
    period = 12
    for table in pairs:
        table = table.rows(known_by(table, until))
        weight = day_weights(table, band_of(table.lead), until)
        group = band_of(table.lead)
        days = distinct_days(group, table.day, bands, weight > 0.0)
        if table.variable == "precipitation":
            period = table.period
            coefficients, total = fit_rain(table, group, bands, weight)
            rows = zip(days, total, coefficients, strict=True)
            fits[table.variable] = tuple(Fit(int(d), float(n), rain=tuple(map(float, c))) for d, n, c in rows)
        else:
            bias, factor, total = fit_location_scale(table, group, bands, weight)
            rows = zip(days, total, bias, factor, strict=True)
            fits[table.variable] = tuple(Fit(int(d), float(n), float(b), float(f)) for d, n, b, f in rows)
    return Learned(site, until.item(), fits, period)


def known_by(pairs: Pairs, moment: np.datetime64) -> np.ndarray:
    """Boolean (pair,): what had been measured whole by then."""
    return pairs.valid + np.timedelta64(pairs.period, "h") <= moment.astype("datetime64[h]")


def day_weights(pairs: Pairs, group: np.ndarray, until: np.datetime64) -> np.ndarray:
    """Weight of each pair: its day's recency, shared out among the pairs of the same group and day; 0 if unknown."""
    usable = ~np.isnan(pairs.observed) & ~np.isnan(pairs.centre)
    day = pairs.day.astype(int)
    age = np.datetime64(until, "D").astype(int) - day
    recency = np.where(usable, 0.5 ** (np.maximum(age, 0) / HALF_LIFE_DAYS), 0.0)
    if not len(day):
        return recency
    _, same = np.unique(group.astype(np.int64) * 10_000_000 + day, return_inverse=True)
    share = np.bincount(same, weights=usable)
    return recency / np.maximum(share[same], 1.0)


def distinct_days(group: np.ndarray, day: np.ndarray, groups: int, counts: np.ndarray) -> np.ndarray:
    """How many distinct days each group has (group,)."""
    seen = np.unique(group[counts].astype(np.int64) * 10_000_000 + day[counts].astype(int))
    return np.bincount(seen // 10_000_000, minlength=groups)


def errors(pairs: Pairs) -> tuple[np.ndarray, np.ndarray]:
    """Observation minus forecast, and the stated error, each (pair,); of the wind in square roots."""
    if pairs.variable == "wind_speed_10m":
        roots = mean_known(np.sqrt(np.maximum(pairs.members, 0.0)), -1)
        return np.sqrt(np.maximum(pairs.observed, 0.0)) - roots, root_wind_error(pairs.lead)
    return pairs.observed - pairs.centre, stated_error(pairs.variable, pairs.lead)


def fit_location_scale(
    pairs: Pairs, group: np.ndarray, groups: int, weight: np.ndarray, prior: float = 1.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Bias, variance over the stated one, and n of every group at once, each (group,).

    Parameters
    ----------
    group : ndarray of int (pair,)
        Lead band, or place and lead band.
    weight : ndarray (pair,)
        From `day_weights`.
    prior : float
        Variance that is assumed before anything is learned, over the stated one.
    """
    error, size = errors(pairs)
    error = np.where(weight > 0.0, error, 0.0)
    total = np.bincount(group, weights=weight, minlength=groups)
    mean = np.bincount(group, weights=weight * error, minlength=groups) / np.maximum(total, 1e-12)
    bias = total * mean / (total + BIAS_WEIGHT)
    about = weight * ((error - bias[group]) / size) ** 2
    squares = np.bincount(group, weights=about, minlength=groups)
    factor = (
        (squares + VARIANCE_WEIGHT * prior) / (total + VARIANCE_WEIGHT) * (1.0 + 1.0 / (total + BIAS_WEIGHT))
    )
    return bias, np.where(total > 0.0, factor, prior), total


def rain_predictors(members: np.ndarray) -> np.ndarray:
    """Predictors of measurable rain (..., 3): 1, logit of the share of members, cube root of their mean about 1 mm.

    Parameters
    ----------
    members : ndarray (..., member)
        Total of the period [mm], NaN where a member is lost.

    Notes
    -----
    The share is (wet + 1/2) / (members + 1), so that it is never 0 or 1.
    """
    known = ~np.isnan(members)
    wet = (members >= MEASURABLE_RAIN_MM * (1.0 - 1e-6)).sum(axis=-1)
    share = (wet + 0.5) / (known.sum(axis=-1) + 1.0)
    amount = np.cbrt(mean_known(members, -1)) - 1.0
    return np.stack([np.ones_like(share), np.log(share / (1.0 - share)), amount], axis=-1)


def fit_rain(
    pairs: Pairs, group: np.ndarray, groups: int, weight: np.ndarray, iterations: int = 12
) -> tuple[np.ndarray, np.ndarray]:
    """Coefficients (group, 3) of the logistic regression of measurable rain, and n (group,).

    Newton's method on the penalised likelihood; the prior leaves the share of members as it is and is worth
    20 days.
    """
    x = np.where((weight > 0.0)[:, None], rain_predictors(pairs.members), 0.0)
    happened = (pairs.observed >= MEASURABLE_RAIN_MM * (1.0 - 1e-6)).astype(float)
    prior = np.array(_AS_STATED)
    coefficients = np.tile(prior, (groups, 1))
    products = x[:, :, None] * x[:, None, :]
    for _ in range(iterations):
        chance = logistic((x * coefficients[group]).sum(axis=-1))
        slope = _summed(group, x * (weight * (happened - chance))[:, None], groups)
        slope = slope - _LOGISTIC_PRECISION * (coefficients - prior)
        bend = _summed(
            group, (products * (weight * chance * (1.0 - chance))[:, None, None]).reshape(-1, 9), groups
        )
        bend = bend.reshape(groups, 3, 3) + _LOGISTIC_PRECISION * np.eye(3)
        coefficients = coefficients + np.linalg.solve(bend, slope[:, :, None])[:, :, 0]
    return coefficients, np.bincount(group, weights=weight, minlength=groups)


def _summed(group: np.ndarray, values: np.ndarray, groups: int) -> np.ndarray:
    return np.stack([np.bincount(group, weights=column, minlength=groups) for column in values.T], axis=-1)


def logistic(value) -> np.ndarray:
    return 1.0 / (1.0 + np.exp(-np.clip(value, -40.0, 40.0)))


def chance_of_rain(members: np.ndarray, coefficients: np.ndarray) -> np.ndarray:
    """Learned chance of measurable rain (...,) from the members' totals (..., member) and coefficients (..., 3)."""
    return logistic((rain_predictors(members) * coefficients).sum(axis=-1))
