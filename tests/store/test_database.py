"""Opening, transactions, threads, and what is said when the file is locked, damaged, foreign, barred."""

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import pytest

from advisor.errors import StoreError
from advisor.store import Store, marks, records
from advisor.store.migrations import MIGRATIONS

REPOSITORY = Path(__file__).parents[2]


def pragma(store, name):
    with store.read() as connection:
        return connection.execute(f"PRAGMA {name}").fetchone()[0]


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_the_file_is_opened_with_the_settings_that_were_measured_to_hold(store):
    assert pragma(store, "journal_mode") == "wal"
    assert pragma(store, "synchronous") == 1
    assert pragma(store, "foreign_keys") == 1
    assert pragma(store, "busy_timeout") == 5000
    with store.read() as connection:
        assert connection.isolation_level is None
        tables = connection.execute(
            "SELECT name, strict FROM pragma_table_list WHERE type = 'table'"
        ).fetchall()
    strict = {row["name"]: row["strict"] for row in tables if not row["name"].startswith("sqlite_")}
    assert {"payloads", "records", "notices", "outbox", "marks"} <= set(strict)
    assert all(strict.values())


def test_a_durable_write_waits_for_the_disk_and_the_next_one_does_not(store):
    with store.write(durable=True) as connection:
        assert connection.execute("PRAGMA synchronous").fetchone()[0] == 2
    with store.write() as connection:
        assert connection.execute("PRAGMA synchronous").fetchone()[0] == 1


def test_a_failed_transaction_leaves_nothing(store, now):
    with pytest.raises(ZeroDivisionError), store.write():
        marks.put(store, "a", now)
        1 / 0  # noqa: B018
    assert marks.get(store, "a") is None
    marks.put(store, "a", now)
    assert marks.get(store, "a").at == now


def test_a_failed_inner_transaction_takes_only_its_own_rows_back(store, now):
    with store.write():
        marks.put(store, "outer", now)
        with pytest.raises(ZeroDivisionError), store.write():
            marks.put(store, "inner", now)
            1 / 0  # noqa: B018
        marks.put(store, "after", now)
    assert sorted(marks.with_prefix(store)) == ["after", "outer"]


def test_an_outer_failure_takes_finished_inner_transactions_back(store, now):
    with pytest.raises(ZeroDivisionError), store.write():
        with store.write():
            marks.put(store, "inner", now)
        1 / 0  # noqa: B018
    assert marks.with_prefix(store) == {}


def test_threads_that_read_and_then_write_wait_their_turn(store, now):
    """Measured: with deferred transactions most of these fail at once; immediate ones never do."""
    failures = []

    def count_up():
        try:
            for _ in range(40):
                with store.write():
                    seen = marks.get(store, "count")
                    number = 0 if seen is None else seen.data["n"]
                    marks.put(store, "count", now, {"n": number + 1})
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=count_up) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert marks.get(store, "count").data["n"] == 160


def test_each_thread_has_a_connection_of_its_own(store):
    seen = []

    def look():
        with store.read() as connection:
            seen.append(connection)

    look()
    thread = threading.Thread(target=look)
    thread.start()
    thread.join()
    assert seen[0] is not seen[1]


def test_processes_that_create_the_file_together_all_succeed(tmp_path):
    program = "import sys; from advisor.store import Store; print(Store.open(sys.argv[1]).version)"
    command = [sys.executable, "-c", program, str(tmp_path / "ledger.db")]
    started = [
        subprocess.Popen(command, cwd=REPOSITORY, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for _ in range(4)
    ]
    for process in started:
        out, err = process.communicate(timeout=60)
        assert (process.returncode, out.strip()) == (0, str(len(MIGRATIONS))), err


# -- reading without a trace


def test_reading_a_missing_file_is_an_empty_ledger_and_creates_nothing(tmp_path, now):
    with Store.open_readonly(tmp_path / "none" / "ledger.db") as store:
        assert records.current(store) == []
        with pytest.raises(StoreError, match="reading only"):
            marks.put(store, "a", now)
        with pytest.raises(StoreError), store.read() as connection:
            connection.execute("INSERT INTO marks VALUES ('a', 'b', '{}')")
    assert names(tmp_path) == []


def test_reading_creates_no_file_beside_the_database(tmp_path, now):
    path = tmp_path / "ledger.db"
    with Store.open(path) as store:
        marks.put(store, "a", now)
    assert names(tmp_path) == ["ledger.db"]
    with Store.open_readonly(path) as store:
        assert marks.get(store, "a").at == now
        assert names(tmp_path) == ["ledger.db"]
    assert names(tmp_path) == ["ledger.db"]


def test_a_reader_follows_the_writer(tmp_path, now):
    """Through all states of the file: missing, without a log, with a log, and without one again."""
    path = tmp_path / "ledger.db"
    with Store.open_readonly(path) as reader:
        assert marks.with_prefix(reader) == {}
        with Store.open(path) as writer:
            marks.put(writer, "a", now)
            assert set(marks.with_prefix(reader)) == {"a"}
        assert set(marks.with_prefix(reader)) == {"a"}
    with Store.open_readonly(path) as reader:
        assert set(marks.with_prefix(reader)) == {"a"}
        with Store.open(path) as writer:
            marks.put(writer, "b", now)
            assert set(marks.with_prefix(reader)) == {"a", "b"}
            marks.put(writer, "c", now)
            assert set(marks.with_prefix(reader)) == {"a", "b", "c"}


def test_a_frozen_reader_notices_that_the_file_was_changed_and_closed(tmp_path, now):
    path = tmp_path / "ledger.db"
    with Store.open(path) as writer:
        marks.put(writer, "a", now)
    with Store.open_readonly(path) as reader:
        assert set(marks.with_prefix(reader)) == {"a"}
        with Store.open(path) as writer:
            marks.put(writer, "b", now)
        assert not (tmp_path / "ledger.db-wal").exists()
        assert set(marks.with_prefix(reader)) == {"a", "b"}


# -- what is said when it does not work


def test_a_locked_database_says_so_after_the_wait(tmp_path, now):
    path = tmp_path / "ledger.db"
    Store.open(path).close()
    with Store.open(path, busy_timeout=0.05) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreError, match="locked by another program") as caught:
            marks.put(store, "a", now)
        assert caught.value.hint and str(path) in str(caught.value)
        other.execute("ROLLBACK")
        marks.put(store, "a", now)


