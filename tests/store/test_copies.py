"""Backups are whole or not there, also of a ledger that is in use; what is wrong with a file is said."""

import multiprocessing
import os
import sqlite3
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from advisor.errors import StoreError
from advisor.store import Store, copies, faults, marks, records
from advisor.store.migrations import MIGRATIONS
from tests.store.copied import RECORD, damage, dump

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


def test_a_stick_without_hard_links_takes_a_backup_too(path, tmp_path, monkeypatch):
    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    assert copies.write(path, tmp_path / "lawn.bak").records == 1
    assert sorted(one.name for one in tmp_path.iterdir()) == ["home", "lawn.bak"]


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
