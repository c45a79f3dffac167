"""Mowing and seeding around a pass, hour by hour. Our own behaviour, no outside source."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest
from demo_lawn import NOW, lawn, task

from advisor.clock import to_numpy
from advisor.lawn_work import (
    mowings_since_seeding,
    newly_seeded,
    seeding_open,
    time_since_mowing,
    time_to_mowing,
    time_to_seeding,
)
from advisor.task_table import build

#: from noon UTC, 07:00 there, on Monday 21 September, eight days on
AXIS = np.datetime64("2026-09-21T12", "h") + np.arange(8 * 24) * np.timedelta64(1, "h")


def at(*when) -> int:
    return int((to_numpy(datetime(*when, tzinfo=UTC), "h") - AXIS[0]).astype(int))


def table(**front):
    return build([task(lawn(front=front))], [], NOW)


def test_the_day_of_a_mowing_counts_whole():
    found = time_since_mowing(AXIS, *[getattr(table(), name) for name in ("instants", "label")])
    # mowed on 18 September: its day ends at 05:00 UTC on the 19th
    assert found[0, 0, at(2026, 9, 21, 12)] == 55.0


def test_a_mowing_that_is_planned_counts_once_it_is_over():
    given = table(next_mowing=date(2026, 9, 23))
    since = time_since_mowing(AXIS, given.instants, given.label)[0, 0]
    to = time_to_mowing(AXIS, given.instants, given.duration)[0, 0]
    before, during, after = at(2026, 9, 22, 17), at(2026, 9, 23, 17), at(2026, 9, 25, 17)
    assert since[before] == 84.0 and since[during] == 0.0 and since[after] == 36.0
    # 12 hours from noon to midnight, less the work
    assert to[before] == pytest.approx(12.0 - given.duration[0])
    assert to[during] < 0.0 and to[after] == np.inf


def test_without_a_word_on_mowing_the_next_two_days_are_open_and_the_rest_is_known():
    given = table(last_mowed=None)
    since = time_since_mowing(AXIS, given.instants, given.label)[0, 0]
    assert np.isnan(since[:48]).all()
    assert (since[48:] >= 48.0).all()
    assert (time_to_mowing(AXIS, given.instants, given.duration) == np.inf).all()
    assert given.notes["time_since_mowing", 0].endswith("write last_mowed")


def test_a_label_that_wants_longer_leaves_longer_open():
    given = build([task(lawn(front={"last_mowed": None}, limits={"mowing_before": 96.0}))], [], NOW)
    since = time_since_mowing(AXIS, given.instants, given.label)[0, 0]
    assert np.isnan(since[:96]).all() and (since[96:] >= 96.0).all()


def test_time_to_seeding():
    given = table(seeding_planned=date(2026, 10, 21))
    left = time_to_seeding(AXIS, given.instants, given.duration)[0, 0]
    # midnight there on 21 October is 05:00 UTC: 29 days and 17 hours, less the work
    assert left[0] == pytest.approx(29 * 24 + 17 - given.duration[0], abs=1e-3)
    assert (np.diff(left) == -1.0).all()
    assert (time_to_seeding(AXIS, table().instants, given.duration) == np.inf).all()


def test_a_seeding_that_should_have_been_done_is_a_question():
    given = table(seeding_planned=date(2026, 9, 10))
    assert np.isnan(time_to_seeding(AXIS, given.instants, given.duration)).all()
    assert given.facts["area.seeding_planned"] == ["yes"]
    answered = table(seeding_planned=date(2026, 9, 10), seeded_on=date(2026, 9, 12))
    assert answered.facts["area.seeding_planned"] == ["no"]
    assert answered.facts["area.newly_seeded"] == ["yes"]


def test_new_grass():
    household = lawn(front={"seeded_on": date(2026, 9, 1), "mowings_since_seeding": 2})
    front, today = household.areas["front"], date(2026, 9, 21)
    assert newly_seeded(front, today) and mowings_since_seeding(front, today) == 2.0
    assert mowings_since_seeding(household.areas["back"], today) == np.inf
    assert not newly_seeded(front, date(2027, 9, 2))
    assert np.isnan(mowings_since_seeding(lawn(front={"seeded_on": today}).areas["front"], today))
    assert not seeding_open(household.areas["back"], today)
