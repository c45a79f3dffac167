"""Wash-off from turf leaves: the range of the trial and what it says outside of it."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.rain.washoff import remaining_exponential, remaining_power, washoff


@pytest.mark.parametrize("function", [remaining_power, remaining_exponential])
def test_no_rain_takes_nothing_and_more_rain_takes_more(function):
    assert function(0.0) == 1
    assert (np.diff(function(np.linspace(0, 58, 200))) < 0).all()


@pytest.mark.parametrize("function", [remaining_power, remaining_exponential])
def test_beyond_the_trial_the_curve_is_not_drawn_on(function):
    # Carroll et al. (1993) rained at most 58 mm.
    assert function(200.0) == function(58.0)
    assert np.isnan(function([-0.1, np.nan])).all()


@pytest.mark.parametrize(
    "hours, word", [(0.0, "at least"), (17.9, "at least"), (18.0, "as in"), (48.0, "as in"), (48.1, "less")]
)
def test_words_tell_how_far_the_trial_goes(hours, word):
    # Carroll et al. (1993) rained 18 to 48 h after treatment.
    result = washoff(10.0, hours)
    assert word in str(result.words)
    assert result.remaining == pytest.approx(0.4755, abs=0.0005)
    assert result.lost == pytest.approx(0.5245, abs=0.0005)


def test_missing_inputs_are_unknown_in_number_and_word():
    result = washoff([np.nan, 10.0, -1.0, 10.0], [20.0, np.nan, 20.0, -1.0])
    assert np.isnan(result.remaining).all() and np.isnan(result.lost).all()
    assert (result.words == "unknown").all()


def test_the_fast_curve_and_an_unknown_one():
    assert washoff(5.0, 20.0, "exponential").remaining == pytest.approx(0.3499, abs=0.0005)
    with pytest.raises(ValueError, match="power, exponential"):
        washoff(5.0, 20.0, "linear")
