"""An older ledger becomes a newer one: after a backup, step by step, each step whole or not at all."""

import hashlib
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from advisor.errors import StoreError
from advisor.store import Store, copies, marks
from advisor.store.migrations import MIGRATIONS, Migration

SECOND = Migration(
    "colours", ("CREATE TABLE colours (name TEXT) STRICT", "INSERT INTO colours SELECT key FROM marks")
)
#: how many steps the program itself knows
KNOWN = len(MIGRATIONS)
BROKEN = Migration("broken", ("CREATE TABLE half (a) STRICT",))  # STRICT wants a type: the engine refuses
HALF = Migration("half", ("CREATE TABLE first_half (a TEXT) STRICT", "INSERT INTO nowhere VALUES (1)"))


@pytest.fixture
def older(tmp_path, now):
    path = tmp_path / "ledger.db"
    with Store.open(path) as store:
        marks.put(store, "green", now)
    return path


def tables(path):
    with sqlite3.connect(path) as connection:
        return {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}


def test_a_new_file_sees_every_step_and_needs_no_backup(tmp_path):
    with Store.open(tmp_path / "ledger.db", migrations=(*MIGRATIONS, SECOND)) as store:
        assert store.version == len(MIGRATIONS) + 1
        with store.read() as connection:
            found = connection.execute("SELECT version, name FROM migrations ORDER BY version").fetchall()
    names = [*(step.name for step in MIGRATIONS), "colours"]
    assert [tuple(row) for row in found] == list(enumerate(names, start=1))
    assert not list(tmp_path.glob("*.bak"))


def test_an_older_file_is_backed_up_and_brought_up_to_date(older, now):
    with Store.open(older, migrations=(*MIGRATIONS, SECOND)) as store, store.read() as connection:
        assert [row[0] for row in connection.execute("SELECT name FROM colours")] == ["green"]
    backup = older.with_name(f"ledger.db.v{KNOWN}.bak")
    assert "colours" not in tables(backup)
    with Store.open(backup) as store:
        assert marks.get(store, "green").at == now


def test_an_up_to_date_file_is_left_alone(older):
    Store.open(older).close()
    assert [path.name for path in older.parent.iterdir()] == ["ledger.db"]


@pytest.mark.parametrize("step", [BROKEN, HALF])
def test_a_step_that_fails_leaves_the_file_as_it_was(older, step, now):
    with pytest.raises(StoreError, match="could not be brought up to date") as caught:
        Store.open(older, migrations=(*MIGRATIONS, step))
    assert caught.value.hint
    assert not {"half", "first_half"} & tables(older)
    with Store.open(older) as store:
        assert store.version == KNOWN
        assert marks.get(store, "green").at == now
    # Regression: a service that a supervisor starts again and again must not fill the disk with the same backup.
    with pytest.raises(StoreError):
        Store.open(older, migrations=(*MIGRATIONS, step))
    assert {path.name for path in older.parent.glob("*.bak")} == {f"ledger.db.v{KNOWN}.bak"}
    with Store.open(older) as store:
        marks.put(store, "blue", now)
    with pytest.raises(StoreError):
        Store.open(older, migrations=(*MIGRATIONS, step))
    backups = {f"ledger.db.v{KNOWN}.bak", f"ledger.db.v{KNOWN}-2.bak"}
    assert {path.name for path in older.parent.glob("*.bak*")} == backups
    for name in backups:
        assert copies.examine(older.with_name(name)).problems == ()


def test_without_a_backup_an_older_file_is_not_touched(older, now, monkeypatch):
    def full(*_):
        raise StoreError("the disk is full (database or disk is full)", where="x.bak", hint="free some space")

    monkeypatch.setattr(copies, "write", full)
    before = older.read_bytes()
    with pytest.raises(StoreError, match="could not be brought up to date .the disk is full") as caught:
        Store.open(older, migrations=(*MIGRATIONS, SECOND))
    assert caught.value.hint == "free some space" and older.read_bytes() == before


