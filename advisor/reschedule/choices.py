"""A missed pass, the choices that are left, and what each of them leads to: values only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

import numpy as np

from advisor.model import PlanEntry, PlanKind, Task
from advisor.outlook import TaskOutlook
from advisor.sequence import Room

Kind = Literal["window", "late", "later", "again", "leave"]


@dataclass(frozen=True, slots=True)
class Effect:
    """What a choice leads to.

    Attributes
    ----------
    passes_used, most_passes : int, optional
        Of the label year after it, and the label's number where it states one.
    share_used : float
        Of the yearly maximum of the active ingredient nearest to it, 1 for all; NaN where it is not known.
    year_ends : date
        Last day of that label year.
    seed_from : date, optional
        First day for seed after the last pass of the choice; None where the label of a soil product does not say.
    seeding_moves : bool
        Whether a seeding that is planned would come too soon.
    later_passes : tuple of (from, until)
        Days on which the passes after it are wanted.
    passes_short : int
        Passes of the sequence that this label year does not allow any more, or for which the season is too short.
    """

    passes_used: int
    most_passes: int | None
    share_used: float
    year_ends: date
    seed_from: date | None
    seeding_moves: bool
    later_passes: tuple[tuple[date, date], ...]
    passes_short: int


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that can be done.

    Attributes
    ----------
    day, until : date
        First and last day of it.
    start, last_start : datetime64[h], optional
        The window on that day.
    verdict : str
        "go", or "unknown" where it is too early or something is missing.
    chance : float, optional
        That everything holds on the day, or that a good day comes by `until`; None where nothing tells.
    worth : float
        Of a success, in passes made on time.
    value : float
        Worth times chance, nothing where the chance is not known: what the choices are ranked by.
    days_late : int
    plan : PlanKind
        How it is written into the plan.
    because : str
        Of "leave": what the day follows from.
    follow_up_chance : float, optional
        Of "again": how likely the follow-ups find a window; None where that is not known.
    """

    id: str
    kind: Kind
    day: date
    until: date
    start: np.datetime64 | None
    last_start: np.datetime64 | None
    verdict: str
    chance: float | None
    worth: float
    value: float
    days_late: int
    effect: Effect
    plan: PlanKind
    because: str = ""
    follow_up_chance: float | None = None

    def entry(self, task: Task, now: datetime, says: str) -> PlanEntry:
        """The change of plan that taking this choice makes."""
        day = self.until if self.plan == "pass-by" else self.day
        return PlanEntry(task.treatment.id, task.area.id, self.plan, day, now, says)


@dataclass(frozen=True, slots=True)
class Missed:
    """A task whose pass is overdue, or was told to be missed.

    `wanted` are the first and last day on which the pass was wanted; `closed` says in a few words why the label leaves
    no pass this year, or why that is not known; empty where it leaves one.
    """

    task: Task
    scored: TaskOutlook
    overdue: bool
    wanted: tuple[date, date] | None
    days_late: int
    room: Room
    choices: tuple[Choice, ...]
    closed: str = ""
