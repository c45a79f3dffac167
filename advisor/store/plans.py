"""Choices that changed the plan of a sequence. Rows are only ever added: the newest of a task counts.

The passes themselves stand in `records`; a choice moves, restarts or puts off what is still to come.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from advisor.model import PlanEntry
from advisor.store.database import Store
from advisor.store.encoding import day, digest, instant, stamp, to_json


def add(store: Store, entry: PlanEntry) -> PlanEntry:
    """Write a choice; the entry with its id. The same choice made twice at one moment is one row."""
    name = entry.id or "p-" + digest(to_json(_content(entry)), length=12)
    with store.write(durable=True) as connection:
        if connection.execute("SELECT 1 FROM plans WHERE id = ?", (name,)).fetchone() is None:
            connection.execute(
                "INSERT INTO plans (id, made_at, treatment, area, kind, day, says) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (name, *_content(entry)),
            )
    return replace(entry, id=name)


def history(store: Store, *, until: datetime | None = None) -> list[PlanEntry]:
    """Every choice in the order in which they were made; those made no later than `until`, where asked."""
    with store.read() as connection:
        rows = connection.execute(
            "SELECT * FROM plans WHERE ?1 IS NULL OR made_at <= ?1 ORDER BY made_at, row", (stamp(until),)
        ).fetchall()
    return [
        PlanEntry(
            row["treatment"],
            row["area"],
            row["kind"],
            day(row["day"]),
            instant(row["made_at"]),
            row["says"],
            row["id"],
        )
        for row in rows
    ]


def _content(entry: PlanEntry) -> tuple[str, ...]:
    return (stamp(entry.made_at), entry.treatment, entry.area, entry.kind, entry.day.isoformat(), entry.says)
