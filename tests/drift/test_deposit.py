"""Drift deposits: geometry of wind and neighbour, the refusal below 1 m, missing wind, properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.drift.deposit import (
    DRIFT_90TH,
    angle_off_wind,
    deposit_at_neighbour,
    deposit_percent,
    strip_mean,
)

EAST, WEST, NORTH = 90.0, 270.0, 0.0


def test_one_pass_table_is_the_first_column():
    # JKI table of drift values (2010), field crops, one application.
    assert DRIFT_90TH == {
        1: 2.77,
        3: 0.95,
        5: 0.57,
        10: 0.29,
        15: 0.20,
        20: 0.15,
        30: 0.10,
        40: 0.07,
        50: 0.06,
    }


def test_strip_mean_is_the_integral_of_the_curve():
    # FOCUS (2001) appendix B: the mean of A z^B over the strip, here by a fine midpoint sum.
    near, far, parts = 2.0, 9.0, 20000
    middles = near + (np.arange(parts) + 0.5) * (far - near) / parts
    for applications in range(1, 9):
        by_sum = deposit_percent(middles, applications).mean()
        assert strip_mean(near, far, applications) == pytest.approx(by_sum, rel=1e-6)


def test_strip_mean_refuses_what_begins_too_near_and_knows_no_empty_strip():
    assert strip_mean(0.5, 3.0) == 100
    assert (
        np.isnan(strip_mean(3.0, 3.0)) and np.isnan(strip_mean(4.0, 3.0)) and np.isnan(strip_mean(-1.0, 3.0))
    )


@pytest.mark.parametrize(
    "bearing, wind_from, arc, angle",
    [
        (EAST, WEST, 0, 0),  # a west wind blows east
        (EAST, EAST, 0, 180),
        (EAST, NORTH, 0, 90),
        (10.0, 170.0, 0, 20),  # across north: blows to 350
        (350.0, 190.0, 0, 20),
        (EAST, 315.0, 0, 45),
        (EAST, 315.0, 60, 15),
        (EAST, 315.0, 90, 0),
        (EAST, EAST, 360, 0),
        (450.0, -90.0, 0, 0),  # the same directions a turn away
    ],
)
def test_angle_between_wind_and_neighbour(bearing, wind_from, arc, angle):
    # Plain geometry, worked by hand.
    assert angle_off_wind(bearing, wind_from, arc) == pytest.approx(angle)


def test_a_neighbour_is_a_point_unless_it_has_an_arc():
    assert angle_off_wind(EAST, 315.0) == 45


def test_deposit_follows_the_path_along_the_wind():
    # 5 m at 60 degrees off the wind is 10 m along it: FOCUS regression 0.5719 and 0.2904 %.
    deposit = deposit_at_neighbour(5.0, EAST, [270.0, 330.0, 0.0, 90.0], 3.0)
    assert deposit == pytest.approx([0.5719, 0.2904, 0.0, 0.0], abs=5e-5)


def test_any_wind_gives_the_curve_at_the_path_along_it():
    # d/cos(angle off the wind), angle by the dot product of the two directions as unit vectors.
    random = np.random.default_rng(9)
    distance, bearing, wind = (
        random.uniform(1, 60, 500),
        random.uniform(0, 360, 500),
        random.uniform(0, 360, 500),
    )
    blows = np.exp(1j * np.deg2rad(wind + 180))
    along = (blows * np.exp(-1j * np.deg2rad(bearing))).real
    path = distance / np.where(along > 0, along, np.nan)
    expected = np.where(along > 0, deposit_percent(path), 0.0)
    assert deposit_at_neighbour(distance, bearing, wind, 3.0) == pytest.approx(expected, abs=2e-5)


def test_the_winds_decide_the_precision():
    wind, speed = np.linspace(0, 359, 200, dtype="f4"), np.full(200, 3, "f4")
    narrow = deposit_at_neighbour(np.array(5.0), np.array([EAST]), wind, speed)
    assert narrow.dtype == np.float32
    wide = deposit_at_neighbour(5.0, EAST, wind.astype(float), speed.astype(float))
    # The angle is good to 3e-5 degrees in float32.
    assert narrow == pytest.approx(wide, rel=1e-5, abs=1e-6)


def test_calm_or_unknown_direction_counts_as_toward():
    toward = float(deposit_percent(5.0))
    away = deposit_at_neighbour(5.0, EAST, [EAST, EAST, np.nan, EAST], [3.0, 0.49, 3.0, 0.5])
    assert away == pytest.approx([0.0, toward, toward, 0.0])
    assert deposit_at_neighbour(5.0, EAST, EAST, 1.0, calm_below=1.34) == pytest.approx(toward)


def test_a_neighbour_all_round_is_always_downwind():
    toward = float(deposit_percent(5.0))
    for bearing in (None, np.nan):
        assert deposit_at_neighbour(5.0, bearing, np.arange(0.0, 360.0, 45.0), 3.0) == pytest.approx(
            np.full(8, toward)
        )


def test_no_arc_is_a_point():
    assert deposit_at_neighbour(5.0, EAST, 300.0, 3.0, arc=None) == deposit_at_neighbour(
        5.0, EAST, 300.0, 3.0
    )


def test_nearer_than_the_trials_is_refused_unless_the_wind_blows_away():
    deposit = deposit_at_neighbour(0.9, EAST, [WEST, 330.0, EAST], 3.0)
    # Even where the path along the wind is longer than 1 m the neighbour itself is too near.
    assert deposit == pytest.approx([100.0, 100.0, 0.0])
    assert deposit_at_neighbour(0.0, EAST, EAST, 0.2) == 100


@pytest.mark.parametrize(
    "change",
    [{"distance": np.nan}, {"distance": -1.0}, {"wind_speed": np.nan}, {"wind_speed": -0.1}, {"arc": np.nan},
     {"arc": -1.0}, {"arc": 361.0}],
    ids=str,
)  # fmt: skip
def test_missing_or_impossible_gives_unknown(change):
    good = {"distance": 5.0, "bearing": EAST, "wind_from_direction": WEST, "wind_speed": 3.0, "arc": 10.0}
    assert np.isfinite(deposit_at_neighbour(**good))
    assert np.isnan(deposit_at_neighbour(**good | change))


def test_a_missing_speed_is_unknown_even_where_the_wind_would_blow_away():
    assert np.isnan(deposit_at_neighbour(5.0, EAST, EAST, np.nan))


def test_sites_members_and_hours_broadcast():
    random = np.random.default_rng(2)
    direction, speed = random.uniform(0, 360, (3, 4, 5)), random.uniform(0, 6, (3, 4, 5))
    distance = np.array([1.5, 5.0, 20.0])[:, None, None]
    deposit = deposit_at_neighbour(distance, EAST, direction, speed, arc=20.0)
    for index in np.ndindex(3, 4, 5):
        single = deposit_at_neighbour(
            distance[index[0], 0, 0], EAST, direction[index], speed[index], arc=20.0
        )
        assert deposit[index] == pytest.approx(single)


@given(
    distance=st.floats(0, 200), farther=st.floats(0, 200), bearing=st.floats(0, 360), wind=st.floats(0, 360),
    arc=st.floats(0, 360), speed=st.floats(0, 20),
)  # fmt: skip
def test_deposit_never_grows_with_distance(distance, farther, bearing, wind, arc, speed):
    near = deposit_at_neighbour(distance, bearing, wind, speed, arc)
    far = deposit_at_neighbour(distance + farther, bearing, wind, speed, arc)
    assert 0 <= far <= near + 1e-12 <= 100 + 1e-12


@given(
    distance=st.floats(1, 100), bearing=st.floats(0, 360), wind=st.floats(0, 360), speed=st.floats(0, 20),
    narrow=st.floats(0, 180), wider=st.floats(0, 180),
)  # fmt: skip
def test_a_wider_neighbour_never_gets_less_and_none_more_than_straight_downwind(
    distance, bearing, wind, speed, narrow, wider
):
    small = deposit_at_neighbour(distance, bearing, wind, speed, narrow)
    assert small <= deposit_at_neighbour(distance, bearing, wind, speed, narrow + wider) + 1e-12
    assert small <= deposit_percent(distance) + 1e-12
