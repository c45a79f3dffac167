"""Which of the recorded passes count for a task: by area, by active ingredient, by product and by the label's year.

A pass counts by what it put down, whatever the treatment was called. A sequence that is begun again, or a second
product with the same active ingredient, begins nothing new.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from advisor.model import Household, Label, Record, Task


def share_ingredient(names: Iterable[str], others: Iterable[str]) -> bool:
    """Whether two lists of active ingredients have one in common, however it is written."""
    return not {name.casefold() for name in names}.isdisjoint(name.casefold() for name in others)


def same_ingredient(task: Task, record: Record) -> bool:
    """Whether a pass was on the task's area and with one of its label's active ingredients."""
    return record.area == task.area.id and share_ingredient(
        (ingredient.name for ingredient in task.label.active_ingredients), record.active_ingredients
    )


def last_pass(task: Task, records: Sequence[Record]) -> Record | None:
    """The newest record on the task's area with one of its active ingredients."""
    matching = [record for record in records if same_ingredient(task, record)]
    return max(matching, key=lambda record: record.end, default=None)


def records_of_year(task: Task, records: Sequence[Record], year: tuple[date, date]) -> list[Record]:
    """Passes on the task's area in [first, next first) with one of its active ingredients, oldest first."""
    zone = task.household.site.zone
    return sorted(
        (
            record
            for record in records
            if same_ingredient(task, record)
            and year[0] <= record.started_at.astimezone(zone).date() < year[1]
        ),
        key=lambda record: record.started_at,
    )


def label_of(household: Household, record: Record) -> Label | None:
    """The label of the product that a record names; of the treatment where the record names none."""
    if record.product.strip():
        return next((one for one in household.labels.values() if one.is_called(record.product)), None)
    treatment = household.treatments.get(record.treatment)
    return None if treatment is None else household.labels.get(treatment.label)
