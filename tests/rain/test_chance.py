"""Chance of a dry span: blocks that keep their length, partial cover, members, properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.rain.chance import (
    chance_dry_from_members,
    chance_dry_over_span,
    chance_of_any,
    frechet_bounds,
    is_measurable,
)

fractions = st.lists(st.floats(0, 1), min_size=1, max_size=12)


def test_a_hundredth_of_an_inch_counts_in_either_precision():
    # AMS Glossary: 0.01 in or more is measurable; 0.009 in is not.
    for kind in (np.float32, np.float64):
        assert is_measurable(np.array([0.01, 0.009], kind) * kind(25.4)).tolist() == [1.0, 0.0]
    assert np.isnan(is_measurable([np.nan, -0.1])).all()


def test_six_hour_probabilities_are_not_hourly_ones():
    # A block of six hours at 30 % is 30 %, and not 1 - 0.7^6 = 88 %.
    assert chance_dry_over_span([0.3], 6.0).independent == pytest.approx(0.7)
    assert chance_dry_over_span([0.3, 0.3], 6.0).independent == pytest.approx(0.49)


def test_a_block_partly_inside_counts_whole_but_bounds_nothing_from_above():
    dry = chance_dry_over_span([0.3, 0.6], 6.0, span_start=5.0, span_end=12.0)
    assert dry.lower == pytest.approx(0.1)
    assert dry.independent == pytest.approx(0.28)
    # Only the second block is wholly inside: rain in the first may have fallen before hour 5.
    assert dry.upper == pytest.approx(0.4)
    assert chance_dry_over_span([0.3], 6.0, 1.0, 5.0) == pytest.approx((0.7, 0.7, 1.0))


def test_a_block_that_only_touches_the_span_does_not_count():
    assert chance_dry_over_span([0.9, 0.1, 0.9], 6.0, 6.0, 12.0).independent == pytest.approx(0.9)


def test_a_probability_held_for_a_day_stands_for_two_half_days():
    # Twelve hours is the customary period of a US probability of rain (AMS Glossary quotes a stated period).
    whole = chance_dry_over_span([0.3], 24.0)
    assert whole == pytest.approx((0.4, 0.49, 0.7))
    assert chance_dry_over_span([0.3], 24.0, 0.0, 12.0) == pytest.approx((0.7, 0.7, 0.7))
    assert chance_dry_over_span([0.3], 24.0, 11.0, 13.0).independent == pytest.approx(0.49)
    assert chance_dry_over_span([0.3], 30.0).independent == pytest.approx(0.7**3)
    assert chance_dry_over_span([0.3], 12.0).independent == pytest.approx(0.7)


def test_blocks_of_different_lengths_and_given_starts():
    p, length = [0.1, 0.2, 0.4], [1.0, 1.0, 6.0]
    assert chance_dry_over_span(p, length).independent == pytest.approx(0.9 * 0.8 * 0.6)
    assert chance_dry_over_span(p, length, 1.0, 3.0).independent == pytest.approx(0.8 * 0.6)
    placed = chance_dry_over_span(p, length, 101.0, 103.0, block_start=[100.0, 101.0, 102.0])
    assert placed.independent == pytest.approx(0.8 * 0.6)


@pytest.mark.parametrize(
    "kwargs",
    [
        {"probability": [0.1, 0.2], "block_length": 6.0, "span_end": 13.0},  # ends too soon
        {"probability": [0.1, 0.2], "block_length": 6.0, "span_start": -1.0},  # begins too late
        {"probability": [0.1, 0.2], "block_length": 6.0, "span_start": 0.0, "span_end": 12.0,
         "block_start": [0.0, 7.0]},  # a hole of one hour
        {"probability": [0.1, np.nan], "block_length": 6.0},
        {"probability": [0.1, 20.0], "block_length": 6.0},  # percent
        {"probability": [0.1, -0.1], "block_length": 6.0},
        {"probability": [0.1, 0.2], "block_length": [6.0, 0.0]},
        {"probability": [0.1, 0.2], "block_length": [6.0, np.nan]},
        {"probability": [0.1, 0.2], "block_length": 6.0, "span_start": np.nan},
        {"probability": [0.1, 0.2], "block_length": 6.0, "span_start": 5.0, "span_end": 5.0},
    ],
    ids=str,
)  # fmt: skip
def test_what_is_not_covered_or_not_known_is_never_dry(kwargs):
    assert np.isnan(chance_dry_over_span(**kwargs)).all()


def test_a_missing_block_outside_the_span_does_not_matter():
    assert chance_dry_over_span([0.2, np.nan], 6.0, 0.0, 6.0).independent == pytest.approx(0.8)


def test_spans_of_many_starts_at_once():
    starts = np.arange(0.0, 13.0)
    dry = chance_dry_over_span([0.1, 0.5, 0.2], 6.0, starts, starts + 6)
    assert dry.independent[[0, 6, 12]] == pytest.approx([0.9, 0.5, 0.8])
    assert dry.independent[1:6] == pytest.approx(np.full(5, 0.45))
    single = [chance_dry_over_span([0.1, 0.5, 0.2], 6.0, start, start + 6) for start in starts]
    assert pytest.approx(np.array(single)) == np.array(dry).T


def test_members_below_the_measurable_amount_are_dry():
    rain = np.zeros((4, 6))
    rain[0, 2] = 0.3
    rain[1, :] = 0.05  # 0.3 mm in all
    rain[2, 0] = 0.25  # 0.0098 in
    assert chance_dry_from_members(rain, 4) == (0.5, 0.5)


def test_a_span_of_one_hour_is_enough():
    assert chance_dry_from_members([[0.0], [0.3]], 2) == (0.5, 0.5)


def test_missing_hours_and_members_widen_the_pair():
    rain = np.zeros((4, 6))
    rain[0, 0], rain[0, 1] = np.nan, 2.0  # wet whatever the missing hour was
    rain[1, 3] = np.nan  # unknown
    lower, upper = chance_dry_from_members(rain, 5)  # one member never came
    assert lower == pytest.approx(0.4) and upper == pytest.approx(0.8)
    assert chance_dry_from_members(np.full((4, 6), np.nan), 4) == (0.0, 1.0)
    assert chance_dry_from_members(np.zeros((4, 0)), 4) == (0.0, 1.0)


def test_more_members_than_the_source_has_is_a_mistake():
    with pytest.raises(ValueError, match="model table"):
        chance_dry_from_members(np.zeros((5, 6)), 4)
    with pytest.raises(ValueError, match="at least 1"):
        chance_dry_from_members(np.zeros((5, 6)), 0)


def test_no_blocks_at_all_is_a_mistake():
    with pytest.raises(ValueError, match="at least one"):
        frechet_bounds([])
    with pytest.raises(ValueError, match="at least one"):
        chance_dry_over_span([], 6.0)


@given(p=fractions)
def test_bounds_hold_the_independent_value(p):
    lower, upper = frechet_bounds(p)
    assert lower - 1e-12 <= chance_of_any(p) <= upper + 1e-12


@given(
    p=fractions,
    start=st.floats(0, 30),
    length=st.floats(0.5, 40),
    block=st.sampled_from([1.0, 3.0, 6.0, 24.0]),
)
def test_dry_bounds_hold_the_independent_value(p, start, length, block):
    dry = chance_dry_over_span(p, block, start, start + length)
    if np.isnan(dry.lower):
        assert start + length > block * len(p) * (1 - 1e-9)
    else:
        assert 0 <= dry.lower <= dry.independent + 1e-12 <= dry.upper + 2e-12 <= 1 + 2e-12


@given(p=fractions, at=st.integers(0, 11), more=st.floats(0, 1))
def test_a_rainier_block_never_raises_the_chance_of_dry(p, at, more):
    wetter = list(p)
    wetter[at % len(p)] = min(1.0, wetter[at % len(p)] + more)
    for less, extra in zip(chance_dry_over_span(p, 6.0), chance_dry_over_span(wetter, 6.0), strict=True):
        assert extra <= less + 1e-12


@given(p=fractions, shared=st.floats(0, 1))
def test_bounds_hold_rain_that_comes_all_together_and_all_apart(p, shared):
    # One uniform number wets every block with p above it (all together): then the chance of any is max(p).
    assert frechet_bounds(p)[0] == max(p)
    # Blocks that exclude each other share the unit interval: the chance of any is the sum.
    apart = [value / max(sum(p), 1) for value in p]
    assert frechet_bounds(apart)[1] == pytest.approx(min(sum(apart), 1))
