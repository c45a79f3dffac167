"""What is still to be delivered: one row a notice and channel, so that a retry never repeats what has
arrived.

    waiting -> claimed -> sent | failed | uncertain, or back to waiting after an error that may pass

A claim waits for the disk before anything is sent. Otherwise a loss of power could take the claim back and
leave the message sent, and a channel that must not be used twice would be used twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from advisor.store.database import Store
from advisor.store.encoding import instant, stamp

State = Literal["waiting", "claimed", "sent", "failed", "uncertain"]

TOO_LATE = "too late: it could not be delivered while it was news"


@dataclass(frozen=True, slots=True)
class Delivery:
    id: int
    notice_id: str
    channel: str
    state: State
    attempts: int
    next_try_at: datetime
    claimed_at: datetime | None
    settled_at: datetime | None
    last_error: str | None
    good_until: datetime | None


_SELECT = "SELECT outbox.*, notices.good_until FROM outbox JOIN notices ON notices.id = outbox.notice_id"


def add(store: Store, notice_id: str, channels: Iterable[str], now: datetime) -> None:
    """One waiting row a channel; rows that are there already stay as they are."""
    with store.write() as connection:
        connection.executemany(
            "INSERT INTO outbox (notice_id, channel, state, next_try_at) VALUES (?, ?, 'waiting', ?) "
            "ON CONFLICT (notice_id, channel) DO NOTHING",
            [(notice_id, channel, stamp(now)) for channel in channels],
        )


def due(store: Store, now: datetime, *, longest_wait: timedelta) -> list[Delivery]:
    """Waiting rows whose time has come, oldest notice first.

    A time further away than the longest wait was written while the clock ran ahead and has come too.
    """
    with store.read() as connection:
        rows = connection.execute(
            f"{_SELECT} WHERE state = 'waiting' AND (next_try_at <= ? OR next_try_at > ?) "
            "ORDER BY notices.row, outbox.id",
            (stamp(now), stamp(now + longest_wait)),
        ).fetchall()
    return [_delivery(row) for row in rows]


def claimed(store: Store) -> list[Delivery]:
    """Rows that somebody took and never settled."""
    return listing(store, "claimed")


def listing(store: Store, *states: State, limit: int = 1000) -> list[Delivery]:
    """Rows in any of the states (all without one), oldest first."""
    marks = ", ".join("?" for _ in states)
    where = f"WHERE state IN ({marks})" if states else ""
    with store.read() as connection:
        rows = connection.execute(
            f"{_SELECT} {where} ORDER BY outbox.id LIMIT ?", (*states, limit)
        ).fetchall()
    return [_delivery(row) for row in rows]


def of_notice(store: Store, notice_id: str) -> list[Delivery]:
    with store.read() as connection:
        rows = connection.execute(
            f"{_SELECT} WHERE notice_id = ? ORDER BY outbox.id", (notice_id,)
        ).fetchall()
    return [_delivery(row) for row in rows]


def counts(store: Store) -> dict[str, int]:
    """How many rows are in each state."""
    found = dict.fromkeys(("waiting", "claimed", "sent", "failed", "uncertain"), 0)
    with store.read() as connection:
        found.update(
            (row[0], row[1])
            for row in connection.execute("SELECT state, count(*) FROM outbox GROUP BY state")
        )
    return found


def claim(store: Store, delivery_id: int, now: datetime) -> bool:
    """Take a waiting row; False when it is no longer waiting."""
    with store.write(durable=True) as connection:
        return _one(
            connection.execute(
                "UPDATE outbox SET state = 'claimed', claimed_at = ?, attempts = attempts + 1 "
                "WHERE id = ? AND state = 'waiting'",
                (stamp(now), delivery_id),
            )
        )


def settle(
    store: Store,
    delivery_id: int,
    state: Literal["sent", "failed", "uncertain"],
    now: datetime,
    error: str | None = None,
) -> bool:
    """Close a claimed row; False when it is not claimed."""
    with store.write() as connection:
        return _one(
            connection.execute(
                "UPDATE outbox SET state = ?, settled_at = ?, last_error = ? "
                "WHERE id = ? AND state = 'claimed'",
                (state, stamp(now), error, delivery_id),
            )
        )


def postpone(store: Store, delivery_id: int, next_try_at: datetime, error: str | None) -> bool:
    """Give a claimed row back to be tried again; False when it is not claimed."""
    with store.write() as connection:
        return _one(
            connection.execute(
                "UPDATE outbox SET state = 'waiting', next_try_at = ?, last_error = coalesce(?, last_error) "
                "WHERE id = ? AND state = 'claimed'",
                (stamp(next_try_at), error, delivery_id),
            )
        )


def drop_late(store: Store, now: datetime) -> int:
    """Fail the waiting rows of notices that are no longer news; how many."""
    with store.write() as connection:
        return connection.execute(
            """
            UPDATE outbox SET state = 'failed', settled_at = ?1,
                last_error = ?2 || coalesce('; ' || last_error, '')
            WHERE state = 'waiting' AND notice_id IN (SELECT id FROM notices WHERE good_until < ?1)
            """,
            (stamp(now), TOO_LATE),
        ).rowcount


def _one(cursor) -> bool:
    return cursor.rowcount == 1


def _delivery(row) -> Delivery:
    return Delivery(
        row["id"],
        row["notice_id"],
        row["channel"],
        row["state"],
        row["attempts"],
        instant(row["next_try_at"]),
        instant(row["claimed_at"]),
        instant(row["settled_at"]),
        row["last_error"],
        instant(row["good_until"]),
    )
