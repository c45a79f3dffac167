"""The campaign of kills and faults in a tiny form, and that it sees what it is there to see.

Every oracle is fed a planted fault and must find it. Checks of our own behaviour, no outside source.
"""

from __future__ import annotations

import logging
import os
import random
import shutil
import sqlite3
import sys
import tempfile
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from hardening.crashes import cycles, disk, dying, kills  # noqa: E402
from season_proof import life  # noqa: E402

from advisor.store import copies, faults  # noqa: E402
from advisor.store.migrations import MIGRATIONS  # noqa: E402

pytestmark = pytest.mark.skipif(
    not hasattr(os, "fork"), reason="children are forked, which this system cannot do"
)


@pytest.fixture
def folder():
    """In memory, where a disk need not be waited for, and open to all users."""
    logging.disable(logging.CRITICAL)
    made = Path(tempfile.mkdtemp(dir="/dev/shm" if os.access("/dev/shm", os.W_OK) else None))
    made.chmod(0o755)
    yield made
    logging.disable(logging.NOTSET)
    shutil.rmtree(made)


# -- as the program is, nothing survives


@pytest.mark.parametrize(
    "campaign", [kills.on_records, kills.on_migrations, kills.on_backups, kills.on_restores]
)
def test_kills_of_the_ledger(folder, campaign):
    tally = campaign(folder, 2, 6)
    assert tally.killed == 6 and tally.wrong == [] and tally.survivors == 0


def test_kills_in_cycles(folder):
    tally = cycles.on_cycles(folder, 2, 3, days=3)
    assert tally.killed >= 3 and tally.wrong == [] and tally.notes["notices"] > 2


@pytest.mark.parametrize(
    ("campaign", "cases"),
    [(disk.on_full_disk, 8), (disk.on_read_only, 7), (disk.on_locked, 4), (disk.on_damage, 6)],
)
def test_faults_of_the_disk(folder, campaign, cases):
    tally = campaign(folder, 2, cases)
    assert tally.runs == cases and tally.wrong == [] and tally.survivors == 0


# -- ways to die


def test_a_child_dies_where_it_is_told_to():
    def deed(say):
        with closing(sqlite3.connect(":memory:")) as connection:
            for number in range(20):
                connection.execute("SELECT 1")
                say(number)

    whole = dying.run(deed)
    assert not whole.killed and len(whole.said) == 20 and whole.steps >= 20
    cut = dying.run(deed, at_step=whole.steps // 2)
    assert cut.killed and 0 < len(cut.said) < 20
    assert dying.run(lambda say: Path("/dev/shm/never").write_bytes(b"x" * 100), file_limit=10).killed
    Path("/dev/shm/never").unlink(missing_ok=True)
    assert "ZeroDivisionError" in dying.run(lambda say: 1 / 0).fault


def test_the_same_number_draws_the_same_ways_to_die():
    whole = dying.End(False, [], "", 1.0, 500)
    drawn = [[dying.draw(random.Random(n), whole, file_limit=9) for _ in range(3)] for n in (1, 1, 2)]
    assert drawn[0] == drawn[1] != drawn[2]


# -- the oracles can fail


def test_a_record_said_to_be_kept_before_it_is_survives(folder):
    def lying(store, numbers, say):
        for number in numbers:
            told = []
            with store.write():
                kills.write_passes(store, [number], told.append)
                for one in told:
                    say(one)

    assert any("said to be kept, and is lost" in one for one in kills.on_records(folder, 1, 12, lying).wrong)


def test_a_record_changed_survives(folder):
    def changing(store, numbers, say):
        with store.write() as connection:
            connection.execute("DROP TRIGGER IF EXISTS records_refuse_update")
            connection.execute("UPDATE records SET note = 'better' WHERE row = 2")
        kills.write_passes(store, numbers, say)

    tally = kills.on_records(folder, 1, 4, changing)
    assert any("is changed" in one or "not what was written" in one for one in tally.wrong)


def test_a_step_that_changes_records_survives(folder):
    changing = ("DROP TRIGGER records_refuse_update", "UPDATE records SET amount = 1.0 WHERE row = 3")
    bad = replace(MIGRATIONS[-1], statements=(*MIGRATIONS[-1].statements, *changing))
    tally = kills.on_migrations(folder, 1, 3, (*MIGRATIONS[:-1], bad))
    assert any("records lost or changed" in one for one in tally.wrong)


def test_a_ledger_changed_without_a_backup_survives(folder, monkeypatch):
    monkeypatch.setattr(copies, "keep_before", lambda path, version: None)
    assert any("no backup of the old version" in one for one in kills.on_migrations(folder, 1, 3).wrong)


def test_a_backup_that_grows_under_its_name_survives(folder):
    def careless(source, target):
        target.parent.mkdir(exist_ok=True)
        whole = source.read_bytes()
        with target.open("wb") as file:
            for at in range(0, len(whole), 4096):
                file.write(whole[at : at + 4096])
                file.flush()
                os.fsync(file.fileno())

    assert kills.on_backups(folder, 1, 6, careless).survivors > 0


def test_a_restore_that_takes_the_ledger_away_first_survives(folder):
    def careless(backup, path, now, **_):
        for end in ("", "-wal", "-shm"):
            path.with_name(path.name + end).unlink(missing_ok=True)
        shutil.copy(backup, path)

    assert kills.on_restores(folder, 1, 4, careless).survivors > 0


def test_a_notice_told_twice_survives(folder, monkeypatch):
    send = life.Tape.send
    monkeypatch.setattr(life.Tape, "send", lambda self, message: (send(self, message), send(self, message)))
    assert any("doubled" in one for one in cycles.on_cycles(folder, 2, 1, days=2).wrong)


def test_a_promise_on_a_full_disk_survives(folder, monkeypatch):
    def lying(store, numbers, say=lambda record: None):
        for number in numbers:
            say(disk.deed(number).__class__(**{**_fields(disk.deed(number)), "id": f"r-{number}"}))

    monkeypatch.setattr(disk, "write_passes", lying)
    assert any("is lost" in one for one in disk.on_full_disk(folder, 1, 4).wrong)


def _fields(record) -> dict:
    return {name: getattr(record, name) for name in record.__dataclass_fields__}


def test_a_ledger_written_in_a_folder_that_is_read_only_survives(folder, monkeypatch):
    if os.geteuid() != 0:
        pytest.skip("only root may write in spite of permissions")
    monkeypatch.setattr(disk, "as_nobody", lambda: None)
    wrong = disk.on_read_only(folder, 1, 5).wrong
    assert any("record ended with 0" in one or "was written to" in one for one in wrong)


def test_an_error_without_words_survives(folder, monkeypatch):
    bare = tuple((name, what, "") for name, what, _ in faults._FAULTS)
    monkeypatch.setattr(faults, "_FAULTS", bare)
    assert any("does not say what to do" in one for one in disk.on_locked(folder, 1, 8).wrong)


def test_damage_of_which_nothing_is_said_survives(folder, monkeypatch):
    monkeypatch.setattr(disk, "unwhole", lambda path: [])
    assert any("nothing is said of it" in one for one in disk.on_damage(folder, 1, 10).wrong)
