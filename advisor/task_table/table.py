"""The table itself: what the rules are asked about tasks, as arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np

from advisor.model import Task


@dataclass(frozen=True, eq=False)
class TaskTable:
    """Arrays over tasks.

    Attributes
    ----------
    site : ndarray of int (task,)
        Position of the task's site on the forecast's site axis.
    zone : sequence of ZoneInfo
    duration, clean_up : ndarray (task,)
        [h]
    label : mapping of str to ndarray (task,)
        Stated quantities of the label, canonical units; NaN where it does not state them.
    blank : mapping of str to ndarray of bool (task,)
        Required label fields that were left empty.
    facts : mapping of str to sequence of str or None (task,)
        What guards compare, `FACTS`; None where not stated.
    scalars : mapping of str to ndarray (task,)
        Numbers from the ledger and the household, `SCALARS`.
    instants : mapping of str to ndarray of datetime64[s] (task,)
        Moments from the ledger and the household, NaT where there is none.
    neighbours : mapping of str to ndarray (task, slot)
        distance [m], bearing and arc [degrees]; NaN in empty slots.
    neighbour_facts : mapping of str to ndarray of str (task, slot)
        kind, sensitivity and drift in words; "" in empty slots.
    neighbour_names : sequence of sequence of str
    hours : sequence of mapping
        Local working hours by weekday.
    irrigation : sequence of tuple of Watering or None
        The timetable; None where it is not stated.
    notes : mapping of (quantity, task) to str
        Why a quantity is unknown for a task.
    tasks : sequence of Task
    """

    site: np.ndarray
    zone: Sequence[ZoneInfo]
    duration: np.ndarray
    clean_up: np.ndarray
    label: Mapping[str, np.ndarray]
    blank: Mapping[str, np.ndarray]
    facts: Mapping[str, Sequence[str | None]]
    scalars: Mapping[str, np.ndarray]
    instants: Mapping[str, np.ndarray]
    neighbours: Mapping[str, np.ndarray]
    neighbour_facts: Mapping[str, np.ndarray]
    neighbour_names: Sequence[Sequence[str]]
    hours: Sequence[Mapping[int, tuple]]
    irrigation: Sequence[tuple | None]
    notes: Mapping[tuple[str, int], str] = field(default_factory=dict)
    tasks: Sequence[Task] = ()

    def __len__(self) -> int:
        return len(self.site)
