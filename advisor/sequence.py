"""Which pass of which treatment is next on which area, derived from the ledger alone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from advisor.model import Area, Household, Record, Task, Treatment
from advisor.task_table import label_year


def passes_done(
    household: Household, treatment: Treatment, area: Area, records: Sequence[Record], now: datetime
) -> tuple[Record, ...]:
    """Passes of this treatment on this area in the label's year, oldest first."""
    task = Task(household, treatment, area, household.labels[treatment.label], 1)
    first, following = label_year(task, now)
    zone = household.site.zone
    done = [
        record
        for record in records
        if record.area == area.id
        and record.treatment == treatment.id
        and first <= record.started_at.astimezone(zone).date() < following
    ]
    return tuple(sorted(done, key=lambda record: record.started_at))


def next_tasks(household: Household, records: Sequence[Record], now: datetime) -> list[Task]:
    """The next pass of every treatment on every one of its areas; nothing where the sequence is complete."""
    tasks = []
    for treatment in household.treatments.values():
        for area_id in treatment.areas:
            area = household.areas[area_id]
            done = passes_done(household, treatment, area, records, now)
            if len(done) < treatment.passes:
                label = household.labels[treatment.label]
                tasks.append(Task(household, treatment, area, label, len(done) + 1, done))
    return tasks


def follow_up_span(task: Task) -> tuple[datetime, datetime] | None:
    """[from, until] in which this follow-up is wanted, never sooner than the label's interval; None for a first pass."""
    if not task.done:
        return None
    last = task.done[-1].ended_at or task.done[-1].started_at
    soonest = max(task.treatment.follow_up_from, task.label.limits.get("minimum_interval", 0.0))
    return last + timedelta(hours=soonest), last + timedelta(
        hours=max(task.treatment.follow_up_until, soonest)
    )


def is_overdue(task: Task, now: datetime) -> bool:
    span = follow_up_span(task)
    return span is not None and now > span[1]
