"""A ledger with something in it, and ways to spoil and compare it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

from advisor.model import Record
from advisor.store import copies, outbox
from advisor.store.notices import Notice

START = datetime(2026, 9, 21, 11, 15, tzinfo=UTC)
RECORD = Record(
    "front", "autumn", "Invented Mix", ("alpha",), START, START + timedelta(minutes=40), 120.5, 210.0
)


def note(kind="evening", day=20) -> Notice:
    return Notice(kind, date(2026, 9, day), "front", "subject", "text", START)


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
