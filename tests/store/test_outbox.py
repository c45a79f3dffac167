"""The states of a delivery: each step is taken by exactly one, and only from the state before it."""

import threading
from datetime import timedelta

import pytest

from advisor.store import notices, outbox
from advisor.store.notices import Notice

LONGEST = timedelta(hours=1)


@pytest.fixture
def row(store, now):
    notice = Notice("evening", now.date(), "t/a", "Go", "Go.", now, good_until=now + timedelta(hours=4))
    notices.put(store, notice, ["file"], now)
    return outbox.listing(store)[0]


def state(store):
    return outbox.listing(store)[0].state


def test_a_row_is_claimed_once(store, now, row):
    assert outbox.claim(store, row.id, now)
    assert not outbox.claim(store, row.id, now)
    assert [found.id for found in outbox.claimed(store)] == [row.id]
    assert outbox.listing(store, "claimed")[0].attempts == 1


def test_of_many_threads_one_claims(store, now, row):
    won = []
    threads = [
        threading.Thread(target=lambda: won.append(outbox.claim(store, row.id, now))) for _ in range(6)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(won) == [False] * 5 + [True]


@pytest.mark.parametrize("end", ["sent", "failed", "uncertain"])
def test_a_settled_row_is_never_due_claimed_or_settled_again(store, now, row, end):
    assert not outbox.settle(store, row.id, end, now)
    outbox.claim(store, row.id, now)
    assert outbox.settle(store, row.id, end, now, "why")
    for again in (
        outbox.claim(store, row.id, now),
        outbox.settle(store, row.id, "sent", now),
        outbox.postpone(store, row.id, now, None),
        outbox.due(store, now + timedelta(days=9), longest_wait=LONGEST),
        outbox.drop_late(store, now + timedelta(days=9)),
    ):
        assert not again
    assert outbox.listing(store)[0].last_error == "why"
    assert state(store) == end


def test_a_postponed_row_is_due_when_its_time_has_come(store, now, row):
    outbox.claim(store, row.id, now)
    assert outbox.postpone(store, row.id, now + timedelta(minutes=4), "timed out")
    assert outbox.due(store, now + timedelta(minutes=3), longest_wait=LONGEST) == []
    assert len(outbox.due(store, now + timedelta(minutes=4), longest_wait=LONGEST)) == 1


def test_a_time_written_while_the_clock_ran_ahead_does_not_hold_a_row_for_years(store, now, row):
    outbox.claim(store, row.id, now)
    outbox.postpone(store, row.id, now + timedelta(days=900), "timed out")
    assert len(outbox.due(store, now, longest_wait=LONGEST)) == 1


def test_what_is_no_longer_news_is_dropped_and_says_why_it_was_late(store, now, row):
    outbox.claim(store, row.id, now)
    outbox.postpone(store, row.id, now, "timed out")
    assert outbox.drop_late(store, now + timedelta(hours=4)) == 0
    assert outbox.drop_late(store, now + timedelta(hours=4, seconds=1)) == 1
    last = outbox.listing(store)[0]
    assert last.state == "failed" and "too late" in last.last_error and "timed out" in last.last_error


def test_states_are_counted(store, now, row):
    assert outbox.counts(store) == {"waiting": 1, "claimed": 0, "sent": 0, "failed": 0, "uncertain": 0}
