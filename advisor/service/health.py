"""Is the service well? The same answer for the page, the command and the container."""

from __future__ import annotations

import threading
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from advisor.clock import iso
from advisor.errors import Problem
from advisor.service.due import HEARTBEAT, MISSED
from advisor.store import Store, marks, outbox
from advisor.store.encoding import instant
from advisor.store.outbox import Delivery

#: beats that may be missing before the service counts as stuck
BEATS = 3
#: for how long a failed or missed notice is spoken of
REMEMBERED = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class Trouble:
    at: datetime
    word: str
    text: str


class Health:
    """What the running service knows of itself, from any thread."""

    def __init__(self):
        self._lock = threading.Lock()
        self._trouble: Trouble | None = None
        self._busy = 0

    def note(self, word: str, text: str, at: datetime | None = None) -> None:
        """Remember what went wrong; `busy` (a beat that found the one before running) is only counted."""
        with self._lock:
            if word == "busy":
                self._busy += 1
            else:
                self._trouble = Trouble(at or datetime.now(UTC), word, text)

    def clear(self) -> None:
        """A cycle has gone well."""
        with self._lock:
            self._trouble = None

    @property
    def trouble(self) -> Trouble | None:
        with self._lock:
            return self._trouble

    @property
    def skipped_beats(self) -> int:
        with self._lock:
            return self._busy


def check(store: Store, now: datetime, *, deliveries: bool = True) -> tuple[Problem, ...]:
    """What is wrong with the service, from the ledger alone; empty when it is well.

    Parameters
    ----------
    now : datetime
        Real time, also when the service runs on a fast clock.
    deliveries : bool
        Whether notices that did not arrive count too.
    """
    beat = marks.get(store, HEARTBEAT)
    if beat is None:
        return (Problem("the service has never run", hint="start it: advisor serve"),)
    problems = []
    real_at = instant(beat.data.get("real_at")) or beat.at
    allowed = timedelta(seconds=max(5.0, BEATS * float(beat.data.get("seconds", 300.0))))
    if abs(now - real_at) > allowed:
        problems.append(
            Problem(
                f"the last heartbeat was at {iso(real_at)}",
                hint="see whether the service runs, and what its last log lines say",
            )
        )
    if beat.data.get("trouble"):
        problems.append(Problem(f"the last cycle failed: {beat.data['trouble']}"))
    since = beat.at - REMEMBERED
    for key, mark in marks.with_prefix(store, "notice:").items():
        if mark.data.get("state") == MISSED and mark.at >= since:
            _, _, kind, day = key.rsplit(":", 3)
            problems.append(
                Problem(f"the {kind} notice of {day} was missed", hint="the service did not run at that time")
            )
    for rows in failed_deliveries(store, since).values() if deliveries else ():
        problems += [
            Problem(
                f"notice {row.notice_id} {_ENDS[row.state]}: {row.last_error}",
                where=f"channel {row.channel}",
                hint="read it on the page or with the notice command",
            )
            for row in rows
        ]
    return tuple(problems)


def failed_deliveries(store: Store, since: datetime) -> dict[str, list[Delivery]]:
    """Deliveries that failed for good, or of which nobody knows, settled since an instant, by channel."""
    found: dict[str, list[Delivery]] = {}
    for row in outbox.listing(store, "failed", "uncertain"):
        if row.settled_at is not None and row.settled_at >= since:
            found.setdefault(row.channel, []).append(row)
    return found


_ENDS = {"failed": "was not delivered", "uncertain": "may not have arrived"}
