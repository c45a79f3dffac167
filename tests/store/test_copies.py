"""Backups are whole or not there; going back to one loses nothing that was not given up, and tells nobody twice."""

import multiprocessing
import os
import sqlite3
import subprocess
import sys
import threading
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from advisor.errors import Busy, StoreError
from advisor.model import Record
from advisor.service.due import Schedule, changed_key, notice_key
from advisor.store import Store, copies, faults, marks, notices, outbox, records
from advisor.store.locking import FileLock
from advisor.store.migrations import CHAINED_FROM, MIGRATIONS
from advisor.store.notices import Notice
from advisor.store.restoring import TOLD_MARKS, restore

START = datetime(2026, 9, 21, 11, 15, tzinfo=UTC)
RECORD = Record(
    "front", "autumn", "Invented Mix", ("alpha",), START, START + timedelta(minutes=40), 120.5, 210.0
)


def note(kind="evening", day=20) -> Notice:
    return Notice(kind, date(2026, 9, day), "front", "subject", "text", START)


@pytest.fixture
def path(tmp_path, now):
    """A ledger with one record, one notice that was sent and one that waits."""
    made = tmp_path / "home" / "advisor.db"
    with Store.open(made) as store:
        records.add(store, RECORD, written_at=now)
        notices.put(store, note(), ["tape"], now)
        settle(store, "sent", now)
        notices.put(store, note("morning", 21), ["tape"], now)
        marks.put(store, "notice:home:evening:2026-09-20", now)
    return made


def settle(store, state, now):
    (row,) = outbox.listing(store, "waiting")
    assert outbox.claim(store, row.id, now) and outbox.settle(store, row.id, state, now)


def damage(path, at=0.5, size=6000):
    with path.open("r+b") as file:
        file.seek(int(path.stat().st_size * at))
        file.write(b"\xa5" * size)


def dump(path):
    with copies.reading(path) as connection:
        tables = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: [tuple(row) for row in connection.execute(f"SELECT * FROM {name}")]
            for name in sorted(tables)
        }


# -- writing


def test_a_backup_holds_everything_and_says_what(path, tmp_path):
    found = copies.write(path, tmp_path / "stick" / "lawn.bak")
    assert (found.version, found.records, found.breaks, found.problems) == (len(MIGRATIONS), 1, (), ())
    assert dump(found.path) == dump(path)
    assert [one.name for one in found.path.parent.iterdir()] == ["lawn.bak"]


def test_a_backup_of_a_ledger_in_use_holds_what_was_committed(path, tmp_path, now):
    with Store.open(path) as store, store.write():
        marks.put(store, "half", now)
        copies.write(path, tmp_path / "lawn.bak")
    with Store.open_readonly(tmp_path / "lawn.bak") as copy:
        assert set(marks.with_prefix(copy)) == {"notice:home:evening:2026-09-20"}


def test_backups_while_others_write_are_all_whole(path, tmp_path, now):
    ending = threading.Event()

    def write():
        with Store.open(path) as store:
            number = 0
            while not ending.is_set():
                number += 1
                records.add(store, replace(RECORD, note=f"number {number}"), written_at=now)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        found = [copies.write(path, tmp_path / f"{number}.bak") for number in range(8)]
    finally:
        ending.set()
        writer.join()
    assert all(not one.problems and not one.breaks for one in found)
    assert [one.records for one in found] == sorted(one.records for one in found)
    with Store.open_readonly(path) as store:
        links = [entry.link for entry in records.history(store)]
    assert all(list(one.chain.links) == links[: one.records] for one in found)


def test_a_file_that_is_there_is_overwritten_only_when_told(path, tmp_path):
    target = tmp_path / "lawn.bak"
    target.write_text("somebody's only copy")
    with pytest.raises(StoreError, match="exists already"):
        copies.write(path, target)
    assert target.read_text() == "somebody's only copy"
    assert copies.write(path, target, overwrite=True).records == 1


def test_a_damaged_ledger_is_not_backed_up_and_leaves_no_file(path, tmp_path, now):
    with Store.open(path) as store:
        for number in range(300):
            marks.put(store, f"mark {number:05d}", now, {"text": "x" * 200})
    damage(path, 0.75)
    with pytest.raises(StoreError, match="damaged.*no backup") as caught:
        copies.write(path, tmp_path / "lawn.bak")
    assert "advisor restore" in caught.value.hint and str(path) in str(caught.value)
    assert [one.name for one in tmp_path.iterdir()] == ["home"]


