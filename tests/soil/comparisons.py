"""Largest differences between our formulas and outside programs or tables, for the validation table.

``rows()`` gives (topic, method, checked against, largest error found); the tests beside this file hold each
error below its limit. Comparisons whose outside program is not installed are left out.
"""

from __future__ import annotations

import functools
import importlib.util
import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from advisor.drift.deposit import DRIFT_DISTANCES, DRIFT_PERCENT, deposit_percent
from advisor.drift.droplets import droplet_flight, simmel_velocity, terminal_velocity
from advisor.mix import arithmetic
from advisor.rain.chance import chance_dry_over_span, chance_of_any
from advisor.soil.runoff import adjust_curve_number, curve_number_runoff
from advisor.soil.temperature import amplitude_at_depth, damping_depth, lag_at_depth, soil_temperature
from advisor.soil.water import run_balance
from advisor.verification.brier import murphy_decomposition
from advisor.verification.crps import crps_ensemble, crps_gaussian, crps_student_t
from advisor.verification.distributions import normal_cdf, student_t_cdf

# Gunn R, Kinzer GD (1949) J. Meteor. 6:243-248: diameter [um] and fall speed [m/s].
GUNN_KINZER = (
    (78, 0.18), (100, 0.27), (200, 0.72), (300, 1.17), (400, 1.62), (500, 2.06),
    (600, 2.47), (700, 2.87), (800, 3.27), (900, 3.67), (1000, 4.03),
)  # fmt: skip

CAPACITY, WILTING, START, ROOTS = 0.29, 0.15, 0.22, 0.30


class Comparison(NamedTuple):
    """One row: `limit` is the tolerance that the outside source itself allows, in `unit`."""

    topic: str
    method: str
    against: str
    error: float
    unit: str
    limit: float
    needs: str = ""


def installed(module: str) -> bool:
    """Whether an outside program is there to be compared with."""
    return not module or importlib.util.find_spec(module) is not None


def _pyfao56(rain, reference_et, constant_p: bool = False, roff: bool = False, **parameters):
    """Daily output of pyfao56 for a lawn on silt loam, roots of 0.3 m."""
    import pandas as pd
    import pyfao56

    keys = [f"2021-{day:03d}" for day in range(1, len(rain) + 1)]
    settings = {
        "Kcbini": 0.75, "Kcbmid": 0.95, "Kcbend": 0.90, "Lini": 30, "Ldev": 30, "Lmid": 250, "Lend": 30,
        "hini": 0.1, "hmax": 0.1, "thetaFC": CAPACITY, "thetaWP": WILTING, "theta0": START, "Zrini": ROOTS,
        "Zrmax": ROOTS, "pbase": 0.40, "Ze": 0.1,
    }  # fmt: skip
    weather = pyfao56.Weather()
    columns = {
        "Srad": 20.0, "Tmax": 25.0, "Tmin": 12.0, "Vapr": np.nan, "Tdew": 10.0, "RHmax": 90.0, "RHmin": 45.0,
        "Wndsp": 2.0, "Rain": rain, "ETref": reference_et, "MorP": "M",
    }  # fmt: skip
    weather.wdata = pd.DataFrame(columns, index=keys)
    weather.rfcrp, weather.z, weather.lat, weather.wndht = "S", 100.0, 40.0, 2.0
    chosen = pyfao56.Parameters(**settings | parameters)
    model = pyfao56.Model(keys[0], keys[-1], chosen, weather, cons_p=constant_p, roff=roff)
    model.run()
    return model.odata


