"""Notices: one a kind, date and task; kept together with their outbox rows and their evidence."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from advisor.store import marks, notices, outbox
from advisor.store.notices import Notice


@pytest.fixture
def notice(now):
    return Notice(
        kind="evening",
        local_date=date(2026, 9, 20),
        task="autumn/front",
        subject="Go, Mon 06:15 to 09:30, front",
        text="Go on Monday.\nWind 4 mph.\n",
        created_at=now,
        answer="go",
        evidence={"outlook": {"days": [1, 2], "chance": np.float64(0.8), "gust": np.nan}},
        payloads=("b" * 64, "a" * 64),
        rules_version="rules-1",
        label_hash="c" * 64,
        good_until=now + timedelta(hours=4),
    )


def test_a_notice_comes_back_with_its_evidence_and_one_row_a_channel(store, now, notice):
    assert notices.put(store, notice, ["terminal", "file"], now) == notice
    found = notices.find(store, notice.id)
    evidence = {"outlook": {"days": [1, 2], "chance": 0.8, "gust": None}}
    assert found == replace(notice, evidence=evidence, payloads=("a" * 64, "b" * 64))
    assert [row.channel for row in outbox.of_notice(store, notice.id)] == ["terminal", "file"]
    assert {row.state for row in outbox.of_notice(store, notice.id)} == {"waiting"}
    assert notices.recent(store) == [found]
    assert notices.find(store, "n-nothing") is None


def test_the_same_notice_is_kept_once_whatever_it_says(store, now, notice):
    notices.put(store, notice, ["file"], now)
    assert notices.put(store, replace(notice, answer="no-go", text="No."), ["file", "terminal"], now) is None
    assert notices.find(store, notice.id).text == notice.text
    assert len(outbox.listing(store)) == 1


@pytest.mark.parametrize(
    "change", [{"kind": "morning"}, {"local_date": date(2026, 9, 21)}, {"task": "autumn/back"}]
)
def test_another_kind_date_or_task_is_another_notice(notice, change):
    assert replace(notice, **change).id != notice.id


def test_the_answer_belongs_to_the_identity_of_a_change_only(notice):
    assert replace(notice, answer="no-go").id == notice.id
    changed = replace(notice, kind="changed")
    assert replace(changed, answer="no-go").id != changed.id
    assert replace(changed, created_at=notice.created_at + timedelta(hours=1), text="later").id == changed.id


def test_a_repeated_change_is_told_again_only_when_something_else_was_told_between(store, now, notice):
    def told(answer):
        return notices.put(store, replace(notice, kind="changed", answer=answer), ["file"], now) is not None

    assert [
        told(answer) for answer in ("no-go", "no-go", "go", "go", "no-go", "no-go", "unknown", "no-go")
    ] == [
        True,
        False,
        True,
        False,
        True,
        False,
        True,
        True,
    ]
    assert notices.last_told(store, notice.task).answer == "no-go"
    assert notices.count_of_day(store, notice.local_date) == 5
    assert notices.count_of_day(store, notice.local_date, "autumn/back") == 0
    assert len({kept.id for kept in notices.recent(store)}) == 5


def test_notice_rows_mark_and_outbox_rows_are_kept_together_or_not_at_all(store, now, notice):
    with pytest.raises(RuntimeError), store.write():
        notices.put(store, notice, ["file"], now)
        marks.put(store, "notice:evening:2026-09-20", now)
        raise RuntimeError("the process dies here")
    assert notices.recent(store) == [] and outbox.listing(store) == [] and marks.with_prefix(store) == {}


def test_a_notice_without_channels_is_kept_for_the_page(store, now, notice):
    notices.put(store, notice, [], now)
    assert notices.last_told(store, notice.task).id == notice.id
    assert outbox.listing(store) == []


def test_a_change_back_is_told_again_when_something_else_was_told_in_between(store, notice, now):
    """Regression: a go that was taken back under another date or kind, as after the clock was set, and came again was
    held for the one that had been told; the person was left with the no-go."""

    def told(kind, answer, day=20):
        one = replace(notice, kind=kind, answer=answer, local_date=date(2026, 9, day))
        return notices.put(store, one, ["file"], now) is not None

    assert told("changed", "go") and not told("changed", "go")
    assert told("changed", "no-go", day=19)
    assert told("changed", "go") and not told("changed", "go")
    assert told("morning", "no-go")
    assert told("changed", "go")
    assert [one.answer for one in notices.recent(store)] == ["go", "no-go", "go", "no-go", "go"]