def test_a_damaged_older_file_is_not_brought_up_to_date(older, now):
    with Store.open(older) as store:
        for number in range(400):
            marks.put(store, f"mark {number:05d}", now, {"text": "x" * 200})
    with older.open("r+b") as file:
        file.seek(older.stat().st_size * 3 // 4)
        file.write(b"\x5a" * 9_000)
    with pytest.raises(StoreError, match="damaged") as caught:
        Store.open(older, migrations=(*MIGRATIONS, SECOND))
    assert "advisor restore" in caught.value.hint
    assert "colours" not in tables(older) and not list(older.parent.glob("*.bak"))


def test_several_steps_are_taken_together_or_not_at_all(older, now):
    with pytest.raises(StoreError):
        Store.open(older, migrations=(*MIGRATIONS, SECOND, HALF))
    assert "colours" not in tables(older)
    with Store.open(older) as store:
        assert store.version == KNOWN


def test_processes_that_bring_a_file_up_to_date_together_make_one_backup(older, now):
    """Regression: each made a backup of its own under the same unfinished name, and one of them fell over it."""
    program = (
        "import sys\n"
        "from advisor.store import Store\n"
        "from advisor.store.migrations import MIGRATIONS, Migration\n"
        "more = Migration('more', ('CREATE TABLE more (name TEXT) STRICT',))\n"
        "print(Store.open(sys.argv[1], migrations=(*MIGRATIONS, more)).version)\n"
    )
    root = Path(__file__).parents[2]
    command = [sys.executable, "-c", program, str(older)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    started = [subprocess.Popen(command, cwd=root, **pipes) for _ in range(4)]
    for process in started:
        out, err = process.communicate(timeout=60)
        assert (process.returncode, out.strip()) == (0, str(KNOWN + 1)), err
    assert [path.name for path in older.parent.glob("*.bak*")] == [f"ledger.db.v{KNOWN}.bak"]


@pytest.mark.parametrize("opening", [Store.open, Store.open_readonly])
def test_a_newer_file_is_refused_with_what_to_do_and_left_untouched(tmp_path, opening):
    path = tmp_path / "ledger.db"
    Store.open(path, migrations=(*MIGRATIONS, SECOND)).close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="newer version") as caught:
        opening(path)
    assert "install the newer version" in caught.value.hint and f"ledger.db.v{KNOWN}.bak" in caught.value.hint
    assert path.read_bytes() == before


def test_a_reader_sees_an_older_file_as_if_it_were_up_to_date_and_leaves_it_alone(older):
    before = older.read_bytes()
    with Store.open_readonly(older, migrations=(*MIGRATIONS, SECOND)) as store, store.read() as connection:
        assert [row[0] for row in connection.execute("SELECT name FROM colours")] == ["green"]
    assert older.read_bytes() == before
    assert [path.name for path in older.parent.iterdir()] == ["ledger.db"]


def test_a_reader_of_an_older_file_follows_it_and_its_migration(older, now):
    """A reader that looks while a service creates or migrates the file must not stay with what it saw first."""
    with Store.open(older) as writer, Store.open_readonly(older, migrations=(*MIGRATIONS, SECOND)) as reader:
        assert set(marks.with_prefix(reader)) == {"green"}
        marks.put(writer, "blue", now)
        assert set(marks.with_prefix(reader)) == {"blue", "green"}
        with Store.open(older, migrations=(*MIGRATIONS, SECOND)) as newer:
            marks.put(newer, "red", now)
            assert set(marks.with_prefix(reader)) == {"blue", "green", "red"}
            assert reader.version == KNOWN + 1


def test_a_read_inside_a_read_does_not_take_the_view_away(older, now):
    """Regression: a reader of an older file that is being written looked again, and closed what was being read."""
    with Store.open(older) as writer, Store.open_readonly(older, migrations=(*MIGRATIONS, SECOND)) as reader:
        marks.put(writer, "blue", now)
        with reader.read() as connection:
            assert reader.version_of_file == KNOWN
            assert connection.execute("SELECT count(*) FROM marks").fetchone()[0] == 2
            marks.put(writer, "red", now)
            assert set(marks.with_prefix(reader)) == {"blue", "green"}
        assert set(marks.with_prefix(reader)) == {"blue", "green", "red"}


def test_released_steps_are_counted_by_the_file(store):
    assert store.version == len(MIGRATIONS) == 4
    assert all(step.name for step in MIGRATIONS)


#: SHA-256 of the statements of each step as it was released, first twelve digits
RELEASED = {
    "first tables": "0ce6044c3768",
    "measurements": "ba847e91a45e",
    "choices of the plan": "b3ba3ff04d26",
    "links of the records": "4676e5f20b54",
}


@pytest.mark.parametrize("step", MIGRATIONS, ids=lambda step: step.name)
def test_a_released_step_is_never_edited(step):
    """A change is a new step at the end: files that have seen a step never see it again."""
    told = "\n".join(" ".join(statement.split()) for statement in step.statements)
    assert hashlib.sha256(told.encode()).hexdigest()[:12] == RELEASED[step.name]
