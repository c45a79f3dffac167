"""Scores beyond their printed examples: binned Brier parts, missing pairs, ensembles, t forecasts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.verification.brier import brier_score, murphy_decomposition, reliability_table
from advisor.verification.cost_loss import chance_floor, relative_value, should_protect
from advisor.verification.crps import crps_ensemble, crps_gaussian, crps_student_t
from advisor.verification.distributions import normal_cdf, normal_pdf, student_t_cdf, student_t_pdf

pairs = st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=40)


@given(pairs=pairs)
def test_the_parts_add_up_with_and_without_bins(pairs):
    # Murphy (1973); with bins Stephenson et al. (2008): BS = REL - RES + UNC + (WBV - WBC).
    p, happened = np.array([a for a, _ in pairs]), np.array([b for _, b in pairs])
    for edges in (None, [0, 1], [0, 0.2, 0.5, 1], np.linspace(0, 1, 11)):
        parts = murphy_decomposition(p, happened, edges)
        total = parts.reliability - parts.resolution + parts.uncertainty + parts.within_bins
        assert parts.score == pytest.approx(total, abs=1e-12)
        assert parts.score == pytest.approx(float(np.mean((p - happened) ** 2)), abs=1e-12)
        assert parts.reliability >= 0 and -1e-12 <= parts.resolution <= parts.uncertainty + 1e-12


def test_skill_is_unknown_where_the_event_never_varied():
    assert np.isnan(murphy_decomposition([0.1, 0.2], [0, 0]).skill)


@pytest.mark.parametrize(
    "p, happened",
    [
        ([0.1, np.nan], [0, 1]),
        ([0.1, 1.2], [0, 1]),
        ([0.1, -0.1], [0, 1]),
        ([10.0, 20.0], [0, 1]),  # percent
        ([0.1, 0.2], [0, np.nan]),
        ([0.1, 0.2], [0, 0.5]),
    ],
)
def test_a_missing_or_impossible_pair_makes_the_score_unknown(p, happened):
    assert np.isnan(brier_score(p, happened))
    assert np.isnan(murphy_decomposition(p, happened)).all()
    assert np.isnan(murphy_decomposition(p, happened, [0, 0.5, 1])).all()


def test_scores_along_an_axis():
    p, happened = np.array([[0.0, 0.5], [1.0, 0.5]]), np.array([[False, True], [True, False]])
    assert brier_score(p, happened, axis=1).tolist() == [0.125, 0.125]
    with pytest.raises(ValueError, match="at least one"):
        brier_score([], [])


def test_the_reliability_table_counts_each_pair_once_and_missing_ones_never():
    table = reliability_table([0.0, 0.19, 0.2, 0.5, 1.0, np.nan], [0, 1, 0, 1, 1, 1], [0, 0.2, 0.5, 0.8, 1])
    assert table.count.tolist() == [2, 1, 1, 1]
    assert table.forecast == pytest.approx([0.095, 0.2, 0.5, 1.0])
    assert table.observed == pytest.approx([0.5, 0.0, 1.0, 1.0])
    empty = reliability_table([0.1], [1], [0, 0.5, 1])
    assert empty.count.tolist() == [1, 0] and np.isnan(empty.forecast[1]) and np.isnan(empty.observed[1])
    for edges in ([0.1, 1], [0, 0.9], [0, 0.5, 0.5, 1], [0], [1, 0]):
        with pytest.raises(ValueError, match="increase from 0 to 1"):
            reliability_table([0.1], [1], edges)


def test_an_ensemble_scores_one_member_by_its_error_and_many_like_the_normal():
    # Gneiting and Raftery (2007): many draws from N(0, 1) tend to the closed form.
    assert crps_ensemble([[3.0]], [5.0]) == pytest.approx([2.0])
    quantiles = np.sort(np.random.default_rng(1).normal(size=200_000))
    assert crps_ensemble(quantiles, 1.0) == pytest.approx(0.602441, abs=0.005)


def test_members_may_stand_on_any_axis_in_any_order():
    random = np.random.default_rng(4)
    members, truth = random.normal(size=(3, 21, 5)), random.normal(size=(3, 5))
    along = crps_ensemble(members, truth, axis=1)
    assert along == pytest.approx(crps_ensemble(np.moveaxis(members, 1, -1)[..., ::-1], truth))


def test_the_fair_score_does_not_depend_on_the_size():
    # Ferro (2014): the mean of the fair score over small ensembles is that of a large one; plain scores are
    # worse.
    random = np.random.default_rng(6)
    members, truth = random.normal(size=(40_000, 5)), random.normal(size=40_000)
    expected = 1 / np.sqrt(np.pi)  # mean CRPS of the right normal forecast, from memory
    assert crps_ensemble(members, truth, fair=True).mean() == pytest.approx(expected, abs=0.01)
    assert crps_ensemble(members, truth).mean() > expected + 0.05


def test_missing_members_make_the_score_unknown():
    members = np.array([[1.0, 2.0, np.nan], [1.0, 2.0, 3.0]])
    assert np.isnan(crps_ensemble(members, [1.0, np.nan])).all()
    with pytest.raises(ValueError, match="member axis"):
        crps_ensemble(1.0, 2.0)


def test_no_spread_scores_the_error_and_a_negative_one_nothing():
    assert crps_gaussian(3.0, 0.0, 5.0) == 2
    assert crps_student_t(3.0, 0.0, 5.0, 5.0) == 2
    assert np.isnan(crps_gaussian(3.0, -1.0, 5.0))
    assert np.isnan(crps_student_t(3.0, -1.0, 5.0, 5.0))
    assert np.isnan(crps_student_t(3.0, 1.0, [1.0, 0.0, -2.0], 5.0)).all()


def test_a_t_forecast_becomes_a_normal_one():
    assert crps_student_t(1.0, 2.0, 1e5, 4.0) == pytest.approx(float(crps_gaussian(1.0, 2.0, 4.0)), rel=1e-4)


@settings(max_examples=40)
@given(mean=st.floats(-30, 30), spread=st.floats(0.01, 10), truth=st.floats(-30, 30), unit=st.floats(0.1, 10))
def test_scores_are_positive_move_with_the_quantity_and_scale_with_its_unit(mean, spread, truth, unit):
    for score, arguments in ((crps_gaussian, ()), (crps_student_t, (6.0,))):
        value = score(mean, spread, *arguments, truth)
        assert 0 < value <= abs(truth - mean) + 2 * spread
        moved = score(mean + 5, spread, *arguments, truth + 5)
        scaled = score(mean * unit, spread * unit, *arguments, truth * unit)
        assert moved == pytest.approx(float(value), rel=1e-6, abs=1e-9)
        assert scaled == pytest.approx(float(value) * unit, rel=1e-6, abs=1e-9)


def test_distributions_at_their_ends_and_where_they_are_unknown():
    assert normal_cdf([-np.inf, -40.0, 0.0, 40.0, np.inf]).tolist() == [0, 0, 0.5, 1, 1]
    assert np.isnan(normal_cdf(np.nan)) and np.isnan(normal_pdf(np.nan))
    assert student_t_cdf([-np.inf, 0.0, np.inf], 4.0).tolist() == [0, 0.5, 1]
    assert np.isnan(student_t_cdf(1.0, [0.0, -1.0, np.nan])).all() and np.isnan(student_t_cdf(np.nan, 4.0))
    assert np.isnan(student_t_pdf(1.0, [0.0, -1.0, np.nan])).all()
    # Cauchy: 1/2 + atan(t)/pi; two degrees: 1/2 + t / (2 sqrt(2 + t^2)), elementary closed forms.
    t = np.linspace(-8, 8, 33)
    assert student_t_cdf(t, 1.0) == pytest.approx(0.5 + np.arctan(t) / np.pi, abs=1e-13)
    assert student_t_cdf(t, 2.0) == pytest.approx(0.5 + t / (2 * np.sqrt(2 + t * t)), abs=1e-13)


def test_value_is_greatest_where_the_climate_helps_least():
    # Richardson (2000): the maximum is H - F, at C/L = base rate.
    ratios = np.linspace(0.01, 0.99, 99)
    value = relative_value(0.8, 0.2, 0.3, ratios)
    assert ratios[np.argmax(value)] == pytest.approx(0.3) and value.max() == pytest.approx(0.6)
    assert relative_value(1.0, 0.0, 0.3, ratios) == pytest.approx(np.ones(99))


def test_impossible_costs_are_unknown():
    assert np.isnan(relative_value(0.8, 0.2, [0.0, 1.0, 0.3, 0.3], [0.3, 0.3, 0.0, 1.0])).all()
    assert np.isnan(relative_value([1.1, -0.1, 0.8, 0.8], [0.2, 0.2, -0.1, 1.1], 0.3, 0.3)).all()
    assert np.isnan(
        should_protect([np.nan, 1.2, 0.5, 0.5], [1.0, 1.0, -1.0, 1.0], [4.0, 4.0, 4.0, 0.0])
    ).all()
    assert np.isnan(chance_floor([-1.0, 1.0, np.nan], [4.0, 0.0, 4.0])).all()
    assert chance_floor([0.0, 1.0, 4.0, 9.0], 4.0).tolist() == [1, 0.75, 0, 0]


@given(p=st.floats(0, 1), cost=st.floats(0.01, 10), loss=st.floats(0.01, 10))
def test_protecting_is_chosen_exactly_where_it_is_cheaper_on_average(p, cost, loss):
    # Murphy (1977): the expense of protecting is C, of not protecting p L.
    assert should_protect(p, cost, loss) == float(p * loss > cost)
