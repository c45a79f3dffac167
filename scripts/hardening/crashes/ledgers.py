"""Ledgers for the campaigns, in every version that there was, and what must hold of one after a crash.

Deeds, amounts and names are invented.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from advisor.errors import StoreError
from advisor.model import Record
from advisor.store import Store, copies, marks, notices, records
from advisor.store.migrations import CHAINED_FROM, MIGRATIONS
from advisor.store.notices import Notice

NOW = datetime(2026, 9, 21, 12, 0, tzinfo=UTC)
_LEDGER = "SELECT records.*, hash FROM records LEFT JOIN record_links USING (row) ORDER BY row"


def deed(number: int) -> Record:
    """The pass of that number."""
    started = NOW - timedelta(days=400 - number % 400, minutes=number)
    return Record(("front", "back")[number % 2], "autumn", "Invented Mix", ("alpha", "beta"), started,
                  started + timedelta(minutes=40), 100.0 + number, 210.0, "gardener", f"number {number}")  # fmt: skip


def write_passes(store: Store, numbers: Iterable[int], say=lambda record: None) -> None:
    """Passes one after another, every fifth corrected and every seventh withdrawn; each is said when it is kept."""
    for number in numbers:
        made = records.add(store, deed(number), written_at=NOW + timedelta(minutes=number))
        say(made)
        if number % 5 == 3:
            made = records.correct(store, made.id, replace(made, amount=made.amount + 0.5), written_at=NOW)
            say(made)
        if number % 7 == 5:
            say(records.withdraw(store, made.id, written_at=NOW, reason=f"never happened: {number}"))


def fill(path: Path, passes: int, notes: int = 6) -> None:
    """A ledger of the present version with passes, notices told and waiting, and marks."""
    with Store.open(path) as store:
        write_passes(store, range(passes))
        for number in range(notes):
            put_notice(store, number)


def put_notice(store: Store, number: int) -> Notice | None:
    day = date(2026, 9, 1) + timedelta(days=number)
    notice = Notice("evening", day, "front", f"notice {number}", "text " * 40, NOW, evidence={"n": number})
    kept = notices.put(store, notice, ["tape", "file"], NOW)
    marks.put(store, f"notice:home:evening:{day}", NOW, {"state": "done"})
    return kept


def older(path: Path, version: int, passes: int) -> list[tuple]:
    """A ledger as that version of the program left it; its records' rows."""
    current = path.with_name("current.db")
    fill(current, passes, 0)
    with closing(sqlite3.connect(current)) as connection:
        rows = connection.execute("SELECT * FROM records ORDER BY row").fetchall()
    current.unlink()
    with Store.open(path, migrations=MIGRATIONS[:version]) as store, store.write() as connection:
        connection.executemany(f"INSERT INTO records VALUES ({', '.join('?' * 16)})", rows)
        connection.execute("INSERT INTO marks VALUES ('heartbeat', '2026-09-20T12:00:00Z', '{}')")
    return [tuple(row) for row in rows]


def rows_of(path: Path) -> list[dict]:
    """Every record with its link, as the file holds it, through the program's own way of opening it."""
    with Store.open(path) as store, store.read() as connection:
        return [dict(row) for row in connection.execute(_LEDGER)]


def everything(path: Path) -> dict[str, list[tuple]]:
    """All rows of all tables, by table."""
    with Store.open(path) as store, store.read() as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {
            name: [tuple(row) for row in connection.execute(f"SELECT * FROM {name}")]
            for name in sorted(names)
        }


def lost_or_changed(kept: dict[str, dict], rows: list[dict]) -> list[str]:
    """What became of the records that were said to be kept, by id."""
    found, present = [], {row["id"]: row for row in rows}
    for name, row in kept.items():
        if name not in present:
            found.append(f"record {name} is lost")
        elif any(present[name][column] != value for column, value in row.items()):
            found.append(f"record {name} is changed")
    return found


def unwhole(path: Path) -> list[str]:
    """What the program's own examination says against a ledger."""
    try:
        seen = copies.examine(path)
    except StoreError as error:
        return [f"cannot be examined: {error}"]
    found = [one.what for one in seen.problems] + [
        f"record {one.id or one.row}: {one.what}" for one in seen.breaks
    ]
    if seen.version >= CHAINED_FROM and not found and len(seen.chain.links) != seen.records:
        found.append("not every record has a link")
    return found
