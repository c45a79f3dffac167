"""Going back to a backup loses nothing that was not given up, and tells nobody twice."""

import sqlite3
from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pytest

from advisor.errors import Busy, StoreError
from advisor.service.due import Schedule, changed_key, notice_key
from advisor.store import Store, copies, marks, notices, outbox, records
from advisor.store.locking import FileLock
from advisor.store.migrations import CHAINED_FROM, MIGRATIONS
from advisor.store.restoring import TOLD_MARKS, restore
from tests.store.copied import RECORD, damage, dump, note, settle


@pytest.fixture
def saved(path, tmp_path):
    return copies.write(path, tmp_path / "lawn.bak").path


def test_going_back_to_the_same_changes_nothing_and_keeps_the_ledger_aside(path, saved, now):
    before = dump(path)
    done = restore(saved, path, now)
    assert dump(path) == before and dump(done.kept_as) == before
    assert (done.carried_over, done.given_up, done.blind) == (0, (), False)
    assert done.ledger.records == 1 and done.ledger.breaks == ()
    assert not list(path.parent.glob("*.restoring*"))


def test_a_missing_ledger_is_put_back(path, saved, now):
    before = dump(path)
    path.unlink()
    done = restore(saved, path, now)
    assert done.kept_as is None and not done.blind
    after = dump(path)
    assert after.pop("outbox") != before.pop("outbox") and after == before


def test_records_that_would_be_given_up_are_named_first(path, saved, now):
    with Store.open(path) as store:
        second = records.add(store, replace(RECORD, area="back"), written_at=now)
    with pytest.raises(StoreError, match=f"record {second.id}") as caught:
        restore(saved, path, now)
    assert "--give-up-newer" in caught.value.hint and not list(path.parent.glob("*.bak"))
    done = restore(saved, path, now, give_up_newer=True)
    assert done.given_up == (f"record {second.id}",) and done.ledger.records == 1
    assert copies.examine(done.kept_as).records == 2


def test_what_was_told_since_stays_told(path, saved, now):
    with Store.open(path) as store:
        settle(store, "sent", now)  # it waited when the backup was made
        notices.put(store, note("evening", 21), ["tape"], now)
        settle(store, "sent", now)
        notices.put(store, note("morning", 22), ["tape"], now)
        marks.put(store, "notice:home:evening:2026-09-21", now)
        marks.put(store, "pull:home", now)
        told = [(one.notice_id, one.state) for one in outbox.listing(store)]
    done = restore(saved, path, now)
    assert done.carried_over == 2
    with Store.open(path) as store:
        assert sorted((one.notice_id, one.state) for one in outbox.listing(store)) == sorted(told)
        assert "notice:home:evening:2026-09-21" in marks.with_prefix(store)
        assert marks.get(store, "pull:home") is None  # its answers are not in the backup
        assert notices.put(store, note("evening", 21), ["tape"], now) is None


def test_a_damaged_ledger_is_kept_byte_for_byte_and_nothing_that_waited_is_sent(path, saved, now):
    damage(path, 0.0)
    spoilt = path.read_bytes()
    done = restore(saved, path, now)
    assert done.blind and done.kept_as.read_bytes() == spoilt
    with Store.open(path) as store:
        assert outbox.counts(store) == {"waiting": 0, "claimed": 0, "sent": 1, "failed": 0, "uncertain": 1}
        assert len(records.current(store)) == 1


def test_text_that_is_no_text_does_not_bar_the_way_back(path, saved, now):
    """Regression: a flipped bit in an id or a notice, in pages that are otherwise whole, stopped the restore."""
    with Store.open(path) as store:
        notices.put(store, note("evening", 21), ["tape"], now)
    connection = sqlite3.connect(path)
    for trigger in [
        row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    ]:
        connection.execute(f"DROP TRIGGER {trigger}")
    connection.execute("UPDATE records SET id = CAST(x'722dff' AS TEXT)")
    connection.execute("UPDATE notices SET text = CAST(x'72ff' AS TEXT) WHERE local_date = '2026-09-21'")
    connection.commit()
    connection.close()
    assert copies.examine(path).problems == () and copies.examine(path).breaks
    with pytest.raises(StoreError, match="does not: record r-") as caught:
        restore(saved, path, now)
    str(caught.value).encode()
    done = restore(saved, path, now, give_up_newer=True)
    assert done.ledger.records == 1 and done.ledger.breaks == ()


