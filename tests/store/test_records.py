"""Records are added, never changed."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from advisor.errors import StoreError
from advisor.model import Record
from advisor.store import records

START = datetime(2026, 9, 21, 11, 15, tzinfo=UTC)
RECORD = Record(
    area="front",
    treatment="autumn",
    product="Invented Mix",
    active_ingredients=("alpha", "beta"),
    started_at=START,
    ended_at=START + timedelta(minutes=40),
    amount=120.5,
    size=210.0,
    who="gardener",
    note="light wind",
)


def test_a_record_comes_back_as_it_was_written(store, now):
    written = records.add(store, RECORD, written_at=now, extra={"wind": 1.8, "dry": True})
    assert written == replace(RECORD, id=written.id)
    entry = records.find(store, written.id)
    assert entry.record == written
    assert entry.written_at == now
    assert entry.extra == {"wind": 1.8, "dry": True}
    assert entry.corrects is None and not entry.withdrawn


def test_unknown_amounts_and_ends_stay_unknown(store, now):
    blank = replace(RECORD, ended_at=None, amount=None, size=math.nan)
    written = records.add(store, blank, written_at=now)
    assert (written.ended_at, written.amount, written.size) == (None, None, None)
    assert records.current(store) == [written]


def test_the_same_deed_written_twice_is_one_row(store, now):
    first = records.add(store, RECORD, written_at=now)
    elsewhere = RECORD.started_at.astimezone(timezone(timedelta(hours=-5)))
    again = records.add(store, replace(RECORD, started_at=elsewhere), written_at=now + timedelta(hours=1))
    assert again.id == first.id
    assert len(records.history(store)) == 1


def test_ids_are_the_same_in_every_ledger(store, now):
    """Regression: an id that changes between versions would orphan what names it elsewhere."""
    assert records.add(store, RECORD, written_at=now).id == "r-f89142962025"


def test_a_given_id_is_kept_and_cannot_be_given_to_another_deed(store, now):
    records.add(store, replace(RECORD, id="mine"), written_at=now)
    records.add(store, replace(RECORD, id="mine"), written_at=now)
    with pytest.raises(StoreError, match="says something else") as caught:
        records.add(store, replace(RECORD, id="mine", amount=1.0), written_at=now)
    assert "correction" in caught.value.hint
    assert len(records.history(store)) == 1


def test_a_correction_replaces_and_the_corrected_row_stays(store, now):
    first = records.add(store, RECORD, written_at=now)
    second = records.correct(store, first.id, replace(RECORD, amount=100.0), written_at=now)
    third = records.correct(store, second.id, replace(RECORD, amount=110.0), written_at=now)
    assert records.current(store) == [third]
    assert [entry.corrects for entry in records.history(store)] == [None, first.id, second.id]
    assert [entry.record.amount for entry in records.history(store)] == [120.5, 100.0, 110.0]


def test_correcting_back_to_the_first_value_is_a_row_of_its_own(store, now):
    first = records.add(store, RECORD, written_at=now)
    second = records.correct(store, first.id, replace(RECORD, amount=1.0), written_at=now)
    third = records.correct(store, second.id, RECORD, written_at=now)
    assert len({first.id, second.id, third.id}) == 3
    assert [record.amount for record in records.current(store)] == [120.5]


def test_a_row_is_corrected_once_and_the_error_names_the_row_to_correct(store, now):
    first = records.add(store, RECORD, written_at=now)
    second = records.correct(store, first.id, replace(RECORD, amount=1.0), written_at=now)
    with pytest.raises(StoreError, match="corrected already") as caught:
        records.correct(store, first.id, replace(RECORD, amount=2.0), written_at=now)
    assert second.id in caught.value.hint
    assert len(records.history(store)) == 2


def test_a_correction_of_an_unknown_row_is_refused(store, now):
    with pytest.raises(StoreError, match="no record"):
        records.correct(store, "r-nothing", RECORD, written_at=now)
    with pytest.raises(StoreError, match="no record"):
        records.withdraw(store, "r-nothing", written_at=now, reason="typed by mistake")
    assert records.history(store) == []


def test_a_withdrawn_pass_counts_no_more_but_stays_in_the_ledger(store, now):
    first = records.add(store, RECORD, written_at=now)
    other = records.add(store, replace(RECORD, area="back"), written_at=now)
    records.withdraw(store, first.id, written_at=now, reason="typed by mistake")
    assert records.current(store) == [other]
    last = records.history(store)[-1]
    assert last.withdrawn and last.corrects == first.id and last.record.note == "typed by mistake"


def test_records_are_found_by_area_and_treatment_in_the_order_of_the_deeds(store, now):
    late = records.add(store, replace(RECORD, started_at=START + timedelta(days=20)), written_at=now)
    early = records.add(store, RECORD, written_at=now)
    back = records.add(store, replace(RECORD, area="back", treatment="spring"), written_at=now)
    assert records.current(store, area="front") == [early, late]
    assert records.current(store, treatment="spring") == [back]
    assert records.current(store, area="back", treatment="autumn") == []


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE records SET amount = 1",
        "UPDATE OR REPLACE records SET id = 'x'",
        "DELETE FROM records",
        "INSERT OR REPLACE INTO records SELECT * FROM records",
        "REPLACE INTO records SELECT row + 1, id, written_at, corrects, withdrawn, area, treatment, product, "
        "active_ingredients, started_at, ended_at, 0.0, size, who, note, extra FROM records",
    ],
)
def test_the_database_itself_refuses_to_change_or_delete_a_record(store, now, statement):
    written = records.add(store, RECORD, written_at=now)
    with pytest.raises(StoreError, match="append-only"), store.write() as connection:
        connection.execute(statement)
    with pytest.raises(StoreError, match="append-only"), store.write() as connection:
        connection.execute("PRAGMA recursive_triggers = OFF")
        connection.execute(statement)
    assert records.current(store) == [written]


def test_a_time_without_a_zone_is_refused(store, now):
    with pytest.raises(ValueError, match="time zone"):
        records.add(store, replace(RECORD, started_at=START.replace(tzinfo=None)), written_at=now)
    assert records.history(store) == []
