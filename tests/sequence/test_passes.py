"""Where a sequence stands, from the ledger and the choices alone. Our own behaviour, no outside source."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from demo_lawn import NOW, choice, lawn, record, task

from advisor.sequence import (
    active_plan,
    follow_up_span,
    is_overdue,
    next_tasks,
    passes_done,
    progress,
    room_left,
)

DAY = timedelta(days=1)


def front(household, records, now=NOW, plans=()):
    return next((one for one in next_tasks(household, records, now, plans) if one.area.id == "front"), None)


def test_the_first_pass_comes_first_and_the_last_ends_it():
    household = lawn()
    assert front(household, []).pass_number == 1
    once = [record(NOW - 30 * DAY)]
    assert front(household, once).pass_number == 2
    twice = [*once, record(NOW - 10 * DAY)]
    assert front(household, twice) is None


def test_records_of_other_areas_treatments_and_times_do_not_count():
    household = lawn()
    others = [
        record(NOW - 30 * DAY, area="back"),
        record(NOW - 30 * DAY, treatment="another"),
        record(NOW + 3 * DAY),
    ]
    assert front(household, others).pass_number == 1


@pytest.mark.parametrize(
    ("last", "now", "number"),
    [
        # the same label year, however long ago
        (datetime(2026, 1, 5, tzinfo=UTC), datetime(2026, 12, 20, tzinfo=UTC), 2),
        # over the turn of the year a chain goes on for 120 days
        (datetime(2026, 12, 10, tzinfo=UTC), datetime(2027, 1, 5, tzinfo=UTC), 2),
        (datetime(2026, 9, 10, tzinfo=UTC), datetime(2027, 1, 5, tzinfo=UTC), 2),
        (datetime(2026, 9, 1, tzinfo=UTC), datetime(2027, 1, 5, tzinfo=UTC), 1),
    ],
)
def test_a_sequence_ends_with_its_label_year_unless_it_is_still_going_on(last, now, number):
    assert front(lawn(), [record(last)], now).pass_number == number


def test_a_complete_sequence_is_not_begun_again_by_the_turn_of_the_year():
    done = [record(datetime(2026, 11, 1, tzinfo=UTC)), record(datetime(2026, 11, 20, tzinfo=UTC))]
    assert front(lawn(), done, datetime(2027, 1, 2, tzinfo=UTC)) is None
    assert front(lawn(), done, datetime(2027, 4, 2, tzinfo=UTC)).pass_number == 1


def test_a_follow_up_is_wanted_after_two_to_three_weeks_and_never_before_the_labels_interval():
    first = record(NOW - 5 * DAY)
    begins, ends = follow_up_span(task(lawn(), number=2, done=[first]))
    assert (begins - first.ended_at, ends - first.ended_at) == (14 * DAY, 21 * DAY)
    strict = lawn(limits={"minimum_interval": 28 * 24.0})
    begins, ends = follow_up_span(task(strict, number=2, done=[first]))
    assert begins - first.ended_at == ends - first.ended_at == 28 * DAY


def test_overdue_from_the_second_after_the_span():
    follow_up = task(lawn(), number=2, done=[record(NOW - 30 * DAY)])
    last = follow_up_span(follow_up)[1]
    assert not is_overdue(follow_up, last)
    assert is_overdue(follow_up, last + timedelta(seconds=1))
    assert not is_overdue(task(lawn()), NOW)


def test_a_day_that_was_chosen_takes_the_place_of_the_span_until_it_is_over():
    plans = [choice("pass-on", date(2026, 9, 25), NOW)]
    found = front(lawn(), [record(NOW - 30 * DAY)], NOW, plans)
    assert progress(found, NOW) == "planned for Fri 25 Sep"
    assert not is_overdue(found, NOW)
    # local midnight at the end of that day is 05:00 UTC
    after = datetime(2026, 9, 26, 5, 0, 1, tzinfo=UTC)
    found = front(lawn(), [record(NOW - 30 * DAY)], after, plans)
    assert is_overdue(found, after)
    assert progress(found, after) == "planned for Fri 25 Sep, which is over"


def test_a_pass_uses_a_choice_up():
    plans = [choice("pass-on", date(2026, 9, 25), NOW)]
    done = [record(NOW - 30 * DAY), record(NOW + 4 * DAY)]
    household = lawn(treatment={"passes": 3})
    treatment, area = household.treatments["broadleaf-autumn"], household.areas["front"]
    assert active_plan(treatment, area, done, plans, NOW + 3 * DAY) is not None
    assert active_plan(treatment, area, done, plans, NOW + 5 * DAY) is None
    assert front(household, done, NOW + 5 * DAY, plans).plan is None


def test_the_newest_choice_counts():
    plans = [choice("pass-on", date(2026, 9, 25), NOW), choice("pass-on", date(2026, 9, 26), NOW)]
    assert front(lawn(), [], NOW, plans).plan.day == date(2026, 9, 26)


def test_beginning_again_resets_the_number_of_the_pass_and_nothing_else():
    first = record(NOW - 5 * DAY)
    household = lawn()
    plans = [choice("restart", date(2026, 9, 30), NOW)]
    again = front(household, [first], NOW, plans)
    assert (again.pass_number, again.done) == (1, ())
    room = room_left(again, [first], NOW)
    # one of the label's two passes is gone, and its interval runs from the pass that was made
    assert (room.passes, room.more_passes) == (1, 1.0)
    assert room.legal_from == first.ended_at + 14 * DAY
    later = record(NOW + 10 * DAY)
    done = passes_done(household, again.treatment, again.area, [first, later], NOW + 11 * DAY, plans)
    assert done == (later,)


def test_what_is_left_comes_back_on_its_day_as_a_first_pass():
    first = record(NOW - 30 * DAY)
    plans = [choice("leave", date(2026, 10, 20), NOW)]
    assert front(lawn(), [first], NOW, plans) is None
    assert front(lawn(), [first], datetime(2026, 10, 20, 4, tzinfo=UTC), plans) is None  # 19 October there
    back = front(lawn(), [first], datetime(2026, 10, 20, 6, tzinfo=UTC), plans)
    assert (back.pass_number, back.plan) == (1, None)
    # the pass after that is the second of the new sequence, not the third
    again = record(datetime(2026, 10, 21, 20, tzinfo=UTC))
    later = datetime(2026, 10, 25, tzinfo=UTC)
    assert front(lawn(), [first, again], later, plans).pass_number == 2


def test_the_other_area_keeps_its_own_plan():
    plans = [choice("leave", date(2027, 3, 1), NOW)]
    areas = {one.area.id for one in next_tasks(lawn(), [], NOW, plans)}
    assert areas == {"back"}
