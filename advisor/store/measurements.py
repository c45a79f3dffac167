"""What people measured or saw: a sprayer's calibration, a start card, the cover of weeds. Only ever added to.

The newest of a subject counts; the ones before stay readable.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from advisor.store.database import Store
from advisor.store.encoding import digest, from_json, instant, stamp, to_json

CALIBRATION, START_CARD, COVER = "calibration", "start-card", "cover"


@dataclass(frozen=True, slots=True)
class Measurement:
    """`subject` is what was measured: a sprayer, a task ("treatment/area"), a record."""

    kind: str
    subject: str
    taken_at: datetime
    data: Mapping[str, object]
    id: str = ""
    written_at: datetime | None = None


def add(
    store: Store,
    kind: str,
    subject: str,
    taken_at: datetime,
    data: Mapping[str, object],
    *,
    written_at: datetime,
) -> Measurement:
    """Keep a measurement; the same one given twice is one row."""
    content = to_json([kind, subject, stamp(taken_at), data])
    name = "m-" + digest(content, length=12)
    with store.write(durable=True) as connection:
        row = connection.execute("SELECT * FROM measurements WHERE id = ?", (name,)).fetchone()
        if row is not None:
            return _measurement(row)
        connection.execute(
            "INSERT INTO measurements (id, kind, subject, taken_at, written_at, data) VALUES (?, ?, ?, ?, ?, ?)",
            (name, kind, subject, stamp(taken_at), stamp(written_at), to_json(data)),
        )
    return Measurement(kind, subject, taken_at, dict(data), name, written_at)


def of_subject(
    store: Store, kind: str, subject: str | None = None, *, until: datetime | None = None
) -> list[Measurement]:
    """Measurements of a kind, oldest first; those of one subject, taken no later than `until`, where asked."""
    with store.read() as connection:
        rows = connection.execute(
            "SELECT * FROM measurements WHERE kind = ?1 AND (?2 IS NULL OR subject = ?2) "
            "AND (?3 IS NULL OR taken_at <= ?3) ORDER BY taken_at, row",
            (kind, subject, stamp(until)),
        ).fetchall()
    return [_measurement(row) for row in rows]


def newest(store: Store, kind: str, subject: str, *, until: datetime | None = None) -> Measurement | None:
    """The one that counts, None where nothing was measured."""
    found = of_subject(store, kind, subject, until=until)
    return found[-1] if found else None


def _measurement(row) -> Measurement:
    return Measurement(
        row["kind"],
        row["subject"],
        instant(row["taken_at"]),
        from_json(row["data"]),
        row["id"],
        instant(row["written_at"]),
    )
