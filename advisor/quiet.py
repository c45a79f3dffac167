"""The hours in which nobody is told anything: local wall times [from, until) that may hold midnight."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from advisor.clock import local_instant

#: common practice, no source
USUAL_FROM, USUAL_UNTIL = time(21, 0), time(6, 0)

Quiet = tuple[time, time]


def quiet_hours(evening: time, morning: time, begins: time | None = None, ends: time | None = None) -> Quiet:
    """As stated; else from 21:00, or from just after a later evening's notice, until 06:00 or an earlier morning's."""
    if begins is None:
        later = (datetime.combine(date(2000, 1, 1), evening) + timedelta(minutes=30)).time()  # noqa: DTZ001
        begins = USUAL_FROM if evening < USUAL_FROM else max(later, evening)
    if ends is None:
        ends = min(USUAL_UNTIL, morning)
    return begins, ends


def is_quiet(at: time, quiet: Quiet) -> bool:
    """Whether a local wall time lies in the quiet hours; equal ends mean that there are none."""
    begins, ends = quiet
    if begins <= ends:
        return begins <= at < ends
    return at >= begins or at < ends


def quiet_at(instant: datetime, quiet: Quiet | None, zone: ZoneInfo) -> bool:
    return quiet is not None and is_quiet(instant.astimezone(zone).time(), quiet)


def after_quiet(instant: datetime, quiet: Quiet | None, zone: ZoneInfo) -> datetime:
    """The first instant from `instant` on that is not quiet."""
    if not quiet_at(instant, quiet, zone):
        return instant
    local = instant.astimezone(zone)
    day = local.date() if local.time() < quiet[1] else local.date() + timedelta(days=1)
    return max(local_instant(day, quiet[1], zone), instant)
