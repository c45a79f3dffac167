"""Runoff by curve number: TR-55 at its edges, and its properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.soil.runoff import (
    adjust_curve_number,
    antecedent_curve_number,
    curve_number_runoff,
    initial_abstraction,
    potential_retention,
    turf_curve_number,
)


def test_a_sealed_surface_sheds_everything():
    # TR-55: CN 100 holds nothing back, so runoff equals rain.
    assert curve_number_runoff([0.0, 0.3, 25.4], 100.0) == pytest.approx([0.0, 0.3, 25.4])


def test_no_runoff_up_to_the_abstraction_and_some_above():
    # TR-55 eq. 2-2: nothing runs off until 0.2 S has fallen.
    for number in (39, 61, 74, 80):
        edge = float(initial_abstraction(number))
        assert curve_number_runoff(edge, number) == 0
        assert curve_number_runoff(edge + 0.1, number) > 0


def test_example_two_one_of_tr55_with_its_weighted_number():
    # TR-55 Example 2-1: 70 % of group C (74) and 30 % of B (61), 6.0 in: CN 70, Q 2.81 in (from memory).
    number = 0.7 * turf_curve_number("C") + 0.3 * turf_curve_number("B")
    assert number == pytest.approx(70.1)
    assert curve_number_runoff(6.0 * 25.4, round(number)) / 25.4 == pytest.approx(2.81, abs=0.01)


@pytest.mark.parametrize("number", [0.0, -5.0, 100.1, np.nan])
def test_an_impossible_number_gives_unknown(number):
    for function in (potential_retention, initial_abstraction):
        assert np.isnan(function(number))
    assert np.isnan(curve_number_runoff(50.0, number))
    for state in ("dry", "average", "wet"):
        assert np.isnan(adjust_curve_number(number, state))
    assert np.isnan(antecedent_curve_number(number, 40.0))


def test_negative_or_missing_rain_gives_unknown():
    assert np.isnan(curve_number_runoff([-0.1, np.nan], 74.0)).all()
    assert np.isnan(antecedent_curve_number(74.0, [-0.1, np.nan])).all()


def test_classes_of_antecedent_rain():
    # National Engineering Handbook, section 4 (from memory): growing 1.4 and 2.1 in, dormant 0.5 and 1.1 in.
    dry, average, wet = (float(adjust_curve_number(74, state)) for state in ("dry", "average", "wet"))
    assert dry < average == 74 < wet
    inch = 25.4
    grown = antecedent_curve_number(74, [0.0, 1.39 * inch, 1.41 * inch, 2.09 * inch, 2.11 * inch])
    assert grown == pytest.approx([dry, dry, average, average, wet])
    bare = antecedent_curve_number(74, [0.49 * inch, 0.51 * inch, 1.09 * inch, 1.11 * inch], season="dormant")
    assert bare == pytest.approx([dry, average, average, wet])


def test_unknown_words_name_the_known_ones():
    with pytest.raises(ValueError, match="A, B, C, D"):
        turf_curve_number("E")
    with pytest.raises(ValueError, match="good, fair, poor"):
        turf_curve_number("A", "lush")
    with pytest.raises(ValueError, match="dry, average, wet"):
        adjust_curve_number(74, "soaked")
    with pytest.raises(ValueError, match="growing, dormant"):
        antecedent_curve_number(74, 10.0, season="winter")


@given(rain=st.floats(0, 300), more=st.floats(0, 100), number=st.floats(1, 100), up=st.floats(0, 50))
def test_runoff_grows_with_rain_and_number_and_never_passes_the_rain(rain, more, number, up):
    runoff = float(curve_number_runoff(rain, number))
    assert 0 <= runoff <= rain
    assert curve_number_runoff(rain + more, number) >= runoff - 1e-9
    assert curve_number_runoff(rain, min(number + up, 100)) >= runoff - 1e-9


@given(number=st.floats(1, 100))
def test_a_wet_soil_sheds_more_than_a_dry_one(number):
    dry, wet = float(adjust_curve_number(number, "dry")), float(adjust_curve_number(number, "wet"))
    assert 0 < dry <= number + 1e-9 and number - 1e-9 <= wet <= 100 + 1e-9
