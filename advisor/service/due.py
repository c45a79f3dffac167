"""What is owed now: a pure function of the time, the timetable and the marks of what has been done.

Nothing here depends on when the service last looked, so sleep, restarts and a clock that is set make no
difference: a notice belongs to a local date and a kind, and a date and kind that is marked done is never owed
again.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from advisor.clock import local_instant
from advisor.errors import UsageError
from advisor.quiet import Quiet, after_quiet, quiet_at
from advisor.store.marks import Mark

Kind = Literal[
    "pull", "evening", "morning", "changed", "closing", "follow-up", "overdue", "review", "source-down"
]

DONE, MISSED = "done", "missed"
HEARTBEAT = "heartbeat"

#: after a failed pull: the first wait and the longest, doubled in between
_RETRY_FIRST, _RETRY_LONGEST = timedelta(minutes=10), timedelta(minutes=60)
#: how far back notices are looked for that were slept through
_LOOK_BACK = timedelta(days=31)
#: a notice of a stated time that is later than this waits for the end of the quiet hours
_ON_TIME = timedelta(minutes=30)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Schedule:
    """When weather is pulled and when people are told.

    Attributes
    ----------
    zone : ZoneInfo
        Where `evening` and `morning` are local times.
    key : str
        The site's key. It alone decides how far from the full hour the site pulls, so that many sites do not
        ask at once and one site asks at the same times after a restart.
    pull_every_hours : float
        [h], from a quarter of an hour to a day.
    grace_hours : float
        How late a notice may still go out [h]; later it is dropped, since it would tell old news as fresh.
    quiet : (time, time), optional
        Local hours in which nobody is told anything.
    """

    zone: ZoneInfo
    key: str = "home"
    pull_every_hours: float = 3.0
    evening: time = time(18, 30)
    morning: time = time(6, 0)
    grace_hours: float = 4.0
    quiet: Quiet | None = None

    def __post_init__(self):
        for name, least, most in (("pull_every_hours", 0.25, 24.0), ("grace_hours", 0.1, 12.0)):
            value = getattr(self, name)
            if not least <= value <= most:
                raise UsageError(
                    f"{name} is {value:g}", hint=f"write a number of hours from {least:g} to {most:g}"
                )

    @property
    def grace(self) -> timedelta:
        return timedelta(hours=self.grace_hours)

    @property
    def period(self) -> timedelta:
        return timedelta(hours=self.pull_every_hours)

    @property
    def offset(self) -> timedelta:
        """From 5 to 50 minutes past an hour of the period: never on the hour, when everybody asks."""
        number = int.from_bytes(hashlib.sha256(self.key.encode()).digest()[:8], "big")
        hours = number % max(1, math.floor(self.pull_every_hours))
        return timedelta(hours=hours, minutes=5 + number // 64 % 46)

    def slot(self, now: datetime) -> int:
        """The number of the period that `now` is in; each has one pull."""
        return (now - _EPOCH - self.offset) // self.period

    def slot_start(self, slot: int) -> datetime:
        return _EPOCH + self.offset + slot * self.period

    def planned(self, kind: Literal["evening", "morning"], day: date) -> datetime:
        """The instant of a notice: a time that the clock skips is the first that exists, one it shows twice
        the first of the two."""
        return local_instant(day, self.evening if kind == "evening" else self.morning, self.zone)


@dataclass(frozen=True, slots=True)
class Occasion:
    """Something of the ledger or the weather that is to be told: once for each kind and local date, and for each `of`
    where a day may hold several of a kind.

    From `planned_at` on, or from the end of the quiet hours it falls in; after `good_until` it is no news any more.
    """

    kind: Kind
    local_date: date
    planned_at: datetime
    good_until: datetime
    of: str = ""


@dataclass(frozen=True, slots=True)
class Work:
    """One thing to do. `key` is the mark that makes it done; after `good_until` it is of no use.

    `missed` work is only to be marked: nobody is told.
    """

    kind: Kind
    key: str
    local_date: date
    planned_at: datetime
    good_until: datetime
    missed: bool = False
    of: str = ""


def due(
    now: datetime, schedule: Schedule, marks: Mapping[str, Mark], occasions: Iterable[Occasion] = ()
) -> list[Work]:
    """What is owed at `now`, in the order in which it is to be done: the pull, notices by time, the look for
    changes.

    Parameters
    ----------
    now : datetime
        Aware; seconds count.
    marks : mapping
        What has been done, as the functions below write it.
    occasions : iterable of Occasion
        What the ledger and the weather give cause to tell, told already or not.
    """
    seen = _seen(now, marks)
    told = [*_notices(now, seen, schedule, marks), *_occasions(now, seen, schedule, marks, occasions)]
    work = sorted(told, key=lambda one: (not one.missed, one.planned_at))
    missed = [one for one in work if one.missed]
    pull = _pull(now, schedule, marks)
    changed = () if quiet_at(now, schedule.quiet, schedule.zone) else _changed(now, schedule, marks, pull is not None)
    return [*missed, *([pull] if pull else []), *(one for one in work if not one.missed), *changed]


# -- marks


def pull_key(schedule: Schedule) -> str:
    return f"pull:{schedule.key}"


def changed_key(schedule: Schedule) -> str:
    return f"changed:{schedule.key}"


def notices_prefix(schedule: Schedule) -> str:
    return f"notice:{schedule.key}:"


def notice_key(schedule: Schedule, kind: str, day: date, of: str = "") -> str:
    """`of` holds no colon."""
    return f"{notices_prefix(schedule)}{kind}{'.' if of else ''}{of}:{day.isoformat()}"


def pull_mark(now: datetime, schedule: Schedule, before: Mark | None, ok: bool) -> Mark:
    """The mark of a pull that has just been tried."""
    data = {} if before is None else before.data
    failures = 0 if ok else int(data.get("failures", 0)) + 1
    attempt = int(data.get("attempt", 0)) + 1
    return Mark(now, {"slot": schedule.slot(now), "ok": ok, "failures": failures, "attempt": attempt})


def changed_mark(now: datetime, pulled: Mark | None) -> Mark:
    """The mark of a look for changes after that pull."""
    return Mark(now, {"attempt": None if pulled is None else pulled.data.get("attempt")})


def notice_mark(now: datetime, work: Work) -> Mark:
    return Mark(now, {"state": MISSED if work.missed else DONE})


# -- inside


def _seen(now: datetime, marks: Mapping[str, Mark]) -> datetime:
    """Since when nobody may have looked: the last beat, but no longer ago than is looked back."""
    heartbeat = marks.get(HEARTBEAT)
    return now if heartbeat is None else min(now, max(heartbeat.at, now - _LOOK_BACK))


def _notices(
    now: datetime, seen: datetime, schedule: Schedule, marks: Mapping[str, Mark]
) -> Iterator[Work]:
    today = now.astimezone(schedule.zone).date()
    day = min(seen.astimezone(schedule.zone).date(), today) - timedelta(days=1)
    while day <= today:
        for kind in ("morning", "evening"):
            planned = schedule.planned(kind, day)
            last = planned + schedule.grace
            late = now - planned > _ON_TIME and quiet_at(now, schedule.quiet, schedule.zone)
            if not (late and planned <= now <= last):
                yield from _owed_or_missed(
                    now, seen, Work(kind, notice_key(schedule, kind, day), day, planned, last), marks
                )
        day += timedelta(days=1)


def _occasions(
    now: datetime,
    seen: datetime,
    schedule: Schedule,
    marks: Mapping[str, Mark],
    occasions: Iterable[Occasion],
) -> Iterator[Work]:
    first: dict[tuple[str, date, str], Occasion] = {}
    for one in sorted(occasions, key=lambda one: one.planned_at):
        first.setdefault((one.kind, one.local_date, one.of), one)
    for one in first.values():
        planned = after_quiet(one.planned_at, schedule.quiet, schedule.zone)
        if planned > one.good_until or quiet_at(now, schedule.quiet, schedule.zone):
            continue
        key = notice_key(schedule, one.kind, one.local_date, one.of)
        work = Work(one.kind, key, one.local_date, planned, one.good_until, of=one.of)
        yield from _owed_or_missed(now, seen, work, marks)


def _owed_or_missed(
    now: datetime, seen: datetime, work: Work, marks: Mapping[str, Mark]
) -> Iterator[Work]:
    mark = marks.get(work.key)
    state = None if mark is None else mark.data.get("state", DONE)
    if work.planned_at <= now <= work.good_until:
        # One that was marked missed while the clock ran ahead has never been sent.
        if state in (None, MISSED):
            yield work
    elif seen <= work.good_until < now and state is None:
        yield replace(work, missed=True)


def _pull(now: datetime, schedule: Schedule, marks: Mapping[str, Mark]) -> Work | None:
    slot = schedule.slot(now)
    mark = marks.get(pull_key(schedule))
    if mark is not None and not _owed(now, slot, mark):
        return None
    start = schedule.slot_start(slot)
    return Work(
        "pull", pull_key(schedule), now.astimezone(schedule.zone).date(), start, start + schedule.period
    )


def _owed(now: datetime, slot: int, mark: Mark) -> bool:
    done = mark.data.get("slot")
    if not isinstance(done, int) or slot > done:
        return True
    if done - slot > 1:
        return True  # marked while the clock ran ahead: not pulling until then would be to stop
    if slot == done and not mark.data.get("ok", True):
        wait = _RETRY_FIRST * 2 ** min(int(mark.data.get("failures", 1)) - 1, 10)
        return now >= mark.at + min(wait, _RETRY_LONGEST)
    return False


def _changed(now: datetime, schedule: Schedule, marks: Mapping[str, Mark], pulling: bool) -> Iterator[Work]:
    """After each attempt to pull, failed ones too: a go whose weather has grown stale is no longer a go."""
    pulled, looked = marks.get(pull_key(schedule)), marks.get(changed_key(schedule))
    attempt = None if pulled is None else pulled.data.get("attempt")
    if pulling or (pulled is not None and (looked is None or looked.data.get("attempt") != attempt)):
        day = now.astimezone(schedule.zone).date()
        yield Work("changed", changed_key(schedule), day, now, now + schedule.grace)
