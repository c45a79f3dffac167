"""What became of the weeds, and what follows. Formulas: Abbott (1925), Henderson and Tilton (1955), from memory; their
expected values are worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.review.advice import NONE, NOT_ALLOWED, PULL, SPOT, TOO_EARLY, WHOLE, advise
from advisor.review.pass_made import task_of
from advisor.review.response import (
    ABBOTT,
    CHANGE,
    HENDERSON_TILTON,
    Look,
    change_in_cover,
    control_abbott,
    control_henderson_tilton,
    responses,
    timetable,
)
from advisor.season import SeasonUse
from tests.review.weather import START, a_pass, household, review

END = START + timedelta(hours=1)
covers = st.floats(0.5, 100.0)


@pytest.mark.parametrize(
    ("treated", "untreated", "expected"), [(20.0, 80.0, 75.0), (0.0, 40.0, 100.0), (50.0, 40.0, -25.0)]
)
def test_abbott_by_hand(treated, untreated, expected):
    assert control_abbott(treated, untreated) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("tb", "ta", "cb", "ca", "expected"),
    [(30.0, 6.0, 30.0, 40.0, 85.0), (40.0, 10.0, 20.0, 20.0, 75.0), (20.0, 20.0, 20.0, 20.0, 0.0)],
)
def test_henderson_and_tilton_by_hand(tb, ta, cb, ca, expected):
    assert control_henderson_tilton(tb, ta, cb, ca) == pytest.approx(expected, abs=1e-9)


@settings(deadline=None)
@given(before=covers, after=covers, strip=covers)
def test_the_formulas_agree_where_they_must(before, after, strip):
    # an unchanged strip makes Henderson-Tilton the change in cover; equal beginnings make it Abbott's
    same_strip = control_henderson_tilton(before, after, strip, strip)
    assert same_strip == pytest.approx(float(change_in_cover(before, after)), rel=1e-9, abs=1e-9)
    same_start = control_henderson_tilton(before, after, before, strip)
    assert same_start == pytest.approx(float(control_abbott(after, strip)), rel=1e-9, abs=1e-9)


@pytest.mark.parametrize("bad", [np.nan, -1.0])
def test_what_is_missing_or_impossible_gives_nothing(bad):
    for place in range(2):
        arguments = [10.0, 20.0]
        arguments[place] = bad
        assert np.isnan(control_abbott(*arguments)) and np.isnan(change_in_cover(*arguments))
    for place in range(4):
        arguments = [10.0, 5.0, 10.0, 12.0]
        arguments[place] = bad
        assert np.isnan(control_henderson_tilton(*arguments))
    assert np.isnan(control_abbott(0.0, 0.0)) and np.isnan(change_in_cover(0.0, 0.0))
    assert np.isnan(control_henderson_tilton(0.0, 0.0, 10.0, 10.0))
    assert np.isnan(control_henderson_tilton(10.0, 5.0, 10.0, 0.0))


def test_the_labels_time_to_effect_decides_when_to_judge():
    day = 24.0
    assert timetable(END, 28 * day).judge_from == END + timedelta(days=28)
    assert timetable(END, 3 * day).judge_from == END + timedelta(days=14)  # never sooner than two weeks
    blank = timetable(END, None)
    assert blank.judge_from == END + timedelta(days=21) and not blank.stated
    assert blank.first_look == END + timedelta(days=7)


def looks(*rows):
    return [Look(START + timedelta(days=days), cover, strip) for days, cover, strip in rows]


def test_the_strip_decides_which_formula():
    times = timetable(END, None)
    both = responses(looks((-1, 30.0, 30.0), (22, 6.0, 40.0)), START, END, times)
    assert [(one.method, round(one.percent)) for one in both] == [(HENDERSON_TILTON, 85)]
    after_only = responses(looks((-1, 30.0, None), (22, 6.0, 40.0)), START, END, times)
    assert [(one.method, round(one.percent)) for one in after_only] == [(ABBOTT, 85)]
    none = responses(looks((-1, 30.0, None), (22, 6.0, None)), START, END, times)
    assert [(one.method, round(one.percent)) for one in none] == [(CHANGE, 80)]
    nothing_before = responses(looks((22, 6.0, None)), START, END, times)
    assert nothing_before[0].percent is None


def test_a_look_after_a_week_is_shown_and_not_judged():
    found = responses(
        looks((-1, 30.0, None), (7.5, 20.0, None), (22, 3.0, None)), START, END, timetable(END, None)
    )
    assert [one.judged for one in found] == [False, True]


def test_the_last_look_before_the_pass_is_the_beginning():
    found = responses(
        looks((-60, 5.0, None), (-2, 40.0, None), (22, 10.0, None)), START, END, timetable(END, None)
    )
    assert found[0].before.cover == 40.0 and found[0].percent == pytest.approx(75.0)


# -- what follows


ONE_PASS = SeasonUse(0.45, 1)


def advice(cover=None, days=22, season=ONE_PASS, changes=(), limits=None, now_days=25):
    home = household()
    label = home.labels["concentrate"]
    kept = {name: value for name, value in {**label.limits, **(limits or {})}.items() if value is not None}
    home = replace(home, labels={label.id: replace(label, limits=kept)})
    record, now = a_pass(), START + timedelta(days=now_days)
    task = task_of(home, record, ())
    weather = review(changes, home=home)
    times = timetable(END, kept.get("weeks_to_effect"))
    found = responses(
        [] if cover is None else looks((-1, 30.0, None), (days, cover, None)), START, END, times
    )
    return advise(task, record, weather, found, times, season, now)


@pytest.mark.parametrize(
    ("cover", "proposal"),
    [(0.0, NONE), (0.8, PULL), (1.0, PULL), (1.1, SPOT), (10.0, SPOT), (10.1, WHOLE), (60.0, WHOLE)],
)
def test_a_follow_up_only_where_it_is_needed_and_in_spots_where_little_is_left(cover, proposal):
    assert advice(cover).proposal == proposal


def test_nothing_is_decided_before_its_time():
    assert advice(20.0, days=10, now_days=12).proposal == TOO_EARLY
    assert advice(None, now_days=12).proposal == TOO_EARLY
    late = advice(None)
    assert late.proposal == TOO_EARLY and any("enter their cover" in reason for reason in late.reasons)


def test_a_washed_off_pass_is_never_repeated_inside_the_interval():
    found = advice(40.0, changes=[("precipitation", 2, 3, 12.0)])
    assert found.proposal == WHOLE
    assert found.not_before == END + timedelta(days=14) and found.wanted_from >= found.not_before
    assert any("still counts" in reason for reason in found.reasons)
    assert any("before it was rainfast" in reason for reason in found.reasons)


def test_the_label_forbids_what_the_weeds_would_need():
    assert advice(40.0, season=SeasonUse(0.9, 2)).proposal == NOT_ALLOWED
    used_up = advice(40.0, season=SeasonUse(0.955, 1), limits={"maximum_passes_per_year": None})
    assert used_up.proposal == NOT_ALLOWED and any("used up" in reason for reason in used_up.reasons)
    blank = advice(40.0, limits={"minimum_interval": None})
    assert blank.proposal == NOT_ALLOWED and blank.not_before is None and blank.wanted_from is None


@settings(deadline=None)
@given(interval=st.floats(24.0, 24 * 60), cover=st.floats(0.0, 100.0))
def test_no_advice_ever_names_a_day_inside_the_interval(interval, cover):
    found = _cached_advice(interval, cover)
    assert found.not_before == END + timedelta(hours=interval)
    for moment in (found.wanted_from, found.wanted_until):
        assert moment is None or moment >= found.not_before


def _cached_advice(interval, cover):
    home = household()
    label = home.labels["concentrate"]
    label = replace(label, limits={**label.limits, "minimum_interval": interval})
    home = replace(home, labels={label.id: label})
    record = a_pass()
    times = timetable(END, None)
    found = responses(looks((-1, 30.0, None), (22, cover, None)), START, END, times)
    return advise(
        task_of(home, record, ()),
        record,
        WEATHER,
        found,
        times,
        SeasonUse(0.4, 1),
        START + timedelta(days=30),
    )


WEATHER = review()
