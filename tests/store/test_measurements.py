"""Measurements of people: kept once, never changed, the newest counts. Our own behaviour, no outside source."""

import sqlite3
from datetime import timedelta

import pytest

from advisor.store import Store, measurements


def test_the_newest_counts_and_the_older_stay(store, now):
    first = measurements.add(store, "calibration", "knapsack", now, {"carrier_rate": 0.04}, written_at=now)
    later = now + timedelta(days=30)
    measurements.add(store, "calibration", "knapsack", later, {"carrier_rate": 0.05}, written_at=later)
    measurements.add(store, "calibration", "can", later, {"carrier_rate": 0.1}, written_at=later)
    found = measurements.of_subject(store, "calibration", "knapsack")
    assert [one.data["carrier_rate"] for one in found] == [0.04, 0.05]
    assert measurements.newest(store, "calibration", "knapsack").data["carrier_rate"] == 0.05
    # what was valid on an earlier day is still to be had
    assert measurements.newest(store, "calibration", "knapsack", until=now).id == first.id
    assert measurements.newest(store, "calibration", "nobody") is None


def test_the_same_measurement_is_one_row(store, now):
    one = measurements.add(store, "cover", "r-1", now, {"treated": 20.0}, written_at=now)
    two = measurements.add(store, "cover", "r-1", now, {"treated": 20.0}, written_at=now + timedelta(hours=1))
    assert one.id == two.id and len(measurements.of_subject(store, "cover")) == 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE measurements SET data = '{}'",
        "DELETE FROM measurements",
        "INSERT OR REPLACE INTO measurements (row, id, kind, subject, taken_at, written_at, data) "
        "SELECT row, id, kind, subject, taken_at, written_at, '{}' FROM measurements",
    ],
)
def test_a_row_is_never_changed(tmp_path, now, statement):
    path = tmp_path / "ledger.db"
    with Store.open(path) as store:
        measurements.add(store, "calibration", "knapsack", now, {"carrier_rate": 0.04}, written_at=now)
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA recursive_triggers = ON")
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            connection.execute(statement)
