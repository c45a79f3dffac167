"""What the ledger gives cause to tell, quiet hours, and what is let go. Our own behaviour, no source."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.quiet import after_quiet, is_quiet, quiet_hours
from advisor.service import Cycle, Occasion, Plan, SetClock, due
from advisor.service.due import HEARTBEAT, notice_key, notice_mark
from advisor.service.prune import prune
from advisor.store import marks, notices, payloads
from advisor.store.marks import Mark
from advisor.store.notices import Notice

from .conftest import CHICAGO

QUIET = (time(21), time(6))


def utc(text):
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


@pytest.fixture
def quiet(schedule):
    return replace(schedule, quiet=QUIET)


def overdue(planned="2026-09-16T11:00", until="2026-09-30T11:00", day=date(2026, 9, 16)):
    return Occasion("overdue", day, utc(planned), utc(until))


def kinds(work):
    return [one.kind for one in work if one.kind not in ("pull", "changed")]


def test_an_occasion_is_owed_from_its_time_until_it_is_done(schedule):
    occasion = overdue()
    assert kinds(due(utc("2026-09-16T10:59"), schedule, {}, [occasion])) == []
    now = utc("2026-09-20T20:00")
    (work,) = [one for one in due(now, schedule, {}, [occasion]) if one.kind == "overdue"]
    assert work.key == notice_key(schedule, "overdue", date(2026, 9, 16)) and not work.missed
    assert kinds(due(now, schedule, {work.key: notice_mark(now, work)}, [occasion])) == []


def test_one_that_nobody_was_there_for_is_marked_missed_and_not_told(schedule):
    heartbeat = {HEARTBEAT: Mark(utc("2026-09-15T12:00"))}
    found = due(utc("2026-10-05T15:00"), schedule, heartbeat, [overdue()])
    assert [one.missed for one in found if one.kind == "overdue"] == [True]
    # a service that begins to live after it has nothing to miss
    assert "overdue" not in kinds(due(utc("2026-10-05T15:00"), schedule, {}, [overdue()]))


def test_the_same_kind_on_the_same_date_is_one(schedule):
    two = [overdue(), overdue("2026-09-16T12:00")]
    assert kinds(due(utc("2026-09-16T20:00"), schedule, {}, two)) == ["overdue"]


def test_occasions_wait_for_the_end_of_the_quiet_hours(quiet):
    # 22:00 and 05:59, 06:00 in Chicago
    at_night = overdue("2026-09-17T03:00")
    assert kinds(due(utc("2026-09-17T03:00"), quiet, {}, [at_night])) == []
    assert kinds(due(utc("2026-09-17T10:59"), quiet, {}, [at_night])) == []
    assert "overdue" in kinds(due(utc("2026-09-17T11:00"), quiet, {}, [at_night]))
    gone_by_then = replace(at_night, good_until=utc("2026-09-17T08:00"))
    assert "overdue" not in kinds(due(utc("2026-09-17T11:00"), quiet, {}, [gone_by_then]))


def test_changes_wait_too_and_are_looked_for_when_the_quiet_is_over(quiet):
    night = due(utc("2026-09-17T04:00"), quiet, {})
    assert [one.kind for one in night] == ["pull"]
    assert due(utc("2026-09-17T15:00"), quiet, {})[-1].kind == "changed"


def test_an_evening_notice_is_not_told_in_the_night(quiet):
    heartbeat = {HEARTBEAT: Mark(utc("2026-09-16T23:00"))}
    # planned 18:30 in Chicago, which is 23:30 UTC; quiet from 02:00 UTC on
    assert kinds(due(utc("2026-09-17T01:59"), quiet, heartbeat)) == ["evening"]
    assert kinds(due(utc("2026-09-17T02:00"), quiet, heartbeat)) == []
    late = due(utc("2026-09-17T12:00"), quiet, heartbeat)
    assert [(one.kind, one.missed) for one in late if one.kind in ("evening", "morning")] == [
        ("evening", True),
        ("morning", False),
    ]


def test_a_notice_of_a_stated_time_is_told_at_that_time_even_where_quiet_begins(schedule):
    same = replace(schedule, evening=time(21), quiet=QUIET)
    assert "evening" in kinds(due(utc("2026-09-17T02:03"), same, {}))


@pytest.mark.parametrize(
    ("evening", "morning", "stated", "found"),
    [
        (time(18, 30), time(6), (None, None), (time(21), time(6))),
        (time(21, 30), time(6), (None, None), (time(22), time(6))),
        (time(18, 30), time(4, 30), (None, None), (time(21), time(4, 30))),
        (time(18, 30), time(6), (time(20), time(5)), (time(20), time(5))),
    ],
)
def test_quiet_hours_leave_room_for_the_stated_notices(evening, morning, stated, found):
    assert quiet_hours(evening, morning, *stated) == found
    assert not is_quiet(evening, found) and not is_quiet(morning, found)


@settings(max_examples=200, deadline=None)
@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001
    st.times(),
    st.times(),
)
def test_after_the_quiet_it_is_not_quiet(now, begins, ends):
    later = after_quiet(now, (begins, ends), CHICAGO)
    assert now <= later <= now + timedelta(hours=26)
    assert not is_quiet(later.astimezone(CHICAGO).time(), (begins, ends)) or later != now


def test_a_cycle_tells_occasions_once_and_survives_a_fault_in_them(store, schedule, now, events):
    class Fake:
        name, idempotent, arrived = "fake", False, []

        def send(self, message):
            self.arrived.append(message.kind)

    clock, faults = SetClock(now), [ValueError("a bug")]

    def occasions(at):
        if faults:
            raise faults.pop()
        return [overdue("2026-09-20T11:00", day=date(2026, 9, 20))]

    def decide(work, at):
        if work.kind == "changed":
            return None
        return Notice(work.kind, work.local_date, "house", "Go", "Go.", at)

    cycle = Cycle(
        store, clock, Plan(schedule, {"fake": Fake()}), pull=lambda at: None, decide=decide, occasions=occasions
    )
    assert cycle.run().notices == 1 and Fake.arrived == ["evening"]
    assert events("step_failed")[0]["step"] == "occasions"
    for _ in range(3):
        clock.advance(timedelta(minutes=5))
        cycle.run()
    assert Fake.arrived == ["evening", "overdue"]


# -- letting go


def keep(store, at, text):
    return payloads.add(store, source="s", site="k", url="http://x/", body=text.encode(), fetched_at=at)


def test_old_answers_go_and_evidence_stays(store, now):
    old = now - timedelta(days=500)
    evidence, plain = keep(store, old, "evidence"), keep(store, old, "plain")
    keep(store, now, "new")
    notice = Notice("evening", date(2025, 1, 1), "t", "s", "t", old, payloads=(evidence.sha256,))
    notices.put(store, notice, [], old)
    year = timedelta(days=400)
    assert prune(store, "k", now, year) is None, "the first look lets nothing go"
    assert prune(store, "k", now + timedelta(hours=12), year) is None
    assert prune(store, "k", now + timedelta(hours=25), year) == 1
    assert payloads.body(store, evidence.sha256) == b"evidence"
    assert payloads.body(store, plain.sha256) is None
    assert payloads.newest(store, "s", "k").body == b"new"


def test_a_clock_that_runs_ahead_lets_nothing_go(store, now):
    keep(store, now - timedelta(days=1), "yesterday")
    keep(store, now, "today")
    prune(store, "k", now, timedelta(days=400))
    assert prune(store, "k", now + timedelta(days=900), timedelta(days=400)) is None
    assert prune(store, "k", now, timedelta(days=400)) is None
    assert payloads.between(store, "s", "k", now - timedelta(days=2), now)


def test_marks_of_old_notices_go_and_others_stay(store, now):
    marks.put(store, "notice:k:evening:2025-01-01", now)
    marks.put(store, "notice:k:evening:2026-09-19", now)
    marks.put(store, "pull:k", now)
    prune(store, "k", now, timedelta(days=400))
    prune(store, "k", now + timedelta(days=2), timedelta(days=400))
    assert set(marks.with_prefix(store)) == {"notice:k:evening:2026-09-19", "pull:k", "prune:k"}




def test_two_of_a_kind_on_one_day_are_told_apart(schedule):
    first = Occasion("source-down", date(2026, 9, 16), utc("2026-09-16T12:00"), utc("2026-09-23T12:00"), of="1200")
    second = replace(first, planned_at=utc("2026-09-16T20:00"), of="2000")
    now = utc("2026-09-16T20:30")
    found = [one for one in due(now, schedule, {}, [first, second]) if one.kind == "source-down"]
    assert [one.of for one in found] == ["1200", "2000"] and len({one.key for one in found}) == 2
    done = {found[0].key: notice_mark(now, found[0])}
    left = [one.of for one in due(now, schedule, done, [first, second]) if one.kind == "source-down"]
    assert left == ["2000"]
