"""Old answers of weather services are let go once a day; what a notice rests on is evidence and stays for ever.

A clock that has run ahead must not empty the archive: nothing is let go unless the look before this one was made one
to three days ago by the same clock. After a longer sleep the first look only marks itself.
"""

from __future__ import annotations

import logging
from datetime import date, datetime, timedelta

from advisor.service.log import event
from advisor.store import Store, marks, payloads

log = logging.getLogger(__name__)

EVERY, TOO_LONG_AGO = timedelta(days=1), timedelta(days=3)
#: marks of notices are looked back at for a month; a notice's own identity keeps it from being told twice after that
MARKS_KEPT = timedelta(days=120)


def prune(store: Store, key: str, now: datetime, keep: timedelta) -> int | None:
    """Let go of answers older than `keep` and of old marks; how many answers, None where it was not the time for it."""
    name = f"prune:{key}"
    before = marks.get(store, name)
    if before is not None and timedelta(0) <= now - before.at < EVERY:
        return None
    steady = before is not None and EVERY <= now - before.at <= TOO_LONG_AGO
    gone = None
    with store.write():
        if steady:
            gone = payloads.prune(store, now - keep)
            _drop_marks(store, now - MARKS_KEPT)
        marks.put(store, name, now)
    if gone:
        event(log, "pruned", payloads=gone, keep_days=round(keep.total_seconds() / 86400.0, 1))
    return gone


def _drop_marks(store: Store, before: datetime) -> None:
    for key in marks.with_prefix(store, "notice:"):
        try:
            day = date.fromisoformat(key.rpartition(":")[2])
        except ValueError:
            continue
        if day < before.date():
            marks.remove(store, key)
