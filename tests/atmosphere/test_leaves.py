"""Wet leaves and drying; published cases stand in tests/literature/leaves.toml."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.atmosphere import evapotranspiration, leaves, moisture, vapour

NAN = np.nan


@pytest.mark.parametrize(
    ("humidity", "depression", "rain", "wet"),
    [
        (86.9, 3.81, 0.0, 0),
        (87.0, 3.81, 0.0, 1),
        (86.9, 3.8, 0.0, 1),
        (86.9, 3.81, 0.01, 1),
        (NAN, 3.81, 0.0, NAN),
        (86.9, NAN, 0.0, NAN),
        (86.9, 3.81, NAN, NAN),
        (90.0, NAN, NAN, 1),
        (NAN, 1.0, NAN, 1),
        (NAN, NAN, 2.0, 1),
        (NAN, NAN, NAN, NAN),
        (-1.0, 3.81, 0.0, NAN),
        (50.0, 9.0, -1.0, NAN),
    ],
)
def test_rule_criterion_follows_three_valued_logic(humidity, depression, rain, wet):
    # Source: RH < 87 % (published thresholds 83 to 93) and depression > 3.8 K (DPD model, from memory), no
    # rain.
    np.testing.assert_equal(float(leaves.leaf_wet(humidity, depression, rain)), float(wet))


def test_depression_model_after_an_unknown_hour():
    # Source: the DPD model's states; an unknown hour forgets the state until an hour decides again.
    hours = np.array([3.0, 1.0, NAN, 3.0, 3.0, 4.0, 3.0, NAN, 1.0])
    expected = [NAN, 1.0, NAN, NAN, NAN, 0.0, 0.0, NAN, 1.0]
    np.testing.assert_equal(leaves.leaf_wetness_from_depression(hours), expected)
    both = leaves.leaf_wetness_from_depression(np.stack([hours, hours[::-1]]))
    np.testing.assert_equal(both[0], expected)


def test_the_third_branch_of_the_tree_cannot_fire():
    # Source: Kim et al. (2002) as all public copies print it: wet above 37.0. A scan over all consistent
    # inputs up to 40 degC, done independently, never exceeds 1.94.
    temperature, humidity, wind = np.meshgrid(
        np.arange(0.0, 40.1, 0.5), np.arange(87.8, 100.01, 0.1), np.arange(2.5, 20.1, 0.5), indexing="ij"
    )
    depression = leaves.dew_point_depression(temperature, humidity)
    index = leaves.cart_windy_index(temperature, humidity, wind, depression)
    assert index[depression < 3.7].max() == pytest.approx(1.94, abs=0.01)
    assert np.all(leaves.leaf_wetness_from_cart(temperature, humidity, wind) == 0)


def test_rain_wets_in_any_wind_and_freezing_is_unknown():
    # Source: one public copy of the model adds rain >= 0.25 mm; the square root of T ends at 0 degC.
    assert leaves.leaf_wetness_from_cart(20.0, 50.0, 6.0, 0.25) == 1
    assert leaves.leaf_wetness_from_cart(20.0, 50.0, 6.0, 0.24) == 0
    assert np.isnan(leaves.leaf_wetness_from_cart(-1.0, 97.0, 1.0))
    assert leaves.leaf_wetness_from_cart(-1.0, 50.0, 1.0) == 0, "node 1 needs no square root"
    assert np.isnan(leaves.leaf_wetness_from_cart(20.0, 50.0, 1.0, -1.0))


def test_drying_time():
    # Source: arithmetic.
    assert leaves.drying_time(0.6, 0.2) == pytest.approx(3.0)
    assert leaves.drying_time(0.0, 0.0) == 0.0
    assert leaves.drying_time(0.1, 0.0) == np.inf and leaves.drying_time(0.1, -0.2) == np.inf
    assert np.isnan(leaves.drying_time(-0.1, 0.2))


@given(
    st.lists(
        st.tuples(st.one_of(st.just(0.0), st.floats(0.0, 5.0)), st.floats(0.0, 0.5)), min_size=1, max_size=60
    ),
    st.floats(0.0, 0.6),
)
def test_leaf_water_is_the_plain_bucket(hours, start):
    # Source: the definition, written out hour by hour.
    rain, loss = (np.array(values) for values in zip(*hours, strict=True))
    expected, water = [], start
    for fall, evaporated in zip(rain, loss, strict=True):
        water = min(max(water + fall - evaporated, 0.0), leaves.LEAF_CAPACITY)
        expected.append(water)
    np.testing.assert_allclose(leaves.leaf_water(rain, loss, initial=start), expected, atol=1e-9)


def test_leaf_water_forgets_what_is_unknown_only_when_it_no_longer_matters():
    # Source: definition: a full leaf or a dry one no longer depends on the hours before.
    loss = np.full(12, 0.1)
    rain = np.zeros(12)
    water = leaves.leaf_water(rain, loss)
    assert np.isnan(water[:5]).all() and np.all(water[6:] == 0), "0.6 mm are gone after six hours at 0.1 mm/h"
    rain[0] = 5.0
    assert leaves.leaf_water(rain, loss)[0] == pytest.approx(0.6), "rain fills the leaf whatever was before"
    loss[3] = NAN
    water = leaves.leaf_water(rain, loss)
    assert np.isfinite(water[:3]).all() and np.isnan(water[3]) and np.isfinite(water[11])


def test_a_july_noon_dries_leaves_within_hours_and_a_clear_night_does_not():
    # Source: physics: net radiation of 1.8 MJ m-2 h-1 evaporates at most 0.408 x 1.8 = 0.73 mm/h, plus what
    # the dry air takes.
    vapour = moisture.vapour_pressure_from_relative_humidity(27.0, 55.0)
    noon = leaves.wet_surface_evaporation(27.0, vapour, 2.0, 1.8, 100.0)
    assert 0.5 < noon < 1.0
    assert leaves.drying_time(leaves.LEAF_CAPACITY, noon) < 2.0
    night = moisture.vapour_pressure_from_relative_humidity(15.0, 97.0)
    assert leaves.wet_surface_evaporation(15.0, night, 0.5, -0.15, 100.0) == 0.0


def test_wet_leaves_are_the_reference_surface_without_its_stomata():
    # Source: FAO-56 eq. 53 has r_s/r_a = 0.34 u in its denominator; without it the leaf is wet.
    weather = (38.0, 3.445, 3.3)
    reference = evapotranspiration.reference_et_hourly(*weather, 1.574, 0.0, 101.2)
    slope, gamma = vapour.saturation_slope(38.0), vapour.psychrometric_constant(101.2)
    expected = reference * (slope + gamma * (1 + 0.34 * 3.3)) / (slope + gamma)
    assert leaves.wet_surface_evaporation(*weather, 1.574, 101.2) == pytest.approx(expected, rel=1e-12)
