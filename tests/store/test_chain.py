"""Each record has a link to the one before it, so that tampering shows.

The links are worked out a second time here, from the description in `advisor.store.chain` alone (SHA-256: the
standard library's, FIPS 180-4).
"""

import hashlib
import json
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from advisor.errors import StoreError
from advisor.model import Record
from advisor.store import Store, chain, migrations, records
from advisor.store.migrations import CHAINED_FROM, MIGRATIONS

START = datetime(2026, 9, 21, 11, 15, tzinfo=UTC)
RECORD = Record("front", "autumn", "Invented Mix", ("alpha", "beta"), START, START + timedelta(minutes=40), 120.5,
                210.0, who="gärtner", note='light "wind", 2 m')  # fmt: skip


@pytest.fixture
def filled(store, now):
    """Five records: two passes, a correction, a withdrawal, and one with everything unknown."""
    first = records.add(store, RECORD, written_at=now, extra={"wind": 1.8, "dry": True})
    second = records.add(store, replace(RECORD, area="back"), written_at=now)
    records.correct(store, first.id, replace(RECORD, amount=100.0), written_at=now)
    records.withdraw(store, second.id, written_at=now, reason="typed by mistake")
    records.add(store, replace(RECORD, started_at=START + timedelta(days=20), ended_at=None, amount=None, size=None),
                written_at=now)  # fmt: skip
    return store


def verified(store):
    with store.read() as connection:
        return chain.verify(connection)


def tampered(store, *statements):
    """The same after statements by somebody who knows how to take the triggers away."""
    connection = sqlite3.connect(store.path)
    for trigger in [
        row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    ]:
        connection.execute(f"DROP TRIGGER {trigger}")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()
    return verified(store)


def test_the_links_are_those_of_the_description(filled):
    before, expected = "0" * 64, []
    connection = sqlite3.connect(filled.path)
    for row in connection.execute(
        "SELECT row, id, written_at, corrects, withdrawn, area, treatment, product, active_ingredients, started_at, "
        "ended_at, amount, size, who, note, extra FROM records ORDER BY row"
    ):
        cells = ",".join(json.dumps(cell, ensure_ascii=False) for cell in row)
        before = hashlib.sha256(f'["advisor.record/1","{before}",{cells}]'.encode()).hexdigest()
        expected.append(before)
    found = verified(filled)
    assert found.links == tuple(expected) and found.head == expected[-1]
    assert (found.records, found.breaks) == (5, ())
    assert [entry.link for entry in records.history(filled)] == expected


def test_a_link_by_hand():
    """One link spelt out to the byte: it must be the same in every version, or old chains would break."""
    row = dict(zip(chain.FIELDS, (1, "r-1", "2026-09-21T12:00:00Z", None, 0, "front", "autumn", "Mix", '["alpha"]',
                                  "2026-09-21T11:15:00Z", None, 120.5, 200.0, "ä", "", "{}"), strict=True))  # fmt: skip
    text = (
        '["advisor.record/1","' + "0" * 64 + '",1,"r-1","2026-09-21T12:00:00Z",null,0,"front","autumn","Mix",'
        '"[\\"alpha\\"]","2026-09-21T11:15:00Z",null,120.5,200.0,"ä","","{}"]'
    )
    assert chain.link(chain.BEGINNING, row) == hashlib.sha256(text.encode("utf-8")).hexdigest()


def test_an_empty_ledger_has_an_empty_chain(store):
    found = verified(store)
    assert (found.records, found.links, found.breaks, found.head) == (0, (), (), chain.BEGINNING)
    assert found.since(chain.BEGINNING) == 0 and found.since("f" * 64) is None


@pytest.mark.parametrize(
    "change",
    ["amount = 1.0", "amount = NULL", "amount = 9e999", "size = 210.00000000000003", "note = ''", "who = 'Gärtner'",
     "product = 'Other'", "area = 'back'", "treatment = 'spring'", "active_ingredients = '[\"alpha\"]'",
     "started_at = '2026-09-21T11:15:01Z'", "ended_at = NULL", "written_at = '2026-09-20T23:30:01Z'",
     "extra = '{}'", "id = 'r-other'"],
)  # fmt: skip
def test_every_field_is_under_the_chain(filled, change):
    found = tampered(filled, "PRAGMA foreign_keys = OFF", f"UPDATE records SET {change} WHERE row = 1")
    assert [one.row for one in found.breaks] == [1]
    assert "not what was written" in found.breaks[0].what and found.breaks[0].id


def test_a_correction_undone_and_a_withdrawal_taken_back_show(filled):
    found = tampered(filled, "UPDATE records SET withdrawn = 0 WHERE row = 4",
                     "UPDATE records SET corrects = NULL WHERE row = 3")  # fmt: skip
    assert [one.row for one in found.breaks] == [3, 4]


def test_a_record_that_is_gone_shows(filled):
    assert [(one.row, one.id) for one in tampered(filled, "DELETE FROM records WHERE row = 2").breaks] == [
        (2, "")
    ]


def test_a_record_that_is_gone_with_its_link_shows_at_the_next(filled):
    found = tampered(filled, "DELETE FROM records WHERE row = 2", "DELETE FROM record_links WHERE row = 2")
    assert [one.row for one in found.breaks] == [3] and "before it was removed" in found.breaks[0].what


def test_two_records_that_change_places_show(filled):
    found = tampered(filled, "UPDATE records SET row = -1 WHERE row = 1", "UPDATE records SET row = 1 WHERE row = 2",
                     "UPDATE records SET row = 2 WHERE row = -1")  # fmt: skip
    assert [one.row for one in found.breaks] == [1, 2]


