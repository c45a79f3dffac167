"""What the label leaves of its year on an area: passes, product, active ingredients, and the days in between."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from advisor.model import Record, Task
from advisor.season import (
    IngredientTotal,
    ingredient_totals,
    label_year,
    latest_day,
    passes_left,
    planned_rate,
    records_of_year,
)
from advisor.sequence.passes import legal_from


@dataclass(frozen=True, slots=True)
class Room:
    """The label year of a task as the ledger stands.

    Attributes
    ----------
    year : (date, date)
        First day of the label year and of the one after it.
    passes : int
        Made this year with one of the label's active ingredients, whatever the treatment was called.
    most_passes : int, optional
        The label's number, where it states one.
    more_passes : float
        Passes at the planned rate that every total and the number still allow; NaN where one is not known.
    ingredients : tuple of IngredientTotal
    legal_from : datetime, optional
        End of the label's interval since the last pass.
    latest : date, optional
        The last sensible day.
    """

    year: tuple[date, date]
    passes: int
    most_passes: int | None
    more_passes: float
    ingredients: tuple[IngredientTotal, ...]
    legal_from: datetime | None
    latest: date | None

    @property
    def is_full(self) -> bool:
        """Whether it is known that not one pass more is allowed."""
        return not math.isnan(self.more_passes) and self.more_passes < 1.0

    def allows(self, passes: int) -> int:
        """So many of these passes fit; all of them where that is not known."""
        return passes if math.isnan(self.more_passes) else int(min(passes, self.more_passes))


def room_left(task: Task, records: Sequence[Record], now: datetime) -> Room:
    """What the label's year that holds `now` still allows on the task's area."""
    year = label_year(task, now)
    seen = records_of_year(task, [one for one in records if one.started_at <= now], year)
    rate = planned_rate(task)
    totals = ingredient_totals(task, seen, rate)
    most = task.label.limits.get("maximum_passes_per_year")
    return Room(
        year,
        len(seen),
        None if most is None else int(most),
        passes_left(task.label, seen, rate, totals),
        totals,
        legal_from(task, records),
        latest_day(task, now),
    )
