"""A short season of the real service with real kills, and an oracle that can fail.

The rules that the oracle applies are written down a second time, in scripts/season_proof/oracle.py. Checks of our own
behaviour, no outside source; changes of the clock: IANA time zone database.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

from season_proof import oracle  # noqa: E402
from season_proof.world import make_world  # noqa: E402

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="lives are forked, which this system cannot do")

DAYS, SEED = 6, 7


@pytest.fixture(scope="module")
def season(tmp_path_factory):
    """(folder, output, exit status) of a season run as the script it is."""
    base = Path("/dev/shm") if os.access("/dev/shm", os.W_OK) else tmp_path_factory.getbasetemp()
    folder = base / f"season-{os.getpid()}"
    run = subprocess.run(
        [sys.executable, ROOT / "scripts" / "simulate_season.py", "--days", str(DAYS), "--seed", str(SEED),
         "--keep", folder],
        capture_output=True, text=True, timeout=240, cwd=ROOT,
    )  # fmt: skip
    yield folder, run.stdout + run.stderr, run.returncode
    shutil.rmtree(folder, ignore_errors=True)


def test_nothing_is_lost_or_doubled_and_the_ledger_is_whole(season):
    _, said, status = season
    assert "lost 0, doubled 0, told without cause 0, left with a false go 0, faults 0" in said, said
    assert status == 0


def test_it_was_killed_put_to_sleep_and_cut_off(season):
    _, said, _ = season
    numbers = {line.split()[0]: line.split() for line in said.splitlines() if line.strip()}
    assert int(numbers["killed"][3]) >= 5, said
    assert int(numbers["lives"][4]) >= 8, said


def test_notices_were_due_and_kept(season):
    folder, _, _ = season
    found = oracle.judge(folder, make_world(DAYS, SEED))
    assert found.clean and found.expected["evening"] >= 3 and found.expected["morning"] >= 3
    assert found.arrived["file"] >= 8 and found.arrived["webhook"] >= 8


# -- the oracle can fail: the season is spoilt by hand, and it must see it


@pytest.fixture
def spoilt(season, tmp_path):
    folder = tmp_path / "season"
    shutil.copytree(season[0], folder)

    def judge(sql=None):
        if sql is not None:
            with sqlite3.connect(folder / "advisor.db") as connection:
                connection.executescript(f"PRAGMA foreign_keys = OFF; {sql}")
            connection.close()
        return oracle.judge(folder, make_world(DAYS, SEED))

    judge.folder = folder
    return judge


def test_a_file_that_is_gone_is_a_notice_lost(spoilt):
    next((spoilt.folder / "notices").glob("*evening*")).unlink()
    assert len(spoilt().lost) == 1


def test_a_line_that_came_twice_is_a_notice_doubled(spoilt):
    tape = spoilt.folder / "tape.jsonl"
    tape.write_text(tape.read_text() + tape.read_text().splitlines()[0] + "\n")
    assert len(spoilt().doubled) == 1


def test_a_notice_that_was_never_kept_is_lost(spoilt):
    spoilt_one = (
        "CREATE TEMP TABLE gone AS SELECT id FROM notices WHERE kind = 'morning' LIMIT 1;"
        "DELETE FROM outbox WHERE notice_id IN (SELECT id FROM gone);"
        "DELETE FROM notices WHERE id IN (SELECT id FROM gone);"
    )
    found = spoilt(spoilt_one)
    assert any(one.startswith("morning of") for one in found.lost)


def test_a_notice_at_the_wrong_time_was_told_without_cause(spoilt):
    found = spoilt("UPDATE notices SET local_date = '2026-09-30' WHERE kind = 'evening' AND row = "
                   "(SELECT min(row) FROM notices WHERE kind = 'evening');")  # fmt: skip
    assert any("2026-09-30" in one for one in found.unasked) and found.lost


def test_a_delivery_that_nobody_settled_is_lost(spoilt):
    newest = "(SELECT max(id) FROM outbox WHERE channel = 'file')"
    found = spoilt(f"UPDATE outbox SET state = 'claimed' WHERE id = {newest};")
    assert any("claimed" in one for one in found.lost)


@pytest.mark.parametrize(("word", "counted"), [("false_go", "false_go"), ("missed_go", "lost")])
def test_a_go_that_is_none_and_a_go_that_nobody_heard_of_are_seen(spoilt, word, counted):
    beats = spoilt.folder / "beats.jsonl"
    lines = [json.loads(line) for line in beats.read_text().splitlines()]
    for line in lines:
        # 12:00 to 20:00 in Chicago, with an answer that was pulled
        if line["word"] == "end" and 17 <= datetime.fromisoformat(line["now"]).hour <= 23 and line["answered"]:
            line.update({word: True, "behind": False, "answered": line["now"]})
    beats.write_text("".join(json.dumps(line) + "\n" for line in lines))
    assert getattr(spoilt(), counted)


# -- its own reading of the clock


@pytest.mark.parametrize(
    ("day", "at", "utc"),
    [
        (date(2026, 9, 20), time(18, 30), datetime(2026, 9, 20, 23, 30, tzinfo=UTC)),
        (date(2026, 11, 2), time(6), datetime(2026, 11, 2, 12, tzinfo=UTC)),
        # 8 March 2026: 02:30 does not exist in Chicago; 1 November: 01:30 comes twice, and the first counts
        (date(2026, 3, 8), time(2, 30), datetime(2026, 3, 8, 8, tzinfo=UTC)),
        (date(2026, 11, 1), time(1, 30), datetime(2026, 11, 1, 6, 30, tzinfo=UTC)),
    ],
)
def test_first_instant(day, at, utc):
    assert oracle.first_instant(day, at) == utc


def test_the_world_is_the_same_for_the_same_seed():
    assert make_world(30, 5) == make_world(30, 5) != make_world(30, 6)
    world = make_world(120, 1)
    assert world.provider_down and world.hook_down and world.clock_set
