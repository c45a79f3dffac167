"""Drift, drops, rain, scores and units against published tables, other programs and brute force.

Each function gives the largest difference found; ``comparisons`` holds the table of them.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from advisor.drift.deposit import DRIFT_DISTANCES, DRIFT_PERCENT, deposit_percent
from advisor.drift.droplets import droplet_flight
from advisor.mix import conversions
from advisor.rain.chance import chance_dry_over_span, chance_of_any
from advisor.verification.brier import murphy_decomposition
from advisor.verification.crps import crps_ensemble, crps_gaussian, crps_student_t
from advisor.verification.distributions import normal_cdf, student_t_cdf

# Gunn R, Kinzer GD (1949) J. Meteor. 6:243-248: diameter [um] and fall speed [m/s].
GUNN_KINZER = (
    (78, 0.18), (100, 0.27), (200, 0.72), (300, 1.17), (400, 1.62), (500, 2.06),
    (600, 2.47), (700, 2.87), (800, 3.27), (900, 3.67), (1000, 4.03),
)  # fmt: skip


def regression(applications: int, nearest: int = 0) -> float:
    distances, table = DRIFT_DISTANCES[nearest:], DRIFT_PERCENT[applications][nearest:]
    return float(np.abs(deposit_percent(np.array(distances, float), applications) - table).max())


def fall(function: Callable, low: int, high: int) -> float:
    pairs = [(size, speed) for size, speed in GUNN_KINZER if low <= size <= high]
    sizes, speeds = (np.array(column, float) for column in zip(*pairs, strict=True))
    return 100 * float(np.abs(function(sizes) / speeds - 1).max())


def flight() -> float:
    """A drop followed second by second with the drag solved by bisection: time to the ground."""
    worst = 0.0
    cases = ((100.0, 0.5, 8.0), (200.0, 0.5, 4.0), (80.0, 0.1, 6.0), (400.0, 1.0, 10.0))
    for size, height, depression in cases:
        time, left, step = 0.0, height, 0.002
        while left > 0:
            diameter = math.sqrt(max(size**2 - 80 * depression * time, 0)) * 1e-6
            low, high = 0.0, 10.0
            for _ in range(60):
                speed = (low + high) / 2
                reynolds = max(1.204 * speed * diameter / 1.81e-5, 1e-12)
                drag = 24 / reynolds * (1 + 0.15 * reynolds**0.687) * 1.204 * speed**2 * 3 / (4 * diameter)
                low, high = (speed, high) if drag < 9.81 * (998.2 - 1.204) else (low, speed)
            left -= low * step
            time += step
        worst = max(worst, abs(float(droplet_flight(size, height, 1.0, depression).time) - time) / time)
    return 100 * worst


def dry_by_counting() -> float:
    """All combinations of six wet or dry blocks, counted."""
    random = np.random.default_rng(3)
    worst = 0.0
    wet = (np.arange(64)[:, None] >> np.arange(6)) & 1
    for p in random.random((20, 6)):
        chance = np.prod(np.where(wet == 1, p, 1 - p), axis=1)
        any_wet = chance[wet.any(axis=1)].sum()
        worst = max(worst, abs(chance_of_any(p) - any_wet))
        worst = max(worst, abs(chance_dry_over_span(p, 6.0).independent - (1 - any_wet)))
    return worst


def scores() -> float:
    """Ensemble score by the definition, all pairs of members."""
    random = np.random.default_rng(5)
    members, truth = random.normal(10, 4, (200, 21)), random.normal(10, 4, 200)
    pairs = np.abs(members[:, :, None] - members[:, None, :]).mean(axis=(1, 2))
    by_definition = np.abs(members - truth[:, None]).mean(axis=1) - pairs / 2
    return float(np.abs(crps_ensemble(members, truth) - by_definition).max())


def integral(cdf: Callable, observed: float) -> float:
    from scipy.integrate import quad

    below = quad(lambda x: cdf(x) ** 2, -np.inf, observed, limit=200)[0]
    return below + quad(lambda x: (1 - cdf(x)) ** 2, observed, np.inf, limit=200)[0]


def gaussian_by_integral() -> float:
    from scipy import stats

    return max(
        abs(float(crps_gaussian(m, s, y)) - integral(stats.norm(m, s).cdf, y))
        for m, s, y in ((0, 1, 0), (0, 1, 1), (12, 2.5, 8), (-3, 0.4, -2.2))
    )


def student_by_integral() -> float:
    from scipy import stats

    return max(
        abs(float(crps_student_t(m, s, n, y)) - integral(stats.t(n, m, s).cdf, y))
        for m, s, n, y in ((0, 1, 3, 0), (0, 1, 5, 1.5), (12, 2.5, 20, 8), (-3, 0.4, 8, -2.2))
    )


def distributions() -> float:
    from scipy import stats

    z = np.linspace(-12, 12, 4801)
    worst = float(np.abs(normal_cdf(z) - stats.norm.cdf(z)).max())
    degrees = np.array([1.0, 2, 3, 5, 10, 30, 200])
    return max(
        worst, float(np.abs(student_t_cdf(z[:, None], degrees) - stats.t.cdf(z[:, None], degrees)).max())
    )


def murphy() -> float:
    random = np.random.default_rng(11)
    p = random.integers(0, 11, 2000) / 10
    happened = random.random(2000) < 0.2 + 0.6 * p
    parts = murphy_decomposition(p, happened)
    base = happened.mean()
    reliability = resolution = 0.0
    for value in np.unique(p):
        inside = p == value
        share, rate = inside.mean(), happened[inside].mean()
        reliability += share * (value - rate) ** 2
        resolution += share * (rate - base) ** 2
    errors = [
        parts.score - np.mean((p - happened) ** 2),
        parts.reliability - reliability,
        parts.resolution - resolution,
        parts.score - (parts.reliability - parts.resolution + parts.uncertainty),
    ]
    return float(np.abs(errors).max())


def units() -> float:
    import pint

    registry = pint.UnitRegistry()
    foot = registry.Quantity(1, "foot")
    acre = 43560 * foot**2  # the international acre; pint's own is the survey acre
    pairs = (
        (
            conversions.gallons_per_acre_to_litres_per_hectare(1.0),
            registry.Quantity(1, "gallon") / acre,
            "liter/hectare",
        ),
        (
            conversions.pounds_per_acre_to_kilograms_per_hectare(1.0),
            registry.Quantity(1, "pound") / acre,
            "kg/hectare",
        ),
        (
            conversions.ounces_per_acre_to_grams_per_hectare(1.0),
            registry.Quantity(1, "ounce") / acre,
            "gram/hectare",
        ),
        (
            conversions.fluid_ounces_per_thousand_ft2_to_litres_per_hectare(1.0),
            registry.Quantity(1, "fluid_ounce") / (1000 * foot**2),
            "liter/hectare",
        ),
        (conversions.FLUID_OUNCE_ML, registry.Quantity(1, "fluid_ounce"), "milliliter"),
        (conversions.TEASPOON_ML, registry.Quantity(1, "teaspoon"), "milliliter"),
        (conversions.TABLESPOON_ML, registry.Quantity(1, "tablespoon"), "milliliter"),
        (conversions.GALLON_L, registry.Quantity(1, "gallon"), "liter"),
    )
    return max(abs(ours / theirs.to(unit).magnitude - 1) for ours, theirs, unit in pairs)
