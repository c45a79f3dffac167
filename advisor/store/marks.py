"""What the service did last: a key, the instant, and whatever belongs to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from advisor.store.database import Store
from advisor.store.encoding import from_json, instant, stamp, to_json


@dataclass(frozen=True, slots=True)
class Mark:
    at: datetime
    data: Mapping[str, object] = field(default_factory=dict)


def put(store: Store, key: str, at: datetime, data: Mapping[str, object] | None = None) -> None:
    """Set a mark; the one that stood there is replaced."""
    with store.write() as connection:
        connection.execute(
            "INSERT INTO marks (key, at, data) VALUES (?, ?, ?) "
            "ON CONFLICT (key) DO UPDATE SET at = excluded.at, data = excluded.data",
            (key, stamp(at), to_json(data or {})),
        )


def get(store: Store, key: str) -> Mark | None:
    with store.read() as connection:
        row = connection.execute("SELECT at, data FROM marks WHERE key = ?", (key,)).fetchone()
    return None if row is None else Mark(instant(row["at"]), from_json(row["data"]))


def with_prefix(store: Store, prefix: str = "") -> dict[str, Mark]:
    """All marks whose key begins with `prefix`, by key."""
    with store.read() as connection:
        rows = connection.execute(
            "SELECT key, at, data FROM marks WHERE substr(key, 1, length(?1)) = ?1 ORDER BY key", (prefix,)
        ).fetchall()
    return {row["key"]: Mark(instant(row["at"]), from_json(row["data"])) for row in rows}


def remove(store: Store, key: str) -> None:
    with store.write() as connection:
        connection.execute("DELETE FROM marks WHERE key = ?", (key,))
