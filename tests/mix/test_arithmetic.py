"""Calibration and mixing: both methods agree with each other, and impossible amounts are unknown."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.mix import arithmetic as mix
from advisor.mix import conversions

amounts = st.floats(0.01, 1000)


@given(caught=amounts, area=amounts)
def test_a_catch_and_a_known_area_give_the_same_spray_volume(caught, area):
    # The 1/128-acre method is the known-area method in other units.
    gallons_per_acre = mix.carrier_from_catch(caught, area)
    by_area = mix.carrier_from_known_area(
        caught * conversions.FLUID_OUNCE_ML / 1000, area * conversions.SQUARE_FOOT_M2
    )
    assert conversions.gallons_per_acre_to_litres_per_m2(gallons_per_acre) == pytest.approx(
        float(by_area), rel=1e-12
    )


@given(flow=amounts, speed=amounts, width=amounts)
def test_the_boom_formula_is_flow_over_area_a_minute(flow, speed, width):
    # 1 mph is 88 ft a minute: gallons a minute over acres a minute.
    acres_a_minute = speed * 88 * width / 12 / 43_560
    assert mix.carrier_from_nozzles(flow, speed, width) == pytest.approx(flow / acres_a_minute, rel=1e-9)


@given(rate=amounts, carrier=amounts, volume=amounts)
def test_product_in_a_tank_is_the_rate_over_the_area_that_it_covers(rate, carrier, volume):
    in_tank = mix.product_in_carrier(rate, carrier) * volume
    on_area = mix.product_on_area(rate, mix.area_covered(volume, carrier))
    assert in_tank == pytest.approx(float(on_area), rel=1e-9)


def test_both_fluid_ounce_rates_meet():
    # 1 fl oz/1000 ft2 is 43.56 fl oz/acre.
    per_acre = conversions.fluid_ounces_per_acre_to_litres_per_hectare(
        conversions.per_thousand_ft2_to_per_acre(1.0)
    )
    assert per_acre == pytest.approx(
        float(conversions.fluid_ounces_per_thousand_ft2_to_litres_per_hectare(1.0)), rel=1e-12
    )


def test_exact_units_are_exact():
    # NIST Handbook 44: 1 gal = 231 in3 = 128 fl oz = 256 Tbsp = 768 tsp; acre = 43,560 ft2; lb = 16 oz.
    assert pytest.approx(231 * 2.54**3 / 1000, rel=1e-15) == conversions.GALLON_L
    assert pytest.approx(conversions.GALLON_L * 1000, rel=1e-15) == conversions.FLUID_OUNCE_ML * 128
    assert (
        conversions.TABLESPOON_ML * 2 == conversions.FLUID_OUNCE_ML
        and conversions.TEASPOON_ML * 6 == conversions.FLUID_OUNCE_ML
    )
    assert pytest.approx(43_560 * conversions.FOOT_M**2, rel=1e-15) == conversions.ACRE_M2
    assert pytest.approx(conversions.FOOT_M**2, rel=1e-15) == conversions.SQUARE_FOOT_M2
    assert pytest.approx(conversions.POUND_KG * 1000, rel=1e-15) == conversions.OUNCE_G * 16


@pytest.mark.parametrize("bad", [-1.0, np.nan])
def test_a_negative_or_missing_amount_is_unknown(bad):
    for function in (
        conversions.per_thousand_ft2_to_per_acre, conversions.gallons_per_acre_to_litres_per_m2,
        conversions.gallons_per_acre_to_litres_per_hectare,
        conversions.fluid_ounces_per_thousand_ft2_to_litres_per_hectare,
        conversions.fluid_ounces_per_acre_to_litres_per_hectare,
        conversions.pounds_per_acre_to_kilograms_per_hectare, conversions.ounces_per_acre_to_grams_per_hectare,
        mix.carrier_from_catch,
    ):  # fmt: skip
        assert np.isnan(function(bad)) and function(0.0) == 0
    for function in (
        mix.carrier_from_known_area, mix.course_length, mix.product_in_carrier, mix.area_covered,
        mix.product_for_active_ingredient, mix.product_on_area, mix.adjuvant_volume,
    ):  # fmt: skip
        assert np.isnan(function(bad, 1.0)) and np.isnan(function(1.0, bad)) and function(0.0, 1.0) == 0
    for place in range(3):
        arguments = [1.0, 1.0, 1.0]
        arguments[place] = bad
        assert np.isnan(mix.carrier_from_nozzles(*arguments))


def test_nothing_is_divided_by_nothing():
    for function in (mix.carrier_from_known_area, mix.course_length, mix.product_in_carrier, mix.area_covered,
                     mix.product_for_active_ingredient, mix.carrier_from_catch):  # fmt: skip
        assert np.isnan(function(1.0, 0.0))
    assert np.isnan(mix.carrier_from_nozzles(1.0, 0.0, 20.0)) and np.isnan(
        mix.carrier_from_nozzles(1.0, 3.0, 0.0)
    )
    # Two negatives are not a width.
    assert np.isnan(mix.carrier_from_nozzles(1.0, -3.0, -20.0))


def test_an_adjuvant_is_at_most_all_of_the_mix():
    assert mix.adjuvant_volume([100.0, 100.1], 4.0)[0] == 4 and np.isnan(mix.adjuvant_volume(100.1, 4.0))
