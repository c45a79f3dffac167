"""Days as people say them, and text in lines."""

from __future__ import annotations

import textwrap
from datetime import date


def short_day(day: date) -> str:
    """Such as "25 Sep"."""
    return f"{day.day} {day:%b}"


def week_day(day: date) -> str:
    """Such as "Fri 25 Sep"."""
    return f"{day:%a} {day.day} {day:%b}"


def full_day(day: date) -> str:
    """Such as "25 Sep 2026"."""
    return f"{day.day} {day:%b %Y}"


def long_date(day: date) -> str:
    """As it is read aloud, such as "Friday 25 September"."""
    return f"{day:%A} {day.day} {day:%B}"


def wrap(text: str, width: int, first: str = "", rest: str = "") -> str:
    """Text in lines of `width`, the first one indented by `first`, the others by `rest`."""
    return textwrap.fill(text, width, initial_indent=first, subsequent_indent=rest)


def wrap_lines(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """The same, line by line."""
    return textwrap.wrap(text, width, initial_indent=first, subsequent_indent=rest)
