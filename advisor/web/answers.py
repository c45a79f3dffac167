"""Reading a form: every field is checked, every fault is told beside its field, nothing is guessed."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from advisor import units
from advisor.clock import local_instant


class Answers:
    """What a form brought. `faults` holds one sentence for each field that cannot be used.

    Parameters
    ----------
    given : mapping of str to str
        Fields by name.
    now : datetime
        Nothing that a person tells may lie after it.
    """

    def __init__(self, given: Mapping[str, str], now: datetime, zone: ZoneInfo, system: str):
        self.given, self.now, self.zone, self.system = given, now, zone, system
        self.faults: dict[str, str] = {}

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    def text(self, name: str, most: int = 400) -> str:
        """Printable text without line breaks or control characters."""
        words = "".join(char for char in self.given.get(name, "") if char.isprintable() or char in "\t\r\n")
        words = " ".join(words.split())
        if len(words) > most:
            self.faults[name] = f"That is longer than {most} letters."
        return words[:most]

    def choice(self, name: str, allowed: Collection[str]) -> str:
        word = self.given.get(name, "").strip()
        if word not in allowed:
            self.faults[name] = "Choose one of these." if word else "Choose one."
        return word

    def ticked(self, name: str) -> bool:
        return self.given.get(name, "") == "yes"

    def day(self, name: str) -> date | None:
        """A day that has begun; today when the field is empty."""
        text = self.given.get(name, "").strip()
        if not text:
            return self.today
        try:
            day = date.fromisoformat(text)
        except ValueError:
            self.faults[name] = "Write the day as year-month-day, such as 2026-09-21."
            return None
        if day > self.today:
            self.faults[name] = "That day lies in the future."
        elif (self.today - day).days > 3660:
            self.faults[name] = "That is more than ten years ago."
        return day

    def clock(self, name: str, *, needed: bool = True) -> time | None:
        text = self.given.get(name, "").strip()
        if not text and not needed:
            return None
        try:
            at = time.fromisoformat(text)
            if at.tzinfo is not None:
                raise ValueError
        except ValueError:
            self.faults[name] = "Write the time as hours and minutes, such as 17:05."
            return None
        return at.replace(second=0, microsecond=0)

    def instant(self, day: date | None, at: time | None) -> datetime | None:
        return None if day is None or at is None else local_instant(day, at, self.zone)

    def number(
        self, name: str, dimension: str, least: float, most: float, *, needed: bool = True
    ) -> float | None:
        """A quantity in the reader's unit, or with a unit of its own; canonical.

        `least` and `most` are canonical too, and inclusive.
        """
        text = self.given.get(name, "").strip().replace(",", "" if self.system == "us" else ".")
        if not text and not needed:
            return None
        unit = units.display_unit(dimension, self.system)
        try:
            value = float(text)
        except ValueError:
            try:
                return self._within(name, units.parse(text, dimension), dimension, least, most)
            except units.UnitError as error:
                self.faults[name] = (
                    f"This cannot be read as a number: {error.what}." if text else "A number is needed here."
                )
                return None
        factor, offset = units.conversion(unit, dimension)
        return self._within(name, value * factor + offset, dimension, least, most)

    def _within(self, name: str, value: float, dimension: str, least: float, most: float) -> float | None:
        if not math.isfinite(value) or not least - 1e-9 <= value <= most + 1e-9:
            low, high = (units.show(edge, dimension, self.system) for edge in (least, most))
            self.faults[name] = f"That is not between {low} and {high}."
            return None
        return value