def test_a_ledger_that_was_tampered_with_is_backed_up_as_evidence(path, tmp_path):
    connection = sqlite3.connect(path)
    connection.executescript("DROP TRIGGER records_refuse_update; UPDATE records SET amount = 1.0")
    connection.close()
    found = copies.write(path, tmp_path / "lawn.bak")
    assert [one.row for one in found.breaks] == [1] and found.path.exists()


def test_a_locked_ledger_is_waited_for_and_then_named(path, tmp_path, monkeypatch):
    monkeypatch.setattr(copies, "PATIENCE", 0.1)
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(StoreError, match="locked by another program"):
        copies.write(path, tmp_path / "lawn.bak")
    other.close()
    assert not (tmp_path / "lawn.bak").exists()


def test_copying_pages_does_not_wait_for_ever(path):
    """Regression: the engine's own loop tries again without end while a database is locked."""
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA journal_mode = DELETE")
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(sqlite3.OperationalError) as caught:
        copies.copy_pages(sqlite3.connect(path, timeout=0.01), sqlite3.connect(":memory:"), 0.1)
    assert "locked by another program" in faults.explain(caught.value, path).what
    other.close()


def test_what_a_killed_backup_left_is_removed_by_the_next(path, tmp_path):
    gone = multiprocessing.get_context("fork").Process(target=os._exit, args=(0,))
    gone.start()
    gone.join()
    left, living = (tmp_path / f"lawn.bak.{number}.unfinished" for number in (gone.pid, os.getppid()))
    left.write_text("half a copy")
    living.write_text("somebody is at it")
    copies.write(path, tmp_path / "lawn.bak")
    assert not left.exists() and living.exists()


def test_a_ledger_in_a_folder_that_cannot_be_written_to_can_be_backed_up(path, tmp_path):
    """As a user without rights, since root may write everywhere."""
    if os.geteuid() != 0:
        pytest.skip("only root can become another user")
    folder = Path("/tmp") / f"advisor-copies-{os.getpid()}"
    folder.mkdir(mode=0o755)
    try:
        (folder / "advisor.db").write_bytes(path.read_bytes())
        (folder / "advisor.db").chmod(0o444)
        (folder / "out").mkdir()
        (folder / "out").chmod(0o777)
        program = (
            "import os, sys; from pathlib import Path; from advisor.store import copies\n"
            "os.setgid(65534); os.setuid(65534)\n"
            "folder = Path(sys.argv[1]); print(copies.write(folder / 'advisor.db', folder / 'out' / 'a.bak').records)"
        )
        root = Path(__file__).parents[2]
        done = subprocess.run([sys.executable, "-c", program, str(folder)], cwd=root, capture_output=True, text=True,
                              timeout=60)  # fmt: skip
        assert done.stdout.strip() == "1", done.stderr
    finally:
        subprocess.run(["rm", "-r", str(folder)], check=True)


# -- looking


@pytest.mark.parametrize(
    ("content", "says"),
    [(None, "no such file"), (b"", "empty"), (b"a letter, no database" * 300, "not a database")],
)
def test_what_is_no_ledger_is_said_to_be_none(tmp_path, content, says):
    path = tmp_path / "lawn.bak"
    if content is not None:
        path.write_bytes(content)
    try:
        told = str(copies.examine(path).problems[0])
    except StoreError as error:
        told = str(error)
        assert error.hint
    assert says in told


def test_another_programs_and_a_newer_database_are_refused(tmp_path, path):
    other = tmp_path / "other.db"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE theirs (a)")
    connection.close()
    with pytest.raises(StoreError, match="another program"):
        copies.examine(other)
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(StoreError, match="newer version"):
        copies.examine(path)


def test_a_row_whose_parent_is_gone_is_a_problem(path):
    connection = sqlite3.connect(path)
    connection.execute("DELETE FROM notices")
    connection.commit()
    connection.close()
    assert any("outbox" in one.what and "gone" in one.what for one in copies.examine(path).problems)


# -- going back


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


def test_a_writer_who_has_the_ledger_open_is_not_cut_off(path, saved, now):
    """Somebody records a pass at the same time: the write is in the ledger, before or after, or refused."""
    with Store.open(path) as store:
        restore(saved, path, now)
        records.add(store, replace(RECORD, area="back"), written_at=now)
    found = copies.examine(path)
    assert found.records == 2 and found.problems == () and found.breaks == ()


def test_the_marks_of_what_was_told_are_those_of_the_service():
    from zoneinfo import ZoneInfo

    schedule = Schedule(ZoneInfo("America/Chicago"))
    keys = (notice_key(schedule, "evening", date(2026, 9, 20)), changed_key(schedule))
    assert all(key.startswith(TOLD_MARKS) for key in keys)
