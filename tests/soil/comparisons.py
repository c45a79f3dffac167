"""Largest differences between our formulas and outside programs or tables, for the validation table.

``report()`` gives (topic, method, checked against, largest error found); the tests beside this file hold each
error below its limit. Comparisons whose outside program is not installed are left out.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Callable
from typing import NamedTuple

from advisor.drift.droplets import simmel_velocity, terminal_velocity

from . import compare_soil
from . import compare_spray_and_scores as others


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


ALL: tuple[tuple[str, str, str, Callable[[], float], str, float, str], ...] = (
    (
        "Soil water",
        "FAO-56 eq. 84-88, constant p",
        "pyfao56 1.4.3, four seasons, depletion",
        lambda: compare_soil.balance(0, True),
        "mm",
        1e-6,
        "pyfao56",
    ),
    (
        "Soil water",
        "FAO-56 eq. 84-88, p by the day's uptake",
        "pyfao56 1.4.3, four seasons, depletion",
        lambda: compare_soil.balance(0, False),
        "mm",
        1e-6,
        "pyfao56",
    ),
    (
        "Soil water",
        "FAO-56 eq. 84 (Ks)",
        "pyfao56 1.4.3, four seasons",
        lambda: compare_soil.balance(1, False),
        "-",
        1e-6,
        "pyfao56",
    ),
    (
        "Soil water",
        "FAO-56 eq. 88 (percolation)",
        "pyfao56 1.4.3, four seasons",
        lambda: compare_soil.balance(2, False),
        "mm",
        1e-6,
        "pyfao56",
    ),
    (
        "Turf coefficients",
        "FAO-56 Tables 12 and 22",
        "pyfao56 1.4.3, tables",
        compare_soil.turf_tables,
        "-",
        0.0,
        "pyfao56",
    ),
    (
        "Runoff",
        "curve number in mm",
        "TR-55 in inches, 0 to 8 in, CN 35 to 99",
        compare_soil.runoff_in_inches,
        "mm",
        1e-9,
        "",
    ),
    (
        "Runoff",
        "antecedent moisture",
        "pyfao56 1.4.3, numbers worked back from its runoff",
        compare_soil.antecedent,
        "CN",
        1e-9,
        "pyfao56",
    ),
    (
        "Soil temperature",
        "damped and delayed air temperature",
        "sine wave at 10 cm, closed form",
        compare_soil.sinusoid,
        "K",
        0.03,
        "",
    ),
    (
        "Soil temperature",
        "damped and delayed air temperature, ten days of memory",
        "finite differences, 5 cm, made-up weather",
        lambda: compare_soil.conduction(0.05),
        "K",
        0.3,
        "scipy",
    ),
    (
        "Soil temperature",
        "damped and delayed air temperature, ten days of memory",
        "finite differences, 10 cm, made-up weather",
        lambda: compare_soil.conduction(0.10),
        "K",
        0.6,
        "scipy",
    ),
    (
        "Drift",
        "FOCUS regression, one pass",
        "JKI table, 1 to 50 m",
        lambda: others.regression(1),
        "% of rate",
        0.015,
        "",
    ),
    (
        "Drift",
        "FOCUS regression, two to eight passes",
        "JKI tables, from 3 m",
        lambda: max(others.regression(n, 1) for n in range(2, 9)),
        "% of rate",
        0.015,
        "",
    ),
    (
        "Drops",
        "Schiller-Naumann drag",
        "Gunn and Kinzer (1949), 200 to 1000 um",
        lambda: others.fall(terminal_velocity, 200, 1000),
        "%",
        5.0,
        "",
    ),
    (
        "Drops",
        "Schiller-Naumann drag",
        "Gunn and Kinzer (1949), 78 and 100 um",
        lambda: others.fall(terminal_velocity, 70, 110),
        "%",
        12.0,
        "",
    ),
    (
        "Drops",
        "Simmel power law",
        "Gunn and Kinzer (1949), 78 to 1000 um",
        lambda: others.fall(simmel_velocity, 70, 1000),
        "%",
        12.0,
        "",
    ),
    (
        "Drops",
        "fall of a shrinking drop",
        "time stepping with the drag by bisection",
        others.flight,
        "%",
        1.0,
        "",
    ),
    ("Rain", "independent blocks", "all combinations counted", others.dry_by_counting, "-", 1e-12, ""),
    (
        "Verification",
        "CRPS of an ensemble, sorted",
        "definition over all pairs",
        others.scores,
        "-",
        1e-12,
        "",
    ),
    (
        "Verification",
        "CRPS of a normal forecast",
        "numerical integral",
        others.gaussian_by_integral,
        "-",
        1e-6,
        "scipy",
    ),
    (
        "Verification",
        "CRPS of a t forecast",
        "numerical integral",
        others.student_by_integral,
        "-",
        1e-6,
        "scipy",
    ),
    ("Verification", "normal and t distribution", "scipy.stats", others.distributions, "-", 1e-12, "scipy"),
    ("Verification", "Brier score and its parts", "definition, bin by bin", others.murphy, "-", 1e-12, ""),
    ("Mixing", "unit factors", "pint, international acre", others.units, "relative", 1e-12, "pint"),
)


def comparisons() -> list[Comparison]:
    """Every comparison whose outside program is installed, computed now."""
    return [
        Comparison(topic, method, against, float(measure()), unit, limit, needs)
        for topic, method, against, measure, unit, limit, needs in ALL
        if installed(needs)
    ]


def report() -> list[tuple[str, str, str, str]]:
    """(topic, method, checked against, largest error found) for the validation table."""
    return [
        (c.topic, c.method, c.against, f"{c.error:.2g} {c.unit}".removesuffix(" -")) for c in comparisons()
    ]
