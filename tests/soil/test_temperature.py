"""Soil temperature: the closed form of a wave, causality, missing hours, the fit to a known layer."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.soil.temperature import (
    amplitude_at_depth,
    damping_depth,
    fit_soil_temperature,
    lag_at_depth,
    soil_temperature,
)

from .compare_soil import weather_like

DAY, ALPHA = 86400.0, 0.5e-6


def test_annual_wave_reaches_the_square_root_of_a_year_deeper():
    # open.library.okstate.edu 13.4: 19.1 times; sqrt(365) = 19.105.
    assert damping_depth(ALPHA, 365 * DAY) / damping_depth(ALPHA, DAY) == pytest.approx(19.105, abs=0.001)


@pytest.mark.parametrize("depth", [0.025, 0.05, 0.10, 0.20])
def test_a_daily_wave_arrives_small_and_late(depth):
    # T = Ta + A exp(-z/d) sin(w t - z/d), open.library.okstate.edu 13.4; straight lines between hours cost
    # 0.6 %.
    # Twenty days of memory, as ten cut 0.8 % off the wave at 20 cm.
    hours = np.arange(24 * 22)
    soil = soil_temperature(18 + 7 * np.sin(2 * np.pi * hours / 24), depth, ALPHA, spin_up=480)[-24:]
    damping = damping_depth(ALPHA, DAY)
    swing, lag = amplitude_at_depth(7, depth, damping), lag_at_depth(depth, damping, DAY) / 3600
    phase = np.exp(-2j * np.pi * hours[-24:] / 24)
    wave = (soil * phase).mean() * 2j
    assert abs(wave) == pytest.approx(swing, rel=0.01)
    assert -np.angle(wave) * 24 / (2 * np.pi) == pytest.approx(lag, abs=0.01)
    assert soil.mean() == pytest.approx(18, abs=1e-6)


def test_a_step_arrives_as_the_error_function():
    # Carslaw and Jaeger (1959) section 2.4: erfc(z / (2 sqrt(a t))) after a step of 1 K, here ramped over
    # one hour.
    import math

    air = np.concatenate([np.zeros(480), np.ones(60)])
    soil = soil_temperature(air, 0.05, ALPHA, spin_up=480)
    after = np.arange(6, 60)
    # Counting from the middle of the ramp.
    truth = np.array([math.erfc(0.05 / (2 * math.sqrt(ALPHA * (hour + 0.5) * 3600))) for hour in after])
    # The part of the past beyond the memory has the memory's mean, at most 60/480 of the step times 3 %.
    assert np.abs(soil[480 + after] - truth).max() < 0.01


def test_depth_zero_is_the_air_itself():
    air = weather_like(24 * 12)
    assert soil_temperature(air, 0.0, ALPHA)[240:] == pytest.approx(air[240:], abs=1e-9)


def test_constant_air_gives_the_same_soil():
    assert soil_temperature(np.full(300, 13.0), 0.05, ALPHA)[239:] == pytest.approx(np.full(61, 13.0))


def test_nothing_from_the_future_is_used():
    air = weather_like(24 * 15)
    later = air.copy()
    later[300:] += 10
    ours, other = soil_temperature(air, 0.05), soil_temperature(later, 0.05)
    assert ours[:300] == pytest.approx(other[:300], nan_ok=True, abs=1e-9)
    assert np.abs(ours[300:] - other[300:]).max() > 1


def test_unknown_until_the_spin_up_is_over():
    soil = soil_temperature(weather_like(24 * 12), 0.05)
    assert np.isnan(soil[:239]).all() and np.isfinite(soil[239:]).all()
    assert np.isnan(soil_temperature(weather_like(239), 0.05)).all()


def test_a_single_day_of_memory_is_allowed():
    soil = soil_temperature(weather_like(72), 0.05, spin_up=24)
    assert np.isnan(soil[:23]).all() and np.isfinite(soil[23:]).all()


def test_a_gap_makes_the_next_ten_days_unknown():
    air = weather_like(24 * 30)
    air[300] = np.nan
    soil = soil_temperature(air, 0.05)
    assert np.isnan(soil[300:540]).all()
    assert np.isfinite(soil[239:300]).all() and np.isfinite(soil[540:]).all()
    whole = soil_temperature(weather_like(24 * 30), 0.05)
    assert soil[540:] == pytest.approx(whole[540:], abs=1e-9)


@pytest.mark.parametrize(
    "depth, diffusivity", [(-0.1, ALPHA), (0.05, 0.0), (0.05, -1.0), (np.nan, ALPHA), (0.05, np.nan)]
)
def test_an_impossible_soil_gives_unknown(depth, diffusivity):
    assert np.isnan(soil_temperature(weather_like(300), depth, diffusivity)).all()


def test_sites_and_members_agree_with_single_series():
    air = np.stack(
        [[weather_like(300, seed) for seed in (1, 2, 3)], [weather_like(300, seed) for seed in (4, 5, 6)]]
    )
    soil = soil_temperature(air, 0.05)
    for site in range(2):
        for member in range(3):
            single = soil_temperature(air[site, member], 0.05)
            assert soil[site, member] == pytest.approx(single, nan_ok=True, abs=1e-9)


def test_float32_stays_float32_within_a_hundredth():
    air = weather_like(24 * 40)
    narrow = soil_temperature(air.astype("f4"), 0.05)
    assert narrow.dtype == np.float32
    assert np.nanmax(np.abs(narrow - soil_temperature(air, 0.05))) < 0.01


def test_the_fit_finds_the_soil_that_made_the_layer():
    air = weather_like(24 * 40)
    layer = soil_temperature(air, 0.05, 0.3e-6) + 1.5
    fit = fit_soil_temperature(np.stack([air, air]), np.stack([layer, layer - 3.0]), 0.05)
    # Neighbouring trial values are 14 % apart.
    assert fit.diffusivity == pytest.approx([0.3e-6, 0.3e-6], rel=0.08)
    assert fit.offset == pytest.approx([1.5, -1.5], abs=0.05)
    assert (fit.rms_error < 0.1).all() and (fit.hours == 24 * 40 - 239).all()


def test_the_fit_needs_two_days_of_pairs():
    air = weather_like(24 * 12)
    layer = np.full(24 * 12, np.nan)
    layer[240:287] = 12.0
    fit = fit_soil_temperature(air, layer, 0.05)
    assert np.isnan(fit.diffusivity) and np.isnan(fit.offset) and np.isnan(fit.rms_error) and fit.hours == 47


def test_wrong_calls_are_refused():
    with pytest.raises(ValueError, match="hour axis"):
        soil_temperature(12.0, 0.05)
    with pytest.raises(ValueError, match="whole days"):
        soil_temperature(np.zeros(300), 0.05, spin_up=100)
