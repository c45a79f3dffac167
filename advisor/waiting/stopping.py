"""Go now or wait: optimal stopping over the days that are left.

Today's chance is known; a later day's is not: it will be a draw from a Beta distribution around what is expected of it,
wider the farther off it lies. A day is worth its gain times the chance found on it, and one goes when that is more than
waiting is worth. It ranks days that are a go; it never turns a no-go into a go.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

#: how firm a day's expected chance is, as a number of imagined trials (nu), by days ahead: 40 tomorrow, falling by a
#: third each day, never below 2. Common practice, no source.
FIRMNESS_TOMORROW, FIRMNESS_KEPT, FIRMNESS_LEAST = 40.0, 2.0 / 3.0, 2.0
#: a chance that differs from 0 or 1 by less is taken for it
NEGLIGIBLE = 1e-9


@dataclass(frozen=True, slots=True)
class Waiting:
    """What going today and what waiting is worth, in passes that succeed.

    Attributes
    ----------
    go : float
        Gain of today times its chance; 0 where today is no go.
    wait : float
        Value of the best policy over the days after today.
    good_window : float
        Chance that at least one later day comes out at or above the floor.
    values : ndarray (day,)
        Value of having waited until each day, today first.
    """

    go: float
    wait: float
    good_window: float
    values: np.ndarray

    @property
    def advice(self) -> str:
        return "go" if self.go >= self.wait and self.go > 0.0 else "wait"


def firmness(days_ahead) -> np.ndarray:
    """nu of the Beta distribution of a day's chance, by days ahead (0 is today)."""
    days = np.maximum(np.asarray(days_ahead, dtype=float) - 1.0, 0.0)
    return np.maximum(FIRMNESS_TOMORROW * FIRMNESS_KEPT**days, FIRMNESS_LEAST)


def go_or_wait(
    chance_today: float, expected: np.ndarray, gain: np.ndarray, nu: np.ndarray, floor: float = 0.6
) -> Waiting:
    """Value of going today against waiting, V_t = E[max(g_t q_t, V_t+1)] with q_t ~ Beta(nu p_t, nu (1 - p_t)).

    Parameters
    ----------
    chance_today : float
        Chance of today's best start, 0 where today is no go or unknown.
    expected : ndarray (day,)
        Expected chance of each later day, 0 where safety and label rules cannot hold; NaN counts as 0.
    gain : ndarray (day + 1,)
        What a success is worth, today first: 1 on time, less when late.
    nu : ndarray (day,)
        Firmness of each later day's chance; infinite where it is certain.
    floor : float
        From what chance on a day counts as a good window.

    Notes
    -----
    ================================  ===========================================================
    assumption                        effect
    ================================  ===========================================================
    days are independent given p      a spell of bad weather is longer than this believes
    a day's chance is known that day  what is found on the spot is not counted
    ================================  ===========================================================

    References
    ----------
    Bellman (1957) Dynamic Programming, the principle of optimality (from memory). The Beta distribution of what will
    be forecast is an assumption of this program.
    """
    expected = np.clip(np.nan_to_num(np.asarray(expected, dtype=float)), 0.0, 1.0)
    # a chance this near to 0 or 1 is one, and a Beta distribution around it has no shape left to compute
    expected = np.where(expected < NEGLIGIBLE, 0.0, np.where(expected > 1.0 - NEGLIGIBLE, 1.0, expected))
    values = np.zeros(len(expected) + 2)
    missed = 1.0
    for day in range(len(expected), 0, -1):
        p, weight = float(expected[day - 1]), float(nu[day - 1])
        values[day] = _expected_best(float(gain[day]), p, weight, values[day + 1])
        missed *= _at_most(floor, p, weight)
    go = max(float(gain[0]) * chance_today, 0.0)
    values[0] = max(go, values[1])
    return Waiting(go, float(values[1]), 1.0 - missed, values[:-1])


def _expected_best(gain: float, p: float, nu: float, later: float) -> float:
    """E[max(gain q, later)], q ~ Beta(nu p, nu (1 - p))."""
    if gain <= 0.0 or p <= 0.0:
        return later
    if p >= 1.0 or not math.isfinite(nu):
        return max(gain * p, later)
    a, b = nu * p, nu * (1.0 - p)
    threshold = 1.0 if later >= gain else later / gain
    below = beta_distribution(threshold, a, b)
    above_mean = p * (1.0 - beta_distribution(threshold, a + 1.0, b))
    return later * below + gain * above_mean


def _at_most(x: float, p: float, nu: float) -> float:
    """P(q < x) up to ties, q ~ Beta(nu p, nu (1 - p))."""
    if p <= 0.0:
        return 1.0
    if p >= 1.0 or not math.isfinite(nu):
        return float(p < x)
    return beta_distribution(x, nu * p, nu * (1.0 - p))


def beta_distribution(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I_x(a, b), by its continued fraction (DLMF 8.17.22, modified Lentz)."""
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_distribution(1.0 - x, b, a)
    front = math.exp(
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    tiny = 1e-300
    c, d = 1.0, 1.0 / _away(1.0 - (a + b) * x / (a + 1.0), tiny)
    total = d
    for m in range(1, 500):
        for numerator in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 / _away(1.0 + numerator * d, tiny)
            c = _away(1.0 + numerator / c, tiny)
            total *= c * d
        if abs(c * d - 1.0) < 1e-15:
            break
    return front * total / a


def _away(value: float, tiny: float) -> float:
    return tiny if abs(value) < tiny else value
