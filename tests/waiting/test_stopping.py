"""The stopping problem against scipy's incomplete beta, brute-force enumeration and the closed form for equal days."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.waiting import beta_distribution, firmness, go_or_wait

special = pytest.importorskip("scipy.special")
stats = pytest.importorskip("scipy.stats")


# the incomplete beta function ----------------------------------------------------------------------------------


def test_the_incomplete_beta_agrees_with_scipy_over_a_grid():
    """scipy.special.betainc (Boost), 1e-12 of probability: log-gamma at 160 is about 650, its last digit 1e-13.

    Largest difference seen: 1.4e-13, at I_0.75(120, 39.6).
    """
    shapes = np.r_[0.02, 0.1, 0.4, 1.0, 1.6, 4.0, 12.0, 39.6, 120.0]
    points = np.r_[1e-9, 1e-4, 0.01, np.linspace(0.05, 0.95, 19), 0.99, 1.0 - 1e-4]
    worst = 0.0
    for a, b, x in itertools.product(shapes, shapes, points):
        ours, theirs = beta_distribution(float(x), float(a), float(b)), float(special.betainc(a, b, x))
        worst = max(worst, abs(ours - theirs))
    assert worst < 1e-12


@pytest.mark.parametrize(("x", "value"), [(-0.5, 0.0), (0.0, 0.0), (1.0, 1.0), (2.0, 1.0)])
def test_the_incomplete_beta_at_and_beyond_its_ends(x, value):
    assert beta_distribution(x, 0.7, 3.0) == value


def test_simple_shapes_by_hand():
    # I_x(1, 1) = x; I_x(2, 1) = x^2; I_x(1, 2) = 1 - (1 - x)^2: integrals of polynomials
    for x in (0.1, 0.37, 0.5, 0.9):
        assert beta_distribution(x, 1.0, 1.0) == pytest.approx(x, rel=1e-14)
        assert beta_distribution(x, 2.0, 1.0) == pytest.approx(x * x, rel=1e-14)
        assert beta_distribution(x, 1.0, 2.0) == pytest.approx(1.0 - (1.0 - x) ** 2, rel=1e-14)


# brute force ---------------------------------------------------------------------------------------------------


def discretised(p: float, nu: float, points: int) -> np.ndarray:
    """Equally likely values of q ~ Beta(nu p, nu (1 - p)): the mean of each of its slices, by numerical integration.

    The mean over a slice between quantiles keeps the expectation, so that only the shape inside a slice is lost.
    """
    if p <= 0.0 or p >= 1.0 or not math.isfinite(nu):
        return np.array([p])
    a, b = nu * p, nu * (1.0 - p)
    edges = stats.beta.ppf(np.linspace(0.0, 1.0, points + 1), a, b)
    # E[q; q < x] = p I_x(a + 1, b)
    return points * p * np.diff(special.betainc(a + 1.0, b, edges))


def by_enumeration(expected, gain, nu, points=7) -> float:
    """Value of waiting: every policy is tried on every path of discretised chances.

    A policy that knows the chance of the day it stands on is a rule "go from this one of the day's values on", one
    threshold a day; with few days and values all of them are enumerated.
    """
    grids = [discretised(p, weight, points) for p, weight in zip(expected, nu, strict=True)]
    best = 0.0
    for thresholds in itertools.product(*(range(len(grid) + 1) for grid in grids)):
        value, reached = 0.0, 1.0
        for grid, threshold, worth in zip(grids, thresholds, gain, strict=True):
            taken = np.sort(grid)[threshold:]
            value += reached * worth * taken.sum() / len(grid)
            reached *= 1.0 - len(taken) / len(grid)
        best = max(best, value)
    return best


@pytest.mark.parametrize(
    ("expected", "gain", "nu"),
    [
        ((0.6,), (1.0,), (4.0,)),
        ((0.6, 0.3), (1.0, 1.0), (40.0, 6.0)),
        ((0.2, 0.9, 0.5), (1.0, 0.8, 1.0), (3.0, 8.0, 2.0)),
        ((0.7, 0.7, 0.7), (1.0, 0.9, 0.81), (30.0, 15.0, 7.0)),
        ((0.0, 0.5, 1.0), (1.0, 1.0, 0.4), (9.0, 2.0, 5.0)),
        ((0.35, 0.35, 0.35, 0.35), (1.0, 1.0, 1.0, 1.0), (2.0, 2.0, 2.0, 2.0)),
        ((0.5, 0.8), (1.0, 1.0), (math.inf, math.inf)),
    ],
)
def test_the_value_of_waiting_is_that_of_the_best_of_all_policies(expected, gain, nu):
    """Brute-force enumeration. Seven values a day; the exact value lies above by what is lost inside a slice."""
    exact = go_or_wait(0.0, np.array(expected), np.array([1.0, *gain]), np.array(nu)).wait
    found = by_enumeration(expected, gain, nu)
    assert found <= exact + 1e-9
    assert exact == pytest.approx(found, abs=0.012)


def test_the_enumeration_converges_to_the_value():
    expected, gain, nu = (0.6, 0.4), (1.0, 0.95), (5.0, 3.0)
    exact = go_or_wait(0.0, np.array(expected), np.array([1.0, *gain]), np.array(nu)).wait
    off = [exact - by_enumeration(expected, gain, nu, points) for points in (4, 16, 64)]
    assert off[0] > off[1] > off[2] >= 0.0
    assert off[2] < 2e-4


# closed forms --------------------------------------------------------------------------------------------------


def equal_days(p: float, nu: float, days: int) -> float:
    """V = E[max(q, V')] for equal independent days: V' + the integral of 1 - F over [V', 1] (scipy.integrate)."""
    from scipy.integrate import quad

    value = 0.0
    for _ in range(days):
        above, _ = quad(lambda q: 1.0 - special.betainc(nu * p, nu * (1.0 - p), q), value, 1.0, epsabs=1e-12)
        value += above
    return value


@pytest.mark.parametrize("p", [0.1, 0.35, 0.6, 0.9])
@pytest.mark.parametrize("nu", [2.0, 7.0, 40.0])
@pytest.mark.parametrize("days", [1, 2, 7, 21])
def test_equal_independent_days_have_a_closed_form(p, nu, days):
    """Integral of the survival function by scipy's quadrature, 1e-8."""
    found = go_or_wait(0.0, np.full(days, p), np.ones(days + 1), np.full(days, nu))
    assert found.wait == pytest.approx(equal_days(p, nu, days), abs=1e-8)


def test_uniform_chances_are_the_textbook_recursion():
    """q uniform on [0, 1]: V_1 = 1/2, V_n = (1 + V_(n-1)^2) / 2 (Moser 1956, from memory)."""
    value = 0.0
    for days in range(1, 30):
        value = (1.0 + value**2) / 2.0
        found = go_or_wait(0.0, np.full(days, 0.5), np.ones(days + 1), np.full(days, 2.0))
        assert found.wait == pytest.approx(value, rel=1e-12)


def test_certain_days_leave_the_best_of_them():
    found = go_or_wait(0.3, np.array([0.5, 0.8, 0.6]), np.array([1.0, 1.0, 0.9, 1.0]), np.full(3, np.inf))
    assert found.wait == pytest.approx(0.72)
    assert found.values.tolist() == pytest.approx([0.72, 0.72, 0.72, 0.6])


def test_the_chance_of_a_good_window_is_that_of_independent_days():
    expected, nu, floor = np.array([0.5, 0.3]), np.array([6.0, 2.0]), 0.6
    below = special.betainc(nu * expected, nu * (1.0 - expected), floor)
    found = go_or_wait(0.0, expected, np.ones(3), nu, floor)
    assert found.good_window == pytest.approx(1.0 - below.prod(), rel=1e-12)


# properties ----------------------------------------------------------------------------------------------------

chances = st.floats(0.0, 1.0)
days = st.integers(1, 8)


@st.composite
def problems(draw):
    count = draw(days)
    expected = draw(st.lists(chances, min_size=count, max_size=count))
    worth = draw(st.lists(st.floats(0.0, 1.0), min_size=count + 1, max_size=count + 1))
    nu = draw(st.lists(st.floats(0.5, 100.0), min_size=count, max_size=count))
    return np.array(expected), np.array(worth), np.array(nu)


@given(problems(), st.integers(0, 7), st.floats(0.0, 0.5))
@settings(max_examples=150, deadline=None)
def test_a_better_day_never_makes_waiting_worth_less(problem, at, more):
    expected, worth, nu = problem
    at %= len(expected)
    better = expected.copy()
    better[at] = min(better[at] + more, 1.0)
    first, second = go_or_wait(0.0, expected, worth, nu), go_or_wait(0.0, better, worth, nu)
    # with a fixed mean the values of q can only move up in the sense of stochastic order of their mean; the
    # expectation of a maximum of q and a constant is increasing in p for a Beta of constant nu
    assert second.wait >= first.wait - 1e-9


@given(problems())
@settings(max_examples=150, deadline=None)
def test_waiting_is_worth_at_least_the_best_single_day_and_at_most_the_best_gain(problem):
    expected, worth, nu = problem
    found = go_or_wait(0.0, expected, worth, nu)
    assert found.wait >= (worth[1:] * expected).max() - 1e-9
    assert found.wait <= worth[1:].max() + 1e-12
    assert 0.0 <= found.good_window <= 1.0
    # the value of having waited never rises as days go by
    assert (np.diff(found.values[1:]) <= 1e-12).all()


@given(problems(), chances)
@settings(max_examples=100, deadline=None)
def test_one_more_day_never_makes_waiting_worth_less(problem, p):
    expected, worth, nu = problem
    longer = go_or_wait(0.0, np.r_[expected, p], np.r_[worth, 1.0], np.r_[nu, 2.0])
    assert longer.wait >= go_or_wait(0.0, expected, worth, nu).wait - 1e-12


@given(problems())
@settings(max_examples=60, deadline=None)
def test_a_less_firm_day_is_worth_waiting_for_at_least_as_much(problem):
    expected, worth, nu = problem
    assert go_or_wait(0.0, expected, worth, nu / 2.0).wait >= go_or_wait(0.0, expected, worth, nu).wait - 1e-9


# edges ---------------------------------------------------------------------------------------------------------


def test_no_day_left():
    found = go_or_wait(0.7, np.array([]), np.array([1.0]), np.array([]))
    assert (found.go, found.wait, found.good_window, found.advice) == (0.7, 0.0, 0.0, "go")


def test_what_is_not_known_counts_as_no_chance():
    some = go_or_wait(0.0, np.array([0.4, np.nan]), np.ones(3), np.array([5.0, 5.0]))
    assert some.wait == go_or_wait(0.0, np.array([0.4, 0.0]), np.ones(3), np.array([5.0, 5.0])).wait


def test_a_day_that_is_no_go_is_never_advised():
    for expected in (np.array([]), np.array([0.0]), np.array([0.4])):
        found = go_or_wait(0.0, expected, np.ones(len(expected) + 1), np.full(len(expected), 5.0))
        assert (found.go, found.advice) == (0.0, "wait")


def test_firmness_falls_with_the_lead_to_its_least():
    found = firmness(np.arange(1, 15))
    assert found[0] == 40.0 and found[1] == pytest.approx(40.0 * 2 / 3)
    assert (np.diff(found) <= 0.0).all() and found[-1] == 2.0