def test_a_damaged_backup_is_refused_and_nothing_touched(path, saved, now):
    before = path.read_bytes()
    damage(saved, 0.5, 20_000)
    with pytest.raises(StoreError, match="damaged") as caught:
        restore(saved, path, now)
    assert caught.value.hint and path.read_bytes() == before
    assert sorted(one.name for one in path.parent.iterdir()) == ["advisor.db"]


def test_a_backup_that_was_tampered_with_is_refused_unless_told(path, saved, now):
    connection = sqlite3.connect(saved)
    connection.executescript("DROP TRIGGER records_refuse_update; UPDATE records SET amount = 1.0")
    connection.close()
    with pytest.raises(StoreError, match="do not fit their chain") as caught:
        restore(saved, path, now)
    assert "--even-if-changed" in caught.value.hint
    assert [one.row for one in restore(saved, path, now, even_if_changed=True).ledger.breaks] == [1]


def test_the_backup_of_an_older_version_is_brought_up_to_date(tmp_path, path, now):
    old = tmp_path / "old.bak"
    with Store.open(old, migrations=MIGRATIONS[: CHAINED_FROM - 1]) as store:
        marks.put(store, "a", now)
    path.unlink()
    done = restore(old, path, now)
    assert done.ledger.version == len(MIGRATIONS) and copies.examine(old).version == CHAINED_FROM - 1


def test_a_newer_ledger_makes_room_for_the_backup_of_before_when_told(path, saved, now):
    """Regression: a newer ledger named its backup as the way back, and the way back was refused as it was newer."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(StoreError, match="newer version") as caught:
        Store.open(path)
    assert "advisor restore" in caught.value.hint
    with pytest.raises(StoreError, match="cannot read") as caught:
        restore(saved, path, now)
    assert "--give-up-newer" in caught.value.hint
    done = restore(saved, path, now, give_up_newer=True)
    assert done.blind and done.kept_as is not None and done.ledger.records == 1
    connection = sqlite3.connect(done.kept_as)
    assert connection.execute("PRAGMA user_version").fetchone()[0] == 99
    connection.close()


def test_another_programs_database_in_the_ledgers_place_is_left_alone(path, saved, now):
    path.unlink()
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE theirs (a)")
    connection.close()
    with pytest.raises(StoreError, match="another program"):
        restore(saved, path, now, give_up_newer=True)
    assert sqlite3.connect(path).execute("SELECT name FROM sqlite_master").fetchall() == [("theirs",)]


def test_the_ledger_itself_is_no_backup(path, now):
    with pytest.raises(StoreError, match="ledger itself"):
        restore(path, path, now)


def test_it_waits_for_no_delivery(path, saved, now):
    lock = FileLock(path.with_name("advisor.db-delivery.lock"))
    assert lock.acquire()
    with pytest.raises(Busy, match="being delivered"):
        restore(saved, path, now)
    lock.release()
    restore(saved, path, now)


def test_a_program_that_has_the_ledger_open_keeps_it_as_it_is(path, saved, now, monkeypatch):
    """Or a record could come in between the look at what would be given up and the exchange, and be gone."""
    monkeypatch.setattr(copies, "PATIENCE", 0.1)
    before = dump(path)
    with Store.open(path) as store:
        with pytest.raises(StoreError, match="locked by another program"):
            restore(saved, path, now)
        assert not list(path.parent.glob("*.bak*")) and not list(path.parent.glob("*.restoring*"))
        assert dump(path) == before
        records.add(store, replace(RECORD, area="back"), written_at=now)
    assert restore(saved, path, now, give_up_newer=True).ledger.records == 1


def test_while_it_is_exchanged_nobody_else_gets_in(path, saved, now, monkeypatch):
    copied = copies.copy_pages
    refused = []

    def looking(source, target, *given):
        other = sqlite3.connect(path, timeout=0)
        try:
            other.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            refused.append(error.sqlite_errorname)
        other.close()
        copied(source, target, *given)

    monkeypatch.setattr(copies, "copy_pages", looking)
    restore(saved, path, now)
    assert len(refused) == 3 and set(refused) == {"SQLITE_BUSY"}  # aside, made ready, put in place


def test_the_marks_of_what_was_told_are_those_of_the_service():
    schedule = Schedule(ZoneInfo("America/Chicago"))
    keys = (notice_key(schedule, "evening", date(2026, 9, 20)), changed_key(schedule))
    assert all(key.startswith(TOLD_MARKS) for key in keys)
