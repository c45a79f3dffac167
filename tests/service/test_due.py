"""What is owed, at any instant, whatever has happened before.

Changes of the clocks: IANA time zone database, as zoneinfo reads it; the instants of the changes of 2026 are
written out.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from advisor.errors import UsageError
from advisor.service.due import (
    HEARTBEAT,
    Schedule,
    changed_mark,
    due,
    notice_mark,
    pull_key,
    pull_mark,
)
from advisor.store.marks import Mark

FIVE_MINUTES = timedelta(minutes=5)
ZONES = [
    "America/Chicago",
    "America/Santiago",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "UTC",
    "Africa/Cairo",
]


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


class Life:
    """A service that does everything it owes; keeps what was sent and what was marked missed."""

    def __init__(self, schedule, pull_ok=lambda now: True):
        self.schedule, self.pull_ok = schedule, pull_ok
        self.marks, self.sent, self.missed, self.pulls, self.looks = {}, [], [], [], []

    def beat(self, now):
        for work in due(now, self.schedule, self.marks):
            if work.kind == "pull":
                ok = self.pull_ok(now)
                self.pulls.append((now, ok))
                mark = pull_mark(now, self.schedule, self.marks.get(work.key), ok)
            elif work.kind == "changed":
                self.looks.append(now)
                mark = changed_mark(now, self.marks.get(pull_key(self.schedule)))
            else:
                (self.missed if work.missed else self.sent).append((work.local_date, work.kind, now))
                mark = notice_mark(now, work)
            self.marks[work.key] = mark
        self.marks[HEARTBEAT] = Mark(now)

    def run(self, start, end, step=FIVE_MINUTES):
        while start < end:
            self.beat(start)
            start += step
        return self

    def kinds(self):
        return [(day.isoformat(), kind) for day, kind, _ in self.sent]


def first_instant(day, at, zone):
    """The first instant at which the local clock shows `at` on `day`, or has just skipped it: by looking at
    minutes.

    Written without the code under test.
    """
    wall = datetime.combine(day, at)
    moment = datetime.combine(day, at, tzinfo=UTC) - timedelta(hours=15)
    found = []
    for offset in {(moment + timedelta(hours=hours)).astimezone(zone).utcoffset() for hours in range(0, 36)}:
        candidate = wall.replace(tzinfo=UTC) - offset
        if candidate.astimezone(zone).replace(tzinfo=None) == wall:
            found.append(candidate)
    if found:
        return min(found)
    while moment.astimezone(zone).replace(tzinfo=None) < wall:
        moment += timedelta(minutes=1)
    return moment


# -- one notice, its grace, and the day after


def test_a_notice_is_owed_from_its_time_to_the_end_of_its_grace(schedule, now):
    owed = [
        minutes
        for minutes in range(-60, 360)
        if any(
            work.kind == "evening"
            for work in due(utc("2026-09-20T23:30") + timedelta(minutes=minutes), schedule, {})
        )
    ]
    assert (owed[0], owed[-1]) == (0, 240)
    assert owed == list(range(0, 241))


def test_the_work_says_what_for_when_and_how_long(schedule, now):
    (work,) = [one for one in due(now, schedule, {}) if one.kind == "evening"]
    assert work.local_date == date(2026, 9, 20)
    assert work.planned_at == utc("2026-09-20T23:30")
    assert work.good_until == utc("2026-09-21T03:30")
    assert not work.missed


def test_an_ordinary_week_has_one_of_each_a_day(schedule):
    life = Life(schedule).run(utc("2026-09-14T05:00"), utc("2026-09-21T05:00"))
    days = [f"2026-09-{day}" for day in range(14, 21)]
    assert life.kinds() == [(day, kind) for day in days for kind in ("morning", "evening")]
    assert life.missed == []


def test_sleeping_through_a_notice_sends_it_late_within_the_grace(schedule):
    life = Life(schedule).run(utc("2026-09-20T20:00"), utc("2026-09-20T22:00"))
    life.run(utc("2026-09-21T02:00"), utc("2026-09-21T03:00"))
    assert life.sent == [(date(2026, 9, 20), "evening", utc("2026-09-21T02:00"))]


def test_sleeping_through_its_grace_drops_it_with_a_mark_and_never_sends_it_the_next_day(schedule):
    life = Life(schedule).run(utc("2026-09-20T20:00"), utc("2026-09-20T22:00"))
    life.run(utc("2026-09-21T03:35"), utc("2026-09-23T12:00"))
    assert life.missed == [(date(2026, 9, 20), "evening", utc("2026-09-21T03:35"))]
    assert ("2026-09-20", "evening") not in life.kinds()
    assert life.kinds()[0] == ("2026-09-21", "morning")


def test_a_week_of_sleep_marks_each_notice_missed_once(schedule):
    life = Life(schedule).run(utc("2026-09-13T12:00"), utc("2026-09-13T18:00"))
    life.run(utc("2026-09-20T18:00"), utc("2026-09-20T19:00"))
    assert len(life.missed) == len({entry[:2] for entry in life.missed}) == 14
    assert life.sent == [(date(2026, 9, 13), "morning", utc("2026-09-13T12:00"))]


def test_a_year_of_sleep_is_looked_back_on_for_a_month(schedule):
    life = Life(schedule)
    life.beat(utc("2025-09-20T12:00"))
    life.beat(utc("2026-09-20T18:00"))
    assert 60 <= len(life.missed) <= 64


def test_before_the_first_start_nothing_was_missed(schedule):
    assert [work for work in due(utc("2026-09-20T18:00"), schedule, {}) if work.missed] == []


# -- a clock that is set


def test_a_clock_set_back_sends_nothing_again(schedule):
    life = Life(schedule).run(utc("2026-09-20T05:00"), utc("2026-09-21T05:00"))
    sent = list(life.sent)
    for back in (timedelta(minutes=30), timedelta(hours=6), timedelta(hours=20)):
        life.run(utc("2026-09-21T05:00") - back, utc("2026-09-21T05:00"))
    assert life.sent == sent


def test_a_clock_that_ran_three_days_ahead_loses_no_notice_of_those_days(schedule):
    life = Life(schedule).run(utc("2026-09-20T05:00"), utc("2026-09-20T12:00"))
    life.run(utc("2026-09-23T18:00"), utc("2026-09-23T19:00"))  # set forward by mistake
    assert len(life.missed) == 6
    life.run(utc("2026-09-20T12:00"), utc("2026-09-24T05:00"))  # set right again
    days = [(f"2026-09-{day}", kind) for day in range(20, 24) for kind in ("morning", "evening")]
    assert sorted(life.kinds()) == sorted(days)


def test_a_clock_that_ran_years_ahead_does_not_stop_the_pulls(schedule):
    life = Life(schedule)
    life.beat(utc("2030-01-01T00:00"))
    life.run(utc("2026-09-20T00:00"), utc("2026-09-21T00:00"))
    assert len(life.pulls) == 1 + 9  # the first at once, then one a period


# -- nights on which the clocks change (IANA time zone database)


@pytest.mark.parametrize(
    ("zone", "day", "at", "instant"),
    [
        # Chicago, 8 March 2026: 02:00 CST = 08:00 UTC becomes 03:00 CDT
        ("America/Chicago", "2026-03-08", time(1, 59), "2026-03-08T07:59"),
        ("America/Chicago", "2026-03-08", time(2, 0), "2026-03-08T08:00"),
        ("America/Chicago", "2026-03-08", time(2, 30), "2026-03-08T08:00"),
        ("America/Chicago", "2026-03-08", time(3, 0), "2026-03-08T08:00"),
        ("America/Chicago", "2026-03-08", time(6, 0), "2026-03-08T11:00"),
        # Chicago, 1 November 2026: 02:00 CDT = 07:00 UTC becomes 01:00 CST
        ("America/Chicago", "2026-11-01", time(1, 30), "2026-11-01T06:30"),
        ("America/Chicago", "2026-11-01", time(2, 0), "2026-11-01T08:00"),
        ("America/Chicago", "2026-11-01", time(6, 0), "2026-11-01T12:00"),
        # Santiago, 6 September 2026: 00:00 (-04) = 04:00 UTC becomes 01:00 (-03): the day has no midnight
        ("America/Santiago", "2026-09-06", time(0, 0), "2026-09-06T04:00"),
        ("America/Santiago", "2026-09-06", time(0, 15), "2026-09-06T04:00"),
        ("America/Santiago", "2026-09-06", time(1, 0), "2026-09-06T04:00"),
        ("America/Santiago", "2026-09-05", time(23, 45), "2026-09-06T03:45"),
        # Santiago, 5 April 2026: 00:00 (-03) = 03:00 UTC becomes 23:00 (-04) of the day before
        ("America/Santiago", "2026-04-04", time(23, 30), "2026-04-05T02:30"),
        # Lord Howe, 4 October 2026: 02:00 (+10:30) = 15:30 UTC becomes 02:30 (+11): half an hour
        ("Australia/Lord_Howe", "2026-10-04", time(2, 0), "2026-10-03T15:30"),
        ("Australia/Lord_Howe", "2026-10-04", time(2, 15), "2026-10-03T15:30"),
        ("Australia/Lord_Howe", "2026-10-04", time(2, 30), "2026-10-03T15:30"),
        # Lord Howe, 5 April 2026: 02:00 (+11) = 15:00 UTC becomes 01:30 (+10:30)
        ("Australia/Lord_Howe", "2026-04-05", time(1, 45), "2026-04-04T14:45"),
        ("Australia/Lord_Howe", "2026-04-05", time(2, 0), "2026-04-04T15:30"),
    ],
)
def test_a_notice_in_the_night_of_the_change_comes_once_at_its_first_valid_minute(zone, day, at, instant):
    schedule = Schedule(ZoneInfo(zone), evening=at, morning=time(12, 0), grace_hours=12)
    assert schedule.planned("evening", date.fromisoformat(day)) == utc(instant)
    life = Life(schedule).run(
        utc(instant) - timedelta(hours=30), utc(instant) + timedelta(hours=30), timedelta(minutes=1)
    )
    assert [now for sent, kind, now in life.sent if kind == "evening" and sent.isoformat() == day] == [
        utc(instant)
    ]
    days = [sent for sent, kind, _ in life.sent if kind == "evening"]
    assert len(days) == len(set(days)) and life.missed == []


@settings(max_examples=200, deadline=None)
@given(
    zone=st.sampled_from(ZONES),
    day=st.dates(date(2026, 1, 2), date(2027, 12, 30)),
    minute=st.integers(0, 24 * 60 - 1),
)
@example("America/Santiago", date(2026, 9, 6), 15)
@example("Africa/Cairo", date(2026, 4, 24), 15)
def test_the_planned_instant_agrees_with_a_search_by_minutes(zone, day, minute):
    at = time(minute // 60, minute % 60)
    schedule = Schedule(ZoneInfo(zone), evening=at)
    assert schedule.planned("evening", day) == first_instant(day, at, ZoneInfo(zone))


STARTS = ["2026-03-01T00:00", "2026-10-25T00:00", "2026-08-30T00:00", "2026-03-29T00:00", "2026-09-27T00:00"]
FORTNIGHT = 14 * 24 * 60


@settings(max_examples=150, deadline=None)
@given(
    zone=st.sampled_from(ZONES),
    start=st.sampled_from(STARTS),
    minutes=st.lists(st.integers(0, FORTNIGHT), min_size=1, max_size=120),
    evening=st.times(),
    morning=st.times(),
    grace=st.floats(0.25, 12.0),
    in_order=st.booleans(),
)
def test_each_date_and_kind_at_most_once_and_exactly_once_when_a_beat_fell_into_its_grace(
    zone, start, minutes, evening, morning, grace, in_order
):
    """In order: sleep and restarts. In any order: a clock that is set back and forth as well."""
    evening, morning = (at.replace(second=0, microsecond=0) for at in (evening, morning))
    schedule = Schedule(ZoneInfo(zone), evening=evening, morning=morning, grace_hours=grace)
    instants = [
        utc(start) + timedelta(minutes=number) for number in (sorted(minutes) if in_order else minutes)
    ]
    life = Life(schedule)
    for instant in instants:
        life.beat(instant)

    sent = {(day, kind): now for day, kind, now in life.sent}
    assert len(sent) == len(life.sent)
    assert len({entry[:2] for entry in life.missed}) == len(life.missed)
    for number in range(-2, 17):
        day = utc(start).date() + timedelta(days=number)
        for kind, at in (("evening", evening), ("morning", morning)):
            planned = first_instant(day, at, schedule.zone)
            last = planned + timedelta(hours=grace)
            inside = [instant for instant in instants if planned <= instant <= last]
            assert ((day, kind) in sent) == bool(inside)
            if inside:
                assert sent[day, kind] == inside[0]
            elif in_order and instants[0] <= last < instants[-1]:
                assert (day, kind) in {entry[:2] for entry in life.missed}


# -- pulls and looks


@given(st.text(max_size=20), st.floats(0.25, 24.0))
def test_a_site_pulls_off_the_full_hour_and_always_at_the_same_times(key, hours):
    schedule = Schedule(ZoneInfo("UTC"), key=key, pull_every_hours=hours)
    assert schedule.offset == Schedule(ZoneInfo("Asia/Tokyo"), key=key, pull_every_hours=hours).offset
    assert 5 <= schedule.offset / timedelta(minutes=1) % 60 <= 50
    assert schedule.offset < timedelta(hours=max(1.0, hours))


def test_sites_are_spread():
    offsets = {Schedule(ZoneInfo("UTC"), key=f"site {number}").offset for number in range(200)}
    assert len(offsets) > 70


def test_one_pull_a_period_through_restarts_and_odd_beats(schedule):
    life = Life(schedule).run(utc("2026-09-20T00:00"), utc("2026-09-22T00:00"), timedelta(minutes=7))
    assert len(life.pulls) == 17
    slots = [schedule.slot(now) for now, _ in life.pulls]
    assert slots == sorted(set(slots))
    late = [now - schedule.slot_start(schedule.slot(now)) for now, _ in life.pulls[1:]]
    assert max(late) < timedelta(minutes=7)


def test_a_failed_pull_is_tried_again_sooner_and_ever_less_often(schedule):
    start = schedule.slot_start(schedule.slot(utc("2026-09-20T10:00")))
    life = Life(schedule, pull_ok=lambda now: False).run(
        start, start + timedelta(hours=3), timedelta(minutes=1)
    )
    assert [(now - start) / timedelta(minutes=1) for now, _ in life.pulls] == [0, 10, 30, 70, 130]


def test_a_pull_that_succeeds_again_ends_the_retries(schedule):
    start = schedule.slot_start(schedule.slot(utc("2026-09-20T10:00")))
    life = Life(schedule, pull_ok=lambda now: now >= start + timedelta(minutes=20))
    life.run(start, start + timedelta(hours=6), timedelta(minutes=1))
    assert [ok for _, ok in life.pulls] == [False, False, True, True]


def test_changes_are_looked_for_after_each_pull_failed_ones_too(schedule):
    """A go whose weather can no longer be had is no longer a go, and must be taken back."""
    life = Life(schedule, pull_ok=lambda now: now.hour < 12)
    life.run(utc("2026-09-20T00:00"), utc("2026-09-21T00:00"))
    assert life.looks == [now for now, _ in life.pulls]
    assert not all(ok for _, ok in life.pulls)


def test_the_order_is_pull_then_notices_then_changes(schedule, now):
    assert [work.kind for work in due(now, schedule, {})] == ["pull", "evening", "changed"]


def test_a_look_that_could_not_be_taken_is_still_owed(schedule, now):
    marks = {pull_key(schedule): pull_mark(now, schedule, None, True)}
    assert [work.kind for work in due(now, schedule, marks)] == ["evening", "changed"]


# -- the timetable itself


@pytest.mark.parametrize(
    "wrong", [{"pull_every_hours": 0.1}, {"grace_hours": 13}, {"pull_every_hours": float("nan")}]
)
def test_a_timetable_that_cannot_be_kept_is_refused(wrong):
    with pytest.raises(UsageError) as caught:
        Schedule(ZoneInfo("UTC"), **wrong)
    assert "from" in caught.value.hint


@given(st.times(), st.times(), st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1)))  # noqa: DTZ001
def test_work_is_never_owed_outside_its_time(evening, morning, now):
    now = now.replace(tzinfo=UTC)
    schedule = Schedule(ZoneInfo("Australia/Lord_Howe"), evening=evening, morning=morning)
    owed = [work for work in due(now, schedule, {}) if work.kind in ("evening", "morning")]
    assume(owed)
    assert all(work.planned_at <= now <= work.good_until for work in owed)
