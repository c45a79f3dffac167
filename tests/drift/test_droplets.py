"""Falling and shrinking drops: limits of the formulas and properties beyond the published rows."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.drift.droplets import (
    drift_distance,
    droplet_flight,
    evaporation_lifetime,
    simmel_velocity,
    stokes_velocity,
    terminal_velocity,
)


def test_the_drag_law_becomes_stokes_for_very_small_drops():
    # Schiller and Naumann (1933): Cd tends to 24/Re.
    assert terminal_velocity(1.0) == pytest.approx(float(stokes_velocity(1.0)), rel=1e-3)
    assert terminal_velocity(0.0) == 0


def test_the_drag_balances_the_weight():
    # 3/4 Cd rho_air v^2 / d = g (rho_water - rho_air), the definition of the terminal velocity.
    size = np.array([20.0, 100.0, 400.0, 1000.0])
    speed = terminal_velocity(size)
    reynolds = 1.204 * speed * size * 1e-6 / 1.81e-5
    drag = 24 / reynolds * (1 + 0.15 * reynolds**0.687)
    assert 0.75 * drag * 1.204 * speed**2 / (size * 1e-6) == pytest.approx(np.full(4, 9.81 * (998.2 - 1.204)))


def test_thin_air_lets_drops_fall_faster():
    assert terminal_velocity(300.0, air_density=1.0) > terminal_velocity(300.0)


def test_simmel_joins_at_its_branches():
    # The published branches meet within 2 % at 134.43, 1511.64 and 3477.84 um.
    for edge in (134.43, 1511.64, 3477.84):
        assert simmel_velocity(edge - 0.01) == pytest.approx(float(simmel_velocity(edge + 0.01)), rel=0.02)


def test_a_drop_in_saturated_air_lasts_for_ever_and_lands_whole():
    assert evaporation_lifetime(100.0, 0.0) == np.inf
    flight = droplet_flight(100.0, 0.5, 2.0, 0.0)
    assert flight.diameter_end == pytest.approx(100.0)
    assert flight.time == pytest.approx(0.5 / float(terminal_velocity(100.0)), rel=1e-6)
    assert flight.distance == pytest.approx(2 * flight.time)


def test_nearly_saturated_air_still_dries_a_drop():
    # Amsden's formula (from memory): 100^2 / (80 x 0.5) = 250 s.
    assert evaporation_lifetime(100.0, 0.5) == pytest.approx(250.0)
    assert evaporation_lifetime(0.5, 0.5) == pytest.approx(0.00625)
    assert terminal_velocity(0.5) == pytest.approx(float(stokes_velocity(0.5)), rel=1e-3)


def test_a_fine_drop_dries_up_on_the_way_and_a_coarse_one_lands():
    # Amsden's formula (from memory): 50 um at Delta T 8 lasts 3.9 s, too short for half a metre at 0.07 m/s.
    flight = droplet_flight([50.0, 400.0], 0.5, 2.0, 8.0)
    assert flight.diameter_end[0] == 0
    assert flight.time[0] == pytest.approx(3.906, abs=0.001)
    assert flight.diameter_end[1] == pytest.approx(np.sqrt(400**2 - 80 * 8 * flight.time[1]), rel=1e-9)
    assert flight.diameter_end[1] < 400
    assert flight.distance[0] > 5 * flight.distance[1]


def test_distance_is_that_of_the_flight():
    assert drift_distance(150.0, 0.4, 3.0, 5.0) == droplet_flight(150.0, 0.4, 3.0, 5.0).distance


def test_from_the_ground_it_goes_nowhere():
    assert drift_distance(150.0, 0.0, 3.0, 5.0) == 0


@pytest.mark.parametrize("change", [{"diameter_um": -1.0}, {"diameter_um": 0.0}, {"release_height": -0.1},
                                    {"wind_speed": -1.0}, {"delta_t": -0.1}], ids=str)  # fmt: skip
def test_impossible_gives_unknown(change):
    flight = droplet_flight(
        **{"diameter_um": 150.0, "release_height": 0.4, "wind_speed": 3.0, "delta_t": 5.0} | change
    )
    assert all(np.isnan(part) for part in flight)


def test_negative_sizes_are_unknown():
    for function in (terminal_velocity, stokes_velocity, simmel_velocity):
        assert np.isnan(function(-1.0))
    assert np.isnan(evaporation_lifetime(-1.0, 5.0)) and np.isnan(evaporation_lifetime(100.0, -0.1))
    assert np.isnan(terminal_velocity(100.0, air_density=0.0)) and np.isnan(
        terminal_velocity(100.0, air_viscosity=0.0)
    )


@given(size=st.floats(1, 1000), more=st.floats(0, 500))
def test_larger_drops_fall_faster_and_never_faster_than_stokes(size, more):
    assert terminal_velocity(size + more) >= terminal_velocity(size) - 1e-12
    assert terminal_velocity(size) <= stokes_velocity(size) * (1 + 1e-9)


@given(size=st.floats(60, 800), height=st.floats(0.05, 2), wind=st.floats(0, 8), dry=st.floats(0, 15))
def test_a_flight_ends_by_its_lifetime_and_carries_with_the_wind(size, height, wind, dry):
    flight = droplet_flight(size, height, wind, dry)
    assert 0 < flight.time <= evaporation_lifetime(size, dry) * (1 + 1e-9)
    assert flight.distance == pytest.approx(flight.time * wind)
    assert 0 <= flight.diameter_end <= size
