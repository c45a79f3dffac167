"""Three-valued comparison: regression of our own definitions (Kleene's strong logic)."""

import itertools

import numpy as np
import pytest

from advisor.logic import SLACK, Kleene, all_of, any_of, within

T, F, U = (True, True), (False, True), (False, False)
WORDS = {T: "true", F: "false", U: "unknown"}


def one(value) -> Kleene:
    return Kleene(*(np.array(part) for part in value))


def word(found: Kleene) -> str:
    return WORDS[bool(found.holds), bool(found.known)]


#: S. C. Kleene (1952) Introduction to Metamathematics, section 64, strong tables (from memory)
AND = {(T, T): T, (T, F): F, (T, U): U, (F, F): F, (F, U): F, (U, U): U}
OR = {(T, T): T, (T, F): T, (T, U): T, (F, F): F, (F, U): U, (U, U): U}


@pytest.mark.parametrize(
    "pair", list(itertools.product((T, F, U), repeat=2)), ids=lambda p: "-".join(map(WORDS.get, p))
)
def test_kleene_tables(pair):
    key = pair if pair in AND else pair[::-1]
    assert word(all_of(*map(one, pair))) == WORDS[AND[key]]
    assert word(any_of(*map(one, pair))) == WORDS[OR[key]]


def test_holds_never_without_known():
    values = np.array([np.nan, -np.inf, -1.0, 0.0, 1.0, np.inf])
    for low, high in (
        (None, 0.0),
        (0.0, None),
        (-0.5, 0.5),
        (np.nan, None),
        (None, np.nan),
        (np.nan, np.nan),
    ):
        found = within(values, low, high)
        assert not (found.holds & ~found.known).any()
        assert not found.known[0], "a missing value is never known"
        if low is not None and np.isnan(low) or high is not None and np.isnan(high):
            assert not found.known.any(), "a limit that nobody knows is met by nothing"


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_limits_are_inclusive_also_in_other_units_and_precision(dtype):
    eight_mph = 8 * 1609.344 / 3600.0
    value = np.asarray(eight_mph, dtype=dtype)
    assert within(value, at_most=eight_mph).holds and within(value, at_least=eight_mph).holds
    beyond = dtype(eight_mph) + dtype(4 * SLACK * eight_mph)
    assert within(np.asarray(beyond), at_most=eight_mph).fails
    assert within(np.asarray(-beyond), at_least=-eight_mph).fails


def test_a_limit_that_is_not_given_does_not_limit():
    found = within(np.array([1e9, -1e9, np.nan]))
    assert found.holds.tolist() == [True, True, False] and found.known.tolist() == [True, True, False]


def test_infinity_is_a_value():
    assert within(np.array(np.inf), at_least=336.0).holds
    assert within(np.array(np.inf), at_most=336.0).fails
