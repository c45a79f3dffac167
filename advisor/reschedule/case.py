"""One missed task: what its choices are made from, what a day is worth to it, and how likely a window is."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from advisor.model import Record, Task
from advisor.outlook import TaskOutlook
from advisor.sequence import Room
from advisor.waiting import Climate, cost_of_a_day, gains, lateness_gain


@dataclass(frozen=True, eq=False)
class Case:
    """A missed task.

    Attributes
    ----------
    records : sequence of Record
        Made until `now`.
    wanted : (date, date), optional
        First and last day on which the pass was wanted, whatever day was chosen for it since.
    climate : callable, optional
        How often a day had a window in past years.
    """

    scored: TaskOutlook
    records: Sequence[Record]
    now: datetime
    today: date
    wanted: tuple[date, date] | None
    room: Room
    climate: Climate | None

    @property
    def task(self) -> Task:
        return self.scored.task

    @property
    def cost_of_a_day(self) -> float:
        """Part of a pass that each day of waiting costs."""
        return cost_of_a_day(self.task.household.settings)

    def in_season(self, day: date) -> bool:
        """Whether a day is not past the last sensible one."""
        return self.room.latest is None or day <= self.room.latest

    def days_late(self, day: date) -> int:
        return 0 if self.wanted is None else max((day - self.wanted[1]).days, 0)

    def worth(self, day: date) -> float:
        """Of a success on a day, today's on time being 1."""
        until = None if self.wanted is None else self.wanted[1]
        return float(gains(list(days_between(self.today, day)), None, until, self.cost_of_a_day)[-1])

    def chance_between(self, first: date, last: date) -> float | None:
        """That one of the days has a window, each by its frequency in past years; None where no year tells."""
        if self.climate is None:
            return None
        shares = [share for share in map(self.climate, days_between(first, last)) if share is not None]
        return None if not shares else 1.0 - math.prod(1.0 - share for share in shares)

    def worth_of_the_first_window(self, first: date, last: date) -> float:
        """Expected worth of going on the first of the days that has a window, by past years."""
        value, none_yet = 0.0, 1.0
        for day in days_between(first, last):
            share = self.climate(day) or 0.0
            value += none_yet * share * self.worth(day)
            none_yet *= 1.0 - share
        return value


def days_between(first: date, last: date) -> Iterator[date]:
    """Every day from the first to the last, both of them too."""
    return (first + timedelta(days=one) for one in range((last - first).days + 1))


def what_lateness_costs(days_late: int) -> float:
    """Part of a pass that is lost by being so late, 1 - 0.5 ** (days / 21)."""
    return 1.0 - float(lateness_gain(days_late))
