"""Soil water, runoff and soil temperature against pyfao56, TR-55 and conduction of heat solved otherwise.

Each function gives the largest difference found; ``comparisons`` holds the table of them.
"""

from __future__ import annotations

import functools

import numpy as np

from advisor.soil.runoff import adjust_curve_number, curve_number_runoff
from advisor.soil.temperature import amplitude_at_depth, damping_depth, lag_at_depth, soil_temperature
from advisor.soil.water import run_balance

CAPACITY, WILTING, START, ROOTS = 0.29, 0.15, 0.22, 0.30


def run_pyfao56(rain, reference_et, constant_p: bool = False, roff: bool = False, **parameters):
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
    output = run_pyfao56(rain, reference_et, constant_p, REW=500.0)
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


def balance(index: int, constant_p: bool) -> float:
    pairs = [pyfao56_season(seed, wet, constant_p)[index] for seed in (1, 2) for wet in (True, False)]
    return max(float(np.abs(ours - theirs).max()) for theirs, ours in pairs)


def turf_tables() -> float:
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


def antecedent() -> float:
    """Curve numbers that pyfao56 used on a dry first day and on the day after a soaking, from its runoff."""
    worst = 0.0
    for number in (60, 70, 80, 90):
        runoff = run_pyfao56([150.0, 150.0], [5.0, 5.0], roff=True, CN2=number, REW=8.0)["Runoff"].to_numpy(
            float
        )
        # TR-55 eq. 2-3 solved for S, and pyfao56's S = 250 (100/CN - 1).
        storage = 5 * (150 + 2 * runoff - np.sqrt(4 * runoff**2 + 5 * 150 * runoff))
        used = 100 / (1 + storage / 250)
        ours = np.array([adjust_curve_number(number, "dry"), adjust_curve_number(number, "wet")])
        worst = max(worst, float(np.abs(used - ours).max()))
    return worst


def runoff_in_inches() -> float:
    rain, number = np.meshgrid(np.linspace(0, 8, 161), np.arange(35, 100))
    storage = 1000 / number - 10
    inches = np.where(rain > 0.2 * storage, (rain - 0.2 * storage) ** 2 / (rain + 0.8 * storage), 0)
    return float(np.abs(curve_number_runoff(rain * 25.4, number) - inches * 25.4).max())


def sinusoid() -> float:
    hours, depth, diffusivity = np.arange(24 * 30), 0.1, 0.5e-6
    damping = damping_depth(diffusivity, 86400)
    swing = amplitude_at_depth(7, depth, damping)
    lag = lag_at_depth(depth, damping, 86400) / 3600
    truth = 15 + swing * np.sin(2 * np.pi * (hours - lag) / 24)
    ours = soil_temperature(15 + 7 * np.sin(2 * np.pi * hours / 24), depth, diffusivity)
    return float(np.nanmax(np.abs(ours - truth)))


def conduction(depth: float) -> float:
    # The first twenty days let the finite differences forget how they began.
    air = weather_like(24 * 50)
    truth = conduction_by_finite_differences(air, depth, 0.5e-6)
    return float(np.abs(soil_temperature(air, depth, 0.5e-6) - truth)[24 * 20 :].max())