@pytest.mark.parametrize("opening", [Store.open, Store.open_readonly])
def test_a_file_that_is_no_database_says_so(tmp_path, opening):
    path = tmp_path / "ledger.db"
    path.write_bytes(b"this is a letter, not a database\n" * 200)
    with pytest.raises(StoreError, match="not a database") as caught:
        opening(path)
    assert ".bak" in caught.value.hint
    assert path.read_bytes().startswith(b"this is a letter")


@pytest.mark.parametrize("opening", [Store.open, Store.open_readonly])
def test_a_folder_in_place_of_the_file_says_so(tmp_path, opening):
    with pytest.raises(StoreError, match="cannot be opened") as caught:
        opening(tmp_path)
    assert caught.value.hint


def test_a_file_in_place_of_the_folder_says_so(tmp_path):
    (tmp_path / "data").write_text("")
    with pytest.raises(StoreError, match="cannot be used") as caught:
        Store.open(tmp_path / "data" / "ledger.db")
    assert caught.value.hint


@pytest.mark.parametrize("opening", [Store.open, Store.open_readonly])
def test_the_database_of_another_program_is_refused_and_untouched(tmp_path, opening):
    path = tmp_path / "other.db"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE theirs (a)")
    other.commit()
    other.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="another program"):
        opening(path)
    assert sqlite3.connect(path).execute("SELECT name FROM sqlite_master").fetchall() == [("theirs",)]
    if opening == Store.open_readonly:
        assert path.read_bytes() == before


def test_a_file_that_may_not_be_written_says_so():
    """As a user without rights, since root may write everywhere."""
    folder = Path(tempfile.mkdtemp())  # every user may reach it, unlike the folders of the tests
    path = folder / "ledger.db"
    Store.open(path).close()
    path.chmod(0o444)
    folder.chmod(0o555)
    program = (
        "import sys, os\n"
        "from datetime import datetime, UTC\n"
        "from advisor.errors import StoreError\n"
        "from advisor.store import Store, marks, records\n"
        "if os.geteuid() == 0:\n"
        "    os.setgid(65534); os.setuid(65534)\n"
        "reader = Store.open_readonly(sys.argv[1]); print(records.current(reader))\n"
        "try:\n"
        "    marks.put(Store.open(sys.argv[1]), 'a', datetime.now(UTC))\n"
        "except StoreError as error:\n"
        "    print(error)\n"
    )
    try:
        done = subprocess.run(
            [sys.executable, "-c", program, str(path)],
            cwd=REPOSITORY,
            env={**os.environ, "PYTHONPATH": str(REPOSITORY)},
            capture_output=True,
            text=True,
            timeout=60,
        )
    finally:
        folder.chmod(0o755)
        shutil.rmtree(folder)
    assert done.returncode == 0, done.stderr
    first, *rest = done.stdout.splitlines()
    assert first == "[]"
    assert "cannot be" in rest[0] and rest[1].strip()


def test_the_integrity_check_is_silent_for_a_whole_file(store, now):
    marks.put(store, "a", now)
    assert store.integrity_check() == ()


def test_the_integrity_check_reports_a_damaged_file_without_raising(tmp_path, now):
    path = tmp_path / "ledger.db"
    with Store.open(path) as store:
        for number in range(400):
            marks.put(store, f"mark {number:05d}", now, {"text": "x" * 200})
    with path.open("r+b") as file:
        file.seek(path.stat().st_size * 3 // 4)  # among the marks, past the tables of the tables
        file.write(os.urandom(12_000))
    with Store.open(path) as store:
        problems = store.integrity_check()
        assert problems and "damaged" in problems[0].what and ".bak" in problems[0].hint
        with pytest.raises(StoreError, match="damaged"):
            marks.with_prefix(store)


def test_a_closed_store_says_so(tmp_path):
    store = Store.open(tmp_path / "ledger.db")
    store.close()
    with pytest.raises(StoreError, match="closed"):
        marks.get(store, "a")


def test_a_backup_is_a_whole_ledger_and_never_overwrites(tmp_path, now):
    with Store.open(tmp_path / "ledger.db") as store:
        marks.put(store, "a", now)
        store.backup(tmp_path / "copies" / "monday.bak")
        with pytest.raises(StoreError, match="exists already"):
            store.backup(tmp_path / "copies" / "monday.bak")
    with Store.open(tmp_path / "copies" / "monday.bak") as copy:
        assert marks.get(copy, "a").at == now
    assert names(tmp_path / "copies") == ["monday.bak"]
