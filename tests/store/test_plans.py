"""Choices of the plan: kept once, never changed, read back as they were. Our own behaviour, no outside source."""

import sqlite3
from datetime import date, timedelta

import pytest

from advisor.ledger import read_plans
from advisor.model import PlanEntry
from advisor.store import Store, plans


def choice(now, **changes) -> PlanEntry:
    given = {
        "treatment": "autumn",
        "area": "front",
        "kind": "pass-on",
        "day": date(2026, 9, 25),
        "made_at": now,
    }
    return PlanEntry(**{**given, **changes})


def test_choices_come_back_in_the_order_they_were_made(store, now):
    later = now + timedelta(days=2)
    plans.add(store, choice(later, kind="leave", day=date(2027, 9, 1), says="leave it until September"))
    plans.add(store, choice(now))
    found = plans.history(store)
    assert [(one.kind, one.day, one.made_at) for one in found] == [
        ("pass-on", date(2026, 9, 25), now),
        ("leave", date(2027, 9, 1), later),
    ]
    assert found[1].says == "leave it until September"
    assert [one.kind for one in plans.history(store, until=now)] == ["pass-on"]


def test_the_same_choice_at_the_same_moment_is_one_row(store, now):
    first, second = plans.add(store, choice(now)), plans.add(store, choice(now))
    assert first.id == second.id and first.id
    assert len(plans.history(store)) == 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE plans SET day = '2026-09-26'",
        "DELETE FROM plans",
        "INSERT OR REPLACE INTO plans (row, id, made_at, treatment, area, kind, day, says) "
        "SELECT row, id, made_at, treatment, area, kind, '2026-09-26', says FROM plans",
    ],
)
def test_a_choice_is_never_changed(tmp_path, now, statement):
    path = tmp_path / "ledger.db"
    with Store.open(path) as store:
        plans.add(store, choice(now))
    with sqlite3.connect(path) as connection, pytest.raises(sqlite3.IntegrityError, match="append-only"):
        connection.execute(statement)
    assert read_plans(path)[0].day == date(2026, 9, 25)


def test_no_database_is_no_choice(tmp_path):
    assert read_plans(tmp_path / "nothing.db") == ()
    assert not (tmp_path / "nothing.db").exists()