@functools.cache
def pyfao56_season(seed: int, wet: bool, constant_p: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A year of turf water by pyfao56 and by ours: depletion, stress and percolation, each (2, day).

    pyfao56 adds evaporation from bare soil to the uptake of the plant. Its readily evaporable water is set
    above the total, which turns that part off, so that both see the single coefficient of FAO-56 alone.
    """
    random = np.random.default_rng(seed)
    days = 365
    reference_et = random.uniform(1.0, 8.0, days)
    rain = np.where(random.random(days) < (0.35 if wet else 0.08), random.gamma(1.2, 12.0, days), 0.0)
    output = _pyfao56(rain, reference_et, constant_p, REW=500.0)
    theirs = {name: output[name].to_numpy(float) for name in ("Dr", "Ks", "DP", "Kcb", "E")}
    assert not theirs["E"].any()
    available = 1000 * (CAPACITY - WILTING) * ROOTS
    begin = 1000 * (CAPACITY - START) * ROOTS
    ours = run_balance(
        begin, rain, 0.0, 0.0, reference_et, theirs["Kcb"], available, 0.40, adjust_p=not constant_p
    )
    return (
        np.stack([theirs["Dr"], ours.depletion_end]),
        np.stack([theirs["Ks"], ours.stress]),
        np.stack([theirs["DP"], ours.deep_percolation]),
    )


def conduction_by_finite_differences(air: np.ndarray, depth: float, diffusivity: float) -> np.ndarray:
    """Temperature at a depth by an implicit scheme on a 1 cm grid to 2 m, the surface at air temperature."""
    from scipy.linalg import solve_banded

    spacing, substeps, nodes = 0.01, 4, 200
    ratio = diffusivity * (3600 / substeps) / spacing**2
    bands = np.zeros((3, nodes))
    bands[0, 1:], bands[1], bands[2, :-1] = -ratio / 2, 1 + ratio, -ratio / 2
    bands[1, 0], bands[0, 1] = 1, 0
    bands[1, -1], bands[2, -2] = 1 + ratio / 2, -ratio / 2
    profile = np.full(nodes, air.mean())
    at = round(depth / spacing)
    result = np.empty_like(air)
    result[0] = profile[at]
    profile[0] = air[0]
    for hour in range(1, len(air)):
        for part in range(1, substeps + 1):
            surface = air[hour - 1] + (air[hour] - air[hour - 1]) * part / substeps
            right = profile.copy()
            right[1:-1] += ratio / 2 * (profile[2:] - 2 * profile[1:-1] + profile[:-2])
            right[-1] += ratio / 2 * (profile[-2] - profile[-1])
            right[0] = surface
            profile = solve_banded((1, 1), bands, right)
        result[hour] = profile[at]
    return result


def weather_like(hours: int, seed: int = 7) -> np.ndarray:
    """Hourly air temperature with days, spells and a season, made up [degC]."""
    random = np.random.default_rng(seed)
    spells = np.repeat(np.convolve(random.normal(0, 3, hours // 24 + 8), np.ones(4) / 2, "same"), 24)[:hours]
    time = np.arange(hours)
    return 12 + 6 * np.sin(2 * np.pi * (time - 9) / 24) + 8 * np.sin(2 * np.pi * time / 8760) + spells


def _balance(index: int, constant_p: bool) -> float:
    pairs = [pyfao56_season(seed, wet, constant_p)[index] for seed in (1, 2) for wet in (True, False)]
    return max(float(np.abs(ours - theirs).max()) for theirs, ours in pairs)


def _turf_tables() -> float:
    from pyfao56.tools import FAO56Tables

    from advisor.soil.water import TURF_DEPLETION_FRACTION, turf_coefficient

    tables = FAO56Tables()
    worst = 0.0
    for kind in ("cool-season", "warm-season"):
        word = kind.split("-")[0]
        row = tables.table12[tables.table12["Crop"].str.contains(word, case=False)].iloc[0]
        for column, stage in (("Kcmini", "initial"), ("Kcmmid", "mid"), ("Kcmend", "end")):
            worst = max(worst, abs(float(row[column]) - turf_coefficient(kind, stage)))
        row = tables.table22[tables.table22["Crop"].str.contains(word, case=False)].iloc[0]
        worst = max(worst, abs(float(row["pbase"]) - TURF_DEPLETION_FRACTION[kind]))
    return worst


def _antecedent() -> float:
    """Curve numbers that pyfao56 used on a dry first day and on the day after a soaking, from its runoff."""
    worst = 0.0
    for number in (60, 70, 80, 90):
        runoff = _pyfao56([150.0, 150.0], [5.0, 5.0], roff=True, CN2=number, REW=8.0)["Runoff"].to_numpy(
            float
        )
        # TR-55 eq. 2-3 solved for S, and pyfao56's S = 250 (100/CN - 1).
        storage = 5 * (150 + 2 * runoff - np.sqrt(4 * runoff**2 + 5 * 150 * runoff))
        used = 100 / (1 + storage / 250)
        ours = np.array([adjust_curve_number(number, "dry"), adjust_curve_number(number, "wet")])
        worst = max(worst, float(np.abs(used - ours).max()))
    return worst


def _runoff_in_inches() -> float:
    rain, number = np.meshgrid(np.linspace(0, 8, 161), np.arange(35, 100))
    storage = 1000 / number - 10
    inches = np.where(rain > 0.2 * storage, (rain - 0.2 * storage) ** 2 / (rain + 0.8 * storage), 0)
    return float(np.abs(curve_number_runoff(rain * 25.4, number) - inches * 25.4).max())


def _sinusoid() -> float:
    hours, depth, diffusivity = np.arange(24 * 30), 0.1, 0.5e-6
    damping = damping_depth(diffusivity, 86400)
    swing = amplitude_at_depth(7, depth, damping)
    lag = lag_at_depth(depth, damping, 86400) / 3600
    truth = 15 + swing * np.sin(2 * np.pi * (hours - lag) / 24)
    ours = soil_temperature(15 + 7 * np.sin(2 * np.pi * hours / 24), depth, diffusivity)
    return float(np.nanmax(np.abs(ours - truth)))


def _conduction(depth: float) -> float:
    # The first twenty days let the finite differences forget how they began.
    air = weather_like(24 * 50)
    truth = conduction_by_finite_differences(air, depth, 0.5e-6)
    return float(np.abs(soil_temperature(air, depth, 0.5e-6) - truth)[24 * 20 :].max())


def _regression(applications: int, nearest: int = 0) -> float:
    distances, table = DRIFT_DISTANCES[nearest:], DRIFT_PERCENT[applications][nearest:]
    return float(np.abs(deposit_percent(np.array(distances, float), applications) - table).max())


def _fall(function: Callable, low: int, high: int) -> float:
    pairs = [(size, speed) for size, speed in GUNN_KINZER if low <= size <= high]
    sizes, speeds = (np.array(column, float) for column in zip(*pairs, strict=True))
    return 100 * float(np.abs(function(sizes) / speeds - 1).max())


def _flight() -> float:
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


def _dry_by_counting() -> float:
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


def _scores() -> float:
    """Ensemble score by the definition, all pairs of members."""
    random = np.random.default_rng(5)
    members, truth = random.normal(10, 4, (200, 21)), random.normal(10, 4, 200)
    pairs = np.abs(members[:, :, None] - members[:, None, :]).mean(axis=(1, 2))
    by_definition = np.abs(members - truth[:, None]).mean(axis=1) - pairs / 2
    return float(np.abs(crps_ensemble(members, truth) - by_definition).max())


def _integral(cdf: Callable, observed: float) -> float:
    from scipy.integrate import quad

    below = quad(lambda x: cdf(x) ** 2, -np.inf, observed, limit=200)[0]
    return below + quad(lambda x: (1 - cdf(x)) ** 2, observed, np.inf, limit=200)[0]


def _gaussian_by_integral() -> float:
    from scipy import stats

    return max(
        abs(float(crps_gaussian(m, s, y)) - _integral(stats.norm(m, s).cdf, y))
        for m, s, y in ((0, 1, 0), (0, 1, 1), (12, 2.5, 8), (-3, 0.4, -2.2))
    )


def _student_by_integral() -> float:
    from scipy import stats

    return max(
        abs(float(crps_student_t(m, s, n, y)) - _integral(stats.t(n, m, s).cdf, y))
        for m, s, n, y in ((0, 1, 3, 0), (0, 1, 5, 1.5), (12, 2.5, 20, 8), (-3, 0.4, 8, -2.2))
    )


def _distributions() -> float:
    from scipy import stats

    z = np.linspace(-12, 12, 4801)
    worst = float(np.abs(normal_cdf(z) - stats.norm.cdf(z)).max())
    degrees = np.array([1.0, 2, 3, 5, 10, 30, 200])
    return max(
        worst, float(np.abs(student_t_cdf(z[:, None], degrees) - stats.t.cdf(z[:, None], degrees)).max())
    )


def _murphy() -> float:
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


def _units() -> float:
    import pint

    registry = pint.UnitRegistry()
    foot = registry.Quantity(1, "foot")
    acre = 43560 * foot**2  # the international acre; pint's own is the survey acre
    pairs = (
        (
            arithmetic.gallons_per_acre_to_litres_per_hectare(1.0),
            registry.Quantity(1, "gallon") / acre,
            "liter/hectare",
        ),
        (
            arithmetic.pounds_per_acre_to_kilograms_per_hectare(1.0),
            registry.Quantity(1, "pound") / acre,
            "kg/hectare",
        ),
        (
            arithmetic.ounces_per_acre_to_grams_per_hectare(1.0),
            registry.Quantity(1, "ounce") / acre,
            "gram/hectare",
        ),
        (
            arithmetic.fluid_ounces_per_thousand_ft2_to_litres_per_hectare(1.0),
            registry.Quantity(1, "fluid_ounce") / (1000 * foot**2),
            "liter/hectare",
        ),
        (arithmetic.FLUID_OUNCE_ML, registry.Quantity(1, "fluid_ounce"), "milliliter"),
        (arithmetic.TEASPOON_ML, registry.Quantity(1, "teaspoon"), "milliliter"),
        (arithmetic.TABLESPOON_ML, registry.Quantity(1, "tablespoon"), "milliliter"),
        (arithmetic.GALLON_L, registry.Quantity(1, "gallon"), "liter"),
    )
    return max(abs(ours / theirs.to(unit).magnitude - 1) for ours, theirs, unit in pairs)


_ALL: tuple[tuple[str, str, str, Callable[[], float], str, float, str], ...] = (
    (
        "Soil water",
        "FAO-56 eq. 84-88, constant p",
        "pyfao56 1.4.3, four seasons, depletion",
        lambda: _balance(0, True),
        "mm",
        1e-6,
        "pyfao56",
    ),
    (
        "Soil water",
        "FAO-56 eq. 84-88, p by the day's uptake",
        "pyfao56 1.4.3, four seasons, depletion",
        lambda: _balance(0, False),
        "mm",
        1e-6,
        "pyfao56",
    ),
    (
        "Soil water",
        "FAO-56 eq. 84 (Ks)",
        "pyfao56 1.4.3, four seasons",
        lambda: _balance(1, False),
        "-",
        1e-6,
        "pyfao56",
    ),
    (
        "Soil water",
        "FAO-56 eq. 88 (percolation)",
        "pyfao56 1.4.3, four seasons",
        lambda: _balance(2, False),
        "mm",
        1e-6,
        "pyfao56",
    ),
    (
        "Turf coefficients",
        "FAO-56 Tables 12 and 22",
        "pyfao56 1.4.3, tables",
        _turf_tables,
        "-",
        0.0,
        "pyfao56",
    ),
    (
        "Runoff",
        "curve number in mm",
        "TR-55 in inches, 0 to 8 in, CN 35 to 99",
        _runoff_in_inches,
        "mm",
        1e-9,
        "",
    ),
    (
        "Runoff",
        "antecedent moisture",
        "pyfao56 1.4.3, numbers worked back from its runoff",
        _antecedent,
        "CN",
        1e-9,
        "pyfao56",
    ),
    (
        "Soil temperature",
        "damped and delayed air temperature",
        "sine wave at 10 cm, closed form",
        _sinusoid,
        "K",
        0.03,
        "",
    ),
    (
        "Soil temperature",
        "damped and delayed air temperature, ten days of memory",
        "finite differences, 5 cm, made-up weather",
        lambda: _conduction(0.05),
        "K",
        0.3,
        "scipy",
    ),
    (
        "Soil temperature",
        "damped and delayed air temperature, ten days of memory",
        "finite differences, 10 cm, made-up weather",
        lambda: _conduction(0.10),
        "K",
        0.6,
        "scipy",
    ),
    (
        "Drift",
        "FOCUS regression, one pass",
        "JKI table, 1 to 50 m",
        lambda: _regression(1),
        "% of rate",
        0.015,
        "",
    ),
    (
        "Drift",
        "FOCUS regression, two to eight passes",
        "JKI tables, from 3 m",
        lambda: max(_regression(n, 1) for n in range(2, 9)),
        "% of rate",
        0.015,
        "",
    ),
    (
        "Drops",
        "Schiller-Naumann drag",
        "Gunn and Kinzer (1949), 200 to 1000 um",
        lambda: _fall(terminal_velocity, 200, 1000),
        "%",
        5.0,
        "",
    ),
    (
        "Drops",
        "Schiller-Naumann drag",
        "Gunn and Kinzer (1949), 78 and 100 um",
        lambda: _fall(terminal_velocity, 70, 110),
        "%",
        12.0,
        "",
    ),
    (
        "Drops",
        "Simmel power law",
        "Gunn and Kinzer (1949), 78 to 1000 um",
        lambda: _fall(simmel_velocity, 70, 1000),
        "%",
        12.0,
        "",
    ),
    ("Drops", "fall of a shrinking drop", "time stepping with the drag by bisection", _flight, "%", 1.0, ""),
    ("Rain", "independent blocks", "all combinations counted", _dry_by_counting, "-", 1e-12, ""),
    ("Verification", "CRPS of an ensemble, sorted", "definition over all pairs", _scores, "-", 1e-12, ""),
    (
        "Verification",
        "CRPS of a normal forecast",
        "numerical integral",
        _gaussian_by_integral,
        "-",
        1e-6,
        "scipy",
    ),
    ("Verification", "CRPS of a t forecast", "numerical integral", _student_by_integral, "-", 1e-6, "scipy"),
    ("Verification", "normal and t distribution", "scipy.stats", _distributions, "-", 1e-12, "scipy"),
    ("Verification", "Brier score and its parts", "definition, bin by bin", _murphy, "-", 1e-12, ""),
    ("Mixing", "unit factors", "pint, international acre", _units, "relative", 1e-12, "pint"),
)


def comparisons() -> list[Comparison]:
    """Every comparison whose outside program is installed, computed now."""
    return [
        Comparison(topic, method, against, float(measure()), unit, limit, needs)
        for topic, method, against, measure, unit, limit, needs in _ALL
        if installed(needs)
    ]


def rows() -> list[tuple[str, str, str, str]]:
    """(topic, method, checked against, largest error found) for the validation table."""
    return [
        (c.topic, c.method, c.against, f"{c.error:.2g} {c.unit}".removesuffix(" -")) for c in comparisons()
    ]
