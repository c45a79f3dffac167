"""Field types for times: of day, of the year, of the week, and time zones."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any

from pydantic import BeforeValidator

from advisor.clock import time_zone
from advisor.errors import did_you_mean
from advisor.household.fields import fault, printed

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def read_time(value: Any) -> dt.time:
    """A local time of day: "17:00", or TOML's own 17:00:00."""
    if isinstance(value, dt.time):
        return value
    match = re.fullmatch(r"\s*(\d{1,2}):(\d{2})\s*", value) if isinstance(value, str) else None
    if not match or int(match[1]) > 23 or int(match[2]) > 59:
        raise fault(
            f"{printed(value)} is not a time of day", 'write it like "06:30" or "17:00", from 00:00 to 23:59'
        )
    return dt.time(int(match[1]), int(match[2]))


def read_date(value: Any) -> dt.date:
    """A date: TOML's own 2026-09-21, or the same as text."""
    if isinstance(value, dt.date) and not isinstance(value, dt.datetime):
        return value
    if isinstance(value, str):
        try:
            return dt.date.fromisoformat(value.strip())
        except ValueError:
            pass
    raise fault(f"{printed(value)} is not a date", "write it like 2026-09-21")


def _read_month_day(value: Any) -> tuple[int, int]:
    if isinstance(value, dt.date):
        return value.month, value.day
    match = re.fullmatch(r"\s*(?:\d{4}-)?(\d{1,2})-(\d{1,2})\s*", value) if isinstance(value, str) else None
    if match:
        try:
            day = dt.date(2023, int(match[1]), int(match[2]))  # a year without 29 February
            return day.month, day.day
        except ValueError:
            pass
    raise fault(
        f"{printed(value)} is not a day of the year", 'write month and day, such as "10-05" for 5 October'
    )


def _read_spans(value: Any) -> list[tuple[dt.time, dt.time]]:
    """Hours of a day: "17:00-20:30", or a list of such, or "none"."""
    texts = [value] if isinstance(value, str) else value
    if texts == ["none"]:
        return []
    if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
        raise fault(
            f"{printed(value)} does not say hours", 'write "17:00-20:30", or a list of such, or "none"'
        )
    spans = sorted(_span(text) for text in texts)
    for before, after in zip(spans, spans[1:], strict=False):
        if after[0] < before[1]:
            raise fault(
                f"the hours {_span_text(before)} and {_span_text(after)} overlap", "join them into one"
            )
    return spans


def _span(text: str) -> tuple[dt.time, dt.time]:
    parts = re.split(r"\s*(?:-|–|to)\s*", text.strip())
    if len(parts) != 2:
        raise fault(f'"{text}" does not say hours', 'write them like "17:00-20:30"')
    start, end = read_time(parts[0]), read_time(parts[1])
    if not start < end:
        raise fault(
            f'"{text}" ends before it begins',
            'hours lie within one day: write "17:00-20:30", or split at midnight',
        )
    return start, end


def _span_text(span: tuple[dt.time, dt.time]) -> str:
    return f"{span[0]:%H:%M}-{span[1]:%H:%M}"


def _read_weekdays(value: Any) -> frozenset[int]:
    """Weekdays as numbers from 0 = Monday: "every day", or a list of names, long or of three letters."""
    words = [value] if isinstance(value, str) else value
    if not isinstance(words, list) or not words or not all(isinstance(word, str) for word in words):
        raise fault(
            f"{printed(value)} does not name weekdays", 'write a list such as ["Tue", "Fri"], or "every_day"'
        )
    days: set[int] = set()
    for word in words:
        days |= weekdays_of(word)
    return frozenset(days)


#: spelling -> weekdays
DAY_WORDS: dict[str, tuple[int, ...]] = {
    "every_day": tuple(range(7)),
    "weekdays": (0, 1, 2, 3, 4),
    "weekend": (5, 6),
    **{name: (index,) for index, name in enumerate(WEEKDAYS)},
}


def weekdays_of(word: str) -> set[int]:
    key = word.strip().casefold().replace(" ", "_").replace("weekends", "weekend")
    for name, days in DAY_WORDS.items():
        if key == name or (len(days) == 1 and key == name[:3]):
            return set(days)
    raise fault(f'"{word}" is not a weekday', did_you_mean(key, DAY_WORDS))


def _read_zone(value: Any) -> str:
    if not isinstance(value, str):
        raise fault(f"{printed(value)} is not a time zone", 'write it like "America/Chicago"')
    if time_zone(value) is None:
        from zoneinfo import available_timezones

        hint = did_you_mean(value, available_timezones()) or 'such as "America/Chicago"'
        raise fault(f'"{value}" is not a time zone', hint)
    return value


TimeOfDay = Annotated[dt.time, BeforeValidator(read_time)]
Day = Annotated[dt.date, BeforeValidator(read_date)]
MonthDay = Annotated[tuple[int, int], BeforeValidator(_read_month_day)]
Spans = Annotated[list[tuple[dt.time, dt.time]], BeforeValidator(_read_spans)]
Weekdays = Annotated[frozenset[int], BeforeValidator(_read_weekdays)]
Zone = Annotated[str, BeforeValidator(_read_zone)]


def _read_day_word(value: str) -> str:
    weekdays_of(value)
    return value


DayWord = Annotated[str, BeforeValidator(_read_day_word)]
