"""Degree days: the two published methods, accumulation, missing days."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.growth.degree_days import accumulated_degree_days, degree_days

temperatures = st.floats(-20, 45)


@given(one=temperatures, other=temperatures, base=st.floats(0, 15))
def test_method_two_never_gives_less_and_differs_only_below_the_base(one, other, base):
    # McMaster and Wilhelm (1997): the methods differ only when the minimum is below the base.
    high, low = max(one, other), min(one, other)
    first, second = degree_days(high, low, base, 1), degree_days(high, low, base, 2)
    assert 0 <= first <= second + 1e-12
    if low >= base:
        assert first == pytest.approx(float(second))


def test_method_one_is_the_default():
    # The extension examples are method 1: 70/40 degF, base 50 degF, gives 5.
    assert degree_days(70.0, 40.0, 50.0) == 5


def test_a_maximum_below_the_minimum_is_unknown():
    assert np.isnan(degree_days(5.0, 6.0, 0.0))


def test_an_unknown_method_is_refused():
    with pytest.raises(ValueError, match="1 or 2"):
        degree_days(20.0, 10.0, 10.0, method=3)


def test_the_sum_counts_from_the_start_and_stays_unknown_after_a_gap():
    daily = np.array([[1.0, 2.0, 3.0, 4.0], [1.0, np.nan, 3.0, 4.0]])
    assert accumulated_degree_days(daily)[0].tolist() == [1, 3, 6, 10]
    assert np.isnan(accumulated_degree_days(daily)[1]).tolist() == [False, True, True, True]
    started = [False, False, True, True]
    # A gap before the count begins does not matter.
    assert accumulated_degree_days(daily, started).tolist() == [[0, 0, 3, 7], [0, 0, 3, 7]]
    with pytest.raises(ValueError, match="day axis"):
        accumulated_degree_days(3.0)
