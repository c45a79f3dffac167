"""Instants in UTC as numpy hours and seconds; local time only for reading and printing."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from advisor.errors import UsageError

HOUR = np.timedelta64(1, "h")
#: names of the time zone database; its reader looks through folders for anything else
_ZONE = re.compile(r"[A-Za-z0-9_+-]{1,30}(?:/[A-Za-z0-9_+-]{1,30}){0,3}")


def time_zone(name: str) -> ZoneInfo | None:
    """The zone of this name, such as "America/Chicago"; None where there is none."""
    if not _ZONE.fullmatch(name):
        return None
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        return None


def parse_instant(text: str, what: str = "time") -> datetime:
    """An ISO 8601 instant with a zone, as an aware UTC datetime.

    Raises
    ------
    UsageError
        When it is not ISO 8601, or says no zone.
    """
    try:
        instant = datetime.fromisoformat(text)
    except (TypeError, ValueError) as error:
        raise UsageError(
            f'{what} "{text}" is not a date and time', hint='write it like "2026-09-21T12:00Z"'
        ) from error
    if instant.tzinfo is None:
        raise UsageError(
            f'{what} "{text}" says no time zone', hint=f'write "{text}Z" for UTC, or add an offset'
        )
    try:
        return instant.astimezone(UTC)
    except OverflowError as error:
        raise UsageError(f'{what} "{text}" is outside the years 1 to 9999 of UTC') from error


def parse_day(text: str, what: str = "day") -> date:
    try:
        return date.fromisoformat(text)
    except (TypeError, ValueError) as error:
        raise UsageError(f'{what} "{text}" is not a date', hint='write it like "2026-09-21"') from error


def to_numpy(instant: datetime, unit: str = "s") -> np.datetime64:
    """An aware datetime as naive UTC datetime64, truncated to `unit`."""
    return np.datetime64(instant.astimezone(UTC).replace(tzinfo=None), unit)


def from_numpy(instant: np.datetime64) -> datetime:
    return instant.astype("datetime64[s]").item().replace(tzinfo=UTC)


def iso(instant: datetime | np.datetime64 | None) -> str | None:
    """UTC text ending in Z, to the second; None for None and NaT."""
    if instant is None:
        return None
    if isinstance(instant, np.datetime64):
        if np.isnat(instant):
            return None
        instant = from_numpy(instant)
    return instant.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def local_text(hour: np.datetime64, zone: ZoneInfo) -> str:
    """A UTC hour as the person's clock shows it: "Thu 24 Sep 06:00"."""
    return from_numpy(hour).astimezone(zone).strftime("%a %-d %b %H:%M")


def local_dates(hours: np.ndarray, zone: ZoneInfo) -> np.ndarray:
    """The local calendar date of each UTC hour, datetime64[D]; days of 23 and 25 hours come out right."""
    return (hours + local_offsets(hours, zone)).astype("datetime64[D]")


def local_offsets(hours: np.ndarray, zone: ZoneInfo) -> np.ndarray:
    """UTC offset of each hour as timedelta64[s]. Asked once a day and then where a day changes its offset."""
    seconds = hours.astype("datetime64[s]")
    offsets = np.empty(len(seconds), dtype="timedelta64[s]")
    for block in range(0, len(seconds), 24):
        last = min(block + 24, len(seconds)) - 1
        first_offset, last_offset = _offset(seconds[block], zone), _offset(seconds[last], zone)
        if first_offset == last_offset:
            offsets[block : last + 1] = first_offset
        else:
            offsets[block : last + 1] = [_offset(second, zone) for second in seconds[block : last + 1]]
    return offsets


def _offset(second: np.datetime64, zone: ZoneInfo) -> np.timedelta64:
    offset = from_numpy(second).astimezone(zone).utcoffset()
    return np.timedelta64(int(offset.total_seconds()), "s")


def local_instant(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The UTC instant of a local wall time; a time that the clock skips gives the first one that exists,
    a time that the clock shows twice gives the first of the two."""
    wall = datetime.combine(day, at, tzinfo=zone)
    instant = wall.astimezone(UTC)
    back = instant.astimezone(zone).replace(tzinfo=None)
    if back != wall.replace(tzinfo=None):
        # In a gap zoneinfo applies the offset before the change; the first existing time is the change itself.
        before, after = wall.utcoffset(), (instant + timedelta(hours=3)).astimezone(zone).utcoffset()
        low = instant - abs(after - before)
        instant = _first_after_change(low, instant, zone)
    return instant


def _first_after_change(low: datetime, high: datetime, zone: ZoneInfo) -> datetime:
    offset = low.astimezone(zone).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + (high - low) / 2
        if middle.astimezone(zone).utcoffset() == offset:
            low = middle
        else:
            high = middle
    return high.replace(microsecond=0)
