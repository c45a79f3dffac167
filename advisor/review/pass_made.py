"""The pass that is looked back at: the task that it did, when it was over, and the hours around it that tell."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from advisor.clock import to_numpy
from advisor.model import Household, Record, Task
from advisor.one_start import lasting

#: what a review looks at: so much before the pass (soil water, drying leaves) and after it (nights, watering in) [h]
HOURS_BEFORE, HOURS_AFTER = 8 * 24, 9 * 24


def task_of(household: Household, record: Record, ledger: Sequence[Record]) -> Task | None:
    """The task that a record did; None where treatment, area or label is no longer in the household's files."""
    treatment, area = household.treatments.get(record.treatment), household.areas.get(record.area)
    if treatment is None or area is None or treatment.label not in household.labels:
        return None
    done = tuple(
        sorted(
            (
                one for one in ledger
                if one.area == record.area and one.treatment == record.treatment
                and one.started_at < record.started_at
            ),
            key=lambda one: one.started_at,
        )
    )  # fmt: skip
    task = Task(household, treatment, area, household.labels[treatment.label], len(done) + 1, done)
    if record.ended_at is not None and record.ended_at > record.started_at:
        task = lasting(task, (record.ended_at - record.started_at).total_seconds() / 3600.0)
    elif area.id not in treatment.duration or treatment.duration[area.id] is None:
        task = lasting(task, 1.0)
    return task


def end_of_work(task: Task, record: Record) -> datetime:
    """When a pass was over; where that is not stated, as long after its start as the task takes."""
    return record.ended_at or record.started_at + timedelta(hours=task.duration)


def axis_of(record: Record) -> tuple[np.datetime64, int]:
    """(first hour, hours) that a review of the record looks at."""
    start = to_numpy(record.started_at, "h")
    return start - np.timedelta64(HOURS_BEFORE, "h"), HOURS_BEFORE + HOURS_AFTER


def span_of(record: Record) -> tuple[datetime, datetime]:
    """The same as moments: from when, and until when."""
    return record.started_at - timedelta(hours=HOURS_BEFORE), record.started_at + timedelta(hours=HOURS_AFTER)
