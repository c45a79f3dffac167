"""What people were told, and everything it was told from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from advisor.store import outbox
from advisor.store.database import Store
from advisor.store.encoding import day, digest, from_json, instant, stamp, to_json

#: the kind of notice that is sent because an answer is no longer what was told
CHANGED = "changed"


@dataclass(frozen=True, slots=True)
class Notice:
    """A message about one task (or treatment) on one local date.

    Two notices of the same kind, date and task are the same notice, whatever they say; for `changed` the new
    answer belongs to the identity too.
    """

    kind: str
    local_date: date
    task: str
    subject: str
    text: str
    created_at: datetime
    answer: str = ""
    html: str | None = None
    #: the outlook and whatever else the answer was derived from, as JSON can hold it
    evidence: Mapping[str, object] = field(default_factory=dict, repr=False)
    #: hashes of the payloads it was derived from; their bytes are never pruned
    payloads: tuple[str, ...] = ()
    rules_version: str = ""
    label_hash: str = ""
    #: a delivery later than this would tell old news as fresh
    good_until: datetime | None = None
    #: how often a `changed` notice of that day has come back to the same answer before
    turn: int = 0

    @property
    def id(self) -> str:
        parts = [self.kind, self.local_date.isoformat(), self.task]
        if self.kind == CHANGED:
            parts.append(self.answer)
            if self.turn:
                parts.append(self.turn)
        return "n-" + digest(parts, length=16)


def put(store: Store, notice: Notice, channels: Iterable[str], now: datetime) -> Notice | None:
    """Keep a notice and one outbox row a channel, in one transaction; None when it has been kept before.

    A `changed` notice is new unless it is the very one that the task was told last: an answer that turns to no-go, to
    go and to no-go again must be told a third time, or the person would be left with the go. What was told in between
    may be of any kind and, where the clock was set, of another day.
    """
    with store.write() as connection:
        if notice.kind == CHANGED:
            turn = _turn(connection, notice)
            if turn is None:
                return None
            notice = replace(notice, turn=turn)
        added = connection.execute(
            "INSERT INTO notices (id, kind, local_date, task, answer, turn, created_at, good_until, subject, "
            "text, html, evidence, rules_version, label_hash) VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?) "
            "ON CONFLICT (id) DO NOTHING",
            (
                notice.id,
                notice.kind,
                notice.local_date.isoformat(),
                notice.task,
                notice.answer,
                notice.turn,
                stamp(notice.created_at),
                stamp(notice.good_until),
                notice.subject,
                notice.text,
                notice.html,
                to_json(notice.evidence),
                notice.rules_version,
                notice.label_hash,
            ),
        ).rowcount
        if not added:
            return None
        connection.executemany(
            "INSERT OR IGNORE INTO notice_payloads (notice_id, sha256) VALUES (?, ?)",
            [(notice.id, sha256) for sha256 in notice.payloads],
        )
        outbox.add(store, notice.id, channels, now)
    return notice


def find(store: Store, notice_id: str) -> Notice | None:
    with store.read() as connection:
        row = connection.execute("SELECT * FROM notices WHERE id = ?", (notice_id,)).fetchone()
        return None if row is None else _notice(connection, row)


def last_told(store: Store, task: str) -> Notice | None:
    """The newest notice about a task: what the person believes now."""
    with store.read() as connection:
        row = connection.execute(
            "SELECT * FROM notices WHERE task = ? ORDER BY row DESC LIMIT 1", (task,)
        ).fetchone()
        return None if row is None else _notice(connection, row)


def recent(store: Store, limit: int = 20) -> list[Notice]:
    """The newest notices, newest first."""
    with store.read() as connection:
        rows = connection.execute("SELECT * FROM notices ORDER BY row DESC LIMIT ?", (limit,)).fetchall()
        return [_notice(connection, row) for row in rows]


def count_of_day(store: Store, local_date: date, task: str | None = None) -> int:
    """How many notices that local date has seen, for a daily limit."""
    with store.read() as connection:
        return connection.execute(
            "SELECT count(*) FROM notices WHERE local_date = ?1 AND (?2 IS NULL OR task = ?2)",
            (local_date.isoformat(), task),
        ).fetchone()[0]


def _turn(connection, notice: Notice) -> int | None:
    newest = connection.execute(
        "SELECT kind, local_date, answer FROM notices WHERE task = ? ORDER BY row DESC LIMIT 1",
        (notice.task,),
    ).fetchone()
    identity = (CHANGED, notice.local_date.isoformat(), notice.answer)
    if newest is not None and tuple(newest) == identity:
        return None
    return connection.execute(
        "SELECT count(*) FROM notices WHERE kind = ? AND local_date = ? AND answer = ? AND task = ?",
        (*identity, notice.task),
    ).fetchone()[0]


def _notice(connection, row) -> Notice:
    payloads = connection.execute(
        "SELECT sha256 FROM notice_payloads WHERE notice_id = ? ORDER BY sha256", (row["id"],)
    ).fetchall()
    return Notice(
        kind=row["kind"],
        local_date=day(row["local_date"]),
        task=row["task"],
        subject=row["subject"],
        text=row["text"],
        created_at=instant(row["created_at"]),
        answer=row["answer"],
        html=row["html"],
        evidence=from_json(row["evidence"]),
        payloads=tuple(found["sha256"] for found in payloads),
        rules_version=row["rules_version"],
        label_hash=row["label_hash"],
        good_until=instant(row["good_until"]),
        turn=row["turn"],
    )
