"""From tasks and the ledger to the table: one row a task, every array made once and filled."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from advisor import lawn_work
from advisor.clock import local_instant, to_numpy
from advisor.model import LABEL_QUANTITIES, Area, Record, Task
from advisor.season import last_pass, latest_day
from advisor.task_table.facts import FACTS, NEIGHBOUR_FACTS, neighbour_facts, task_facts
from advisor.task_table.notes import task_notes
from advisor.task_table.scalars import SCALARS, task_scalars
from advisor.task_table.table import TaskTable

#: moments of `TaskTable.instants`
INSTANTS = ("last_pass", "latest_day_end", "licence_end", "seen_drained", "seen_drained_day_end", *lawn_work.INSTANTS)


def build(
    tasks: Sequence[Task], records: Sequence[Record], now: datetime, site_index: Sequence[int] | None = None
) -> TaskTable:
    """Arrays of the tasks of one or more households, as the ledger stands at `now`.

    Parameters
    ----------
    site_index : sequence of int, optional
        Position of each task's site on the forecast's site axis; all on the first one where absent.
    """
    count = len(tasks)
    site = np.asarray(site_index if site_index is not None else np.zeros(count), dtype=int)
    label = _unknown(LABEL_QUANTITIES, count)
    scalars = _unknown(SCALARS, count)
    instants = {name: np.full(count, np.datetime64("NaT"), dtype="datetime64[s]") for name in INSTANTS}
    facts: dict[str, list[str | None]] = {name: [None] * count for name in FACTS}
    blank: dict[str, np.ndarray] = {}
    notes: dict[tuple[str, int], str] = {}
    for at, task in enumerate(tasks):
        _fill(label, at, task.label.limits)
        _fill(scalars, at, task_scalars(task, records, now))
        _fill(instants, at, _instants(task, records, now))
        _fill(facts, at, task_facts(task, now))
        for name in task.label.blank:
            blank.setdefault(name, np.zeros(count, dtype=bool))[at] = True
        notes.update({(quantity, at): text for quantity, text in task_notes(task)})
    neighbours, words = _neighbours(tasks)
    return TaskTable(
        site=site,
        zone=[task.household.site.zone for task in tasks],
        duration=np.array([task.duration for task in tasks], dtype=float),
        clean_up=np.array(
            [task.household.sprayers[task.treatment.sprayer].clean_up for task in tasks], dtype=float
        ),
        label=label,
        blank=blank,
        facts=facts,
        scalars=scalars,
        instants=instants,
        neighbours=neighbours,
        neighbour_facts=words,
        neighbour_names=[[neighbour.name for neighbour in task.area.neighbours] for task in tasks],
        hours=[task.household.hours for task in tasks],
        irrigation=[task.area.irrigation for task in tasks],
        notes=notes,
        tasks=tuple(tasks),
    )


def _unknown(names, count: int) -> dict[str, np.ndarray]:
    return {name: np.full(count, np.nan) for name in names}


def _fill(columns, at: int, row) -> None:
    for name, value in row.items():
        columns[name][at] = value


def _instants(task: Task, records: Sequence[Record], now: datetime) -> dict[str, np.datetime64]:
    """The moments of one task, UTC; only those that there are."""
    zone = task.household.site.zone
    out = lawn_work.lawn_instants(task.area, zone, now)
    drained = _seen_drained(task.area, zone, now)
    if drained is not None:
        out["seen_drained"] = to_numpy(drained)
        out["seen_drained_day_end"] = to_numpy(local_instant(task.area.soil_seen + timedelta(days=1), time(0), zone))
    last = last_pass(task, records)
    if last is not None:
        out["last_pass"] = to_numpy(last.end)
    latest = latest_day(task, now)
    if latest is not None:
        out["latest_day_end"] = _end_of(latest, zone)
    licence = task.household.licence
    if licence is not None and licence.valid_until is not None:
        out["licence_end"] = _end_of(licence.valid_until, zone)
    return out


def _seen_drained(area: Area, zone: ZoneInfo, now: datetime) -> datetime | None:
    """When the soil was seen moist or dry; at the beginning of that day where its time is not stated, or lies ahead."""
    if area.soil_state not in ("moist", "dry") or area.soil_seen is None:
        return None
    began, seen = (local_instant(area.soil_seen, at, zone) for at in (time(0), area.soil_seen_at or time(0)))
    if seen <= now:
        return seen
    return began if began <= now else None


def _end_of(day: date, zone: ZoneInfo) -> np.datetime64:
    """The last second of a local day."""
    return to_numpy(datetime(day.year, day.month, day.day, 23, 59, 59, tzinfo=zone))


def _neighbours(tasks: Sequence[Task]) -> tuple[dict[str, np.ndarray], dict[str, np.ndarray]]:
    """Numbers and words of the neighbours (task, slot)."""
    shape = len(tasks), max((len(task.area.neighbours) for task in tasks), default=0)
    numbers = {name: np.full(shape, np.nan) for name in ("distance", "bearing", "arc")}
    words = {name: np.full(shape, "", dtype=object) for name in NEIGHBOUR_FACTS.values()}
    for at, task in enumerate(tasks):
        for slot, neighbour in enumerate(task.area.neighbours):
            numbers["distance"][at, slot] = neighbour.distance
            numbers["bearing"][at, slot] = np.nan if neighbour.bearing is None else neighbour.bearing
            numbers["arc"][at, slot] = neighbour.arc
            _fill(words, (at, slot), neighbour_facts(neighbour))
    return numbers, words
