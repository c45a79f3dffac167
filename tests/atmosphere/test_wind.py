"""Wind conversions and directions; published values stand in tests/literature/wind.toml."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.atmosphere import wind

SPEED = st.floats(0.0, 40.0)
ANGLE = st.floats(-720.0, 720.0)


def test_two_metres_stay_two_metres():
    # Source: FAO-56 eq. 47 is 1 at 2 m, within its rounding.
    assert wind.wind_speed_at_2m(3.0, 2.0) == pytest.approx(3.0, rel=2e-3)


def test_the_profile_ends_at_one_metre():
    # Source: FAO-56 eq. 47 is not for heights within the grass's roughness; below 1 m there is no answer.
    assert np.isfinite(wind.wind_speed_at_2m(3.0, 1.0)) and np.isnan(wind.wind_speed_at_2m(3.0, 0.99))


@given(SPEED, st.floats(1.0, 7.0))
def test_lowest_wind_is_below_both_estimates_and_unknown_class_is_the_lowest(speed, stability_class):
    # Source: the rule for the calm limit: the lower estimate counts.
    lowest = wind.lowest_wind_speed_2m(speed, stability_class)
    assert lowest <= wind.wind_speed_2m(speed)
    assert lowest <= wind.power_law(speed, 10.0, 2.0, wind.power_law_exponent(stability_class))
    assert wind.lowest_wind_speed_2m(speed, np.nan) <= lowest
    assert wind.lowest_wind_speed_2m(speed, 99.0) <= lowest


def test_class_g_has_the_exponent_of_f():
    # Source: EPA merges classes 6 and 7.
    assert wind.power_law_exponent(7.0) == wind.power_law_exponent(6.0) == 0.55
    assert np.isnan(wind.power_law_exponent([0.0, 8.0, np.nan])).all()


@given(SPEED, st.floats(0.0, 3.0))
def test_a_gust_is_never_below_the_mean(speed, factor):
    # Source: definition of a gust.
    assert wind.gust_estimate(speed, factor) >= speed
    assert wind.gust_estimate(speed) >= speed


@given(ANGLE, ANGLE, st.integers(-3, 3))
def test_angle_is_symmetric_small_and_blind_to_whole_turns(first, second, turns):
    # Source: plane geometry.
    angle = wind.angle_between(first, second)
    assert 0.0 <= angle <= 180.0
    assert wind.angle_between(second, first) == pytest.approx(angle, abs=1e-9)
    assert wind.angle_between(first + 360.0 * turns, second) == pytest.approx(angle, abs=1e-9)


@given(ANGLE)
def test_the_wind_blows_to_the_opposite_side(direction):
    # Source: WMO convention.
    assert wind.angle_between(wind.direction_toward(direction), direction) == pytest.approx(180.0, abs=1e-9)
    assert 0.0 <= wind.direction_toward(direction) < 360.0