def test_a_record_that_somebody_else_put_there_shows_also_after_the_next_one(filled, now):
    forged = (
        "INSERT INTO records SELECT 6, 'forged', written_at, NULL, 0, area, treatment, product, "
        "active_ingredients, started_at, ended_at, 1.0, size, who, note, extra FROM records WHERE row = 1"
    )
    tampered(filled, forged)
    records.add(filled, replace(RECORD, note="later"), written_at=now)
    found = verified(filled)
    assert [(one.row, one.id) for one in found.breaks] == [(6, "forged")]
    assert found.records == 7 and len(found.links) == 6


def test_the_newest_records_gone_show_only_against_a_head_kept_elsewhere(filled):
    head = verified(filled).head
    found = tampered(filled, "DELETE FROM records WHERE row = 5", "DELETE FROM record_links WHERE row = 5")
    assert found.breaks == () and found.since(head) is None


def test_a_chain_made_anew_shows_only_against_a_head_kept_elsewhere(filled):
    head = verified(filled).head
    tampered(filled, "UPDATE records SET amount = 1.0 WHERE row = 1", "DELETE FROM record_links")
    with filled.write() as connection:
        chain.chain_all(connection)
    found = verified(filled)
    assert found.breaks == () and found.since(head) is None


def test_a_head_kept_elsewhere_stays_a_link_while_records_are_added(filled, now):
    head = verified(filled).head
    assert verified(filled).since(head) == 0
    records.add(filled, replace(RECORD, note="later"), written_at=now)
    assert verified(filled).since(head) == 1
    assert verified(filled).since(chain.BEGINNING) == 6


def test_a_link_of_a_form_that_is_not_known_is_no_fit(filled):
    found = tampered(filled, "UPDATE record_links SET form = 'advisor.record/9' WHERE row = 2")
    assert [one.row for one in found.breaks] == [2] and "advisor.record/9" in found.breaks[0].what


@pytest.mark.parametrize(
    ("change", "rows"),
    [("records SET note = CAST(x'66ff66' AS TEXT) WHERE row = 2", [2]),
     ("records SET id = CAST(x'66ff66' AS TEXT) WHERE row = 5", [5]),
     ("record_links SET form = CAST(x'61ff' AS TEXT) WHERE row = 3", [3]),
     ("record_links SET hash = CAST(x'61ff' AS TEXT) WHERE row = 3", [3, 4])],
)  # fmt: skip
def test_text_that_is_no_text_is_a_break_and_no_fault(filled, change, rows):
    """Regression: a flipped bit in a text stopped verifying, backups and restores with an engine's message."""
    found = tampered(filled, "PRAGMA foreign_keys = OFF", f"UPDATE {change}")
    assert [one.row for one in found.breaks] == rows
    "".join(one.id + one.what for one in found.breaks).encode()  # can be printed


@pytest.mark.parametrize(
    "change",
    ["note = CAST(x'66ff66' AS TEXT)", "extra = '{'", "active_ingredients = 'x'", "started_at = 'never'"],
)
def test_a_garbled_record_is_said_to_be_one(filled, change):
    """Regression: text that is no JSON or no time ended commands as a fault of the program."""
    tampered(filled, f"UPDATE records SET {change} WHERE row = 5")
    with pytest.raises(StoreError, match="damaged|not what this program writes") as caught:
        records.current(filled)
    assert "advisor restore" in caught.value.hint


@pytest.mark.parametrize("statement", [
    "UPDATE record_links SET hash = 'x'", "DELETE FROM record_links",
    "INSERT OR REPLACE INTO record_links VALUES (1, 'x', 'y')",
])  # fmt: skip
def test_the_database_itself_refuses_to_change_a_link(filled, statement):
    with pytest.raises(StoreError, match="append-only"), filled.write() as connection:
        connection.execute(statement)


def test_a_record_and_its_link_are_written_together_or_not_at_all(store, now, monkeypatch):
    def broken(*_):
        raise RuntimeError("planted")

    monkeypatch.setattr(chain, "link", broken)
    with pytest.raises(RuntimeError):
        records.add(store, RECORD, written_at=now)
    assert records.history(store) == []


def test_the_same_deed_written_twice_has_one_link(store, now):
    records.add(store, RECORD, written_at=now)
    records.add(store, RECORD, written_at=now)
    assert len(verified(store).links) == 1


def test_an_older_ledger_gets_its_links_in_the_order_of_writing(tmp_path, now):
    """The records of an older version, as it wrote them; then as if they had always had links."""
    path, twin = tmp_path / "older.db", tmp_path / "twin.db"
    with Store.open(twin) as store:
        for number in range(4):
            records.add(store, replace(RECORD, started_at=START - timedelta(days=number)), written_at=now)
        links = verified(store).links
        with store.read() as connection:
            rows = [tuple(row) for row in connection.execute("SELECT * FROM records ORDER BY row")]
    with Store.open(path, migrations=MIGRATIONS[: CHAINED_FROM - 1]) as store, store.write() as connection:
        connection.executemany(f"INSERT INTO records VALUES ({','.join('?' * 16)})", rows)
    with Store.open_readonly(path) as reader:
        assert reader.version_of_file == CHAINED_FROM - 1 and verified(reader).breaks == ()
    with Store.open(path) as store:
        assert verified(store).links == links
        assert [
            tuple(row) for row in store._connection().execute("SELECT * FROM records ORDER BY row")
        ] == rows
    with Store.open_readonly(path) as reader:
        assert reader.version_of_file == CHAINED_FROM


def test_the_step_that_adds_links_is_the_last_but_those_that_come_after():
    assert MIGRATIONS[CHAINED_FROM - 1] is migrations.RECORD_LINKS
