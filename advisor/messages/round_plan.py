"""The round of one day over many lawns: which pass first, which after it, and which has to wait.

What must be done first goes first: the window that closes soonest, where two close alike the pass that loses most by
waiting, then the order of travel. A pass is never planned outside its window or the person's hours.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from advisor.clock import from_numpy, local_instant
from advisor.drift.deposit import deposit_at_neighbour
from advisor.model import Household, Task
from advisor.outlook import Day, Outlook, TaskOutlook

#: up to so many passes every order is tried; more are put in order by their deadlines
EVERY_ORDER = 6
#: the work with room for mixing, refilling and looking, as the rule on hours wants it
ROOM = 1.5
COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
#: [%] of the rate that may reach a neighbour; the same as in the rules on drift
_DRIFT_LIMIT, _DRIFT_LIMIT_SENSITIVE = 0.3, 0.1

Span = tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Lawn:
    """A household of the round; `key` is its folder, `place` its position in the order of travel."""

    key: str
    outlook: Outlook
    place: int
    title: str = ""

    @property
    def name(self) -> str:
        return self.title or self.outlook.household.name


@dataclass(frozen=True, slots=True)
class Job:
    """One pass that may go: `starts` are spans of allowed starts, `loss` what waiting costs, in passes.

    `hours` is the work with the usual room for mixing and refilling; `clean_up` follows before the next lawn.
    """

    lawn: Lawn
    scored: TaskOutlook
    day: Day
    starts: tuple[Span, ...]
    hours: float
    loss: float
    clean_up: timedelta = timedelta(0)

    @property
    def task(self) -> Task:
        return self.scored.task

    @property
    def closes(self) -> datetime:
        return self.starts[-1][1]


@dataclass(frozen=True, slots=True)
class Stop:
    job: Job
    begins: datetime
    ends: datetime


@dataclass(frozen=True, slots=True)
class Round:
    """`stops` in order; `left_out` may go but do not fit; `closed` may not go, or are not known."""

    day: date
    lawns: tuple[Lawn, ...]
    stops: tuple[Stop, ...]
    left_out: tuple[Job, ...]
    closed: tuple[tuple[Lawn, TaskOutlook, Day | None], ...]
    travel: timedelta


def plan_round(
    lawns: Sequence[Lawn],
    day: date,
    now: datetime,
    travel: timedelta = timedelta(minutes=20),
    hours: Mapping[int, tuple[tuple[time, time], ...]] | None = None,
) -> Round:
    """The round of a day.

    Parameters
    ----------
    travel : timedelta
        From one lawn to another.
    hours : mapping, optional
        The person's own hours by weekday (0 = Monday), besides those of each lawn.
    """
    lawns = _told_apart(lawns)
    jobs, closed = [], []
    for lawn in lawns:
        for scored in lawn.outlook.tasks:
            found = next((one for one in scored.days if one.day == day), None)
            made = None if found is None or found.verdict != "go" else _job(lawn, scored, found, now, hours)
            if made is None:
                closed.append((lawn, scored, found))
            else:
                jobs.append(made)
    stops = _best_order(jobs, now, travel)
    done = {id(stop.job) for stop in stops}
    left = tuple(job for job in _by_deadline(jobs) if id(job) not in done)
    return Round(day, tuple(lawns), stops, left, tuple(closed), travel)


def usual_day(now: datetime, zone: ZoneInfo) -> date:
    """The day whose round is meant when none is named: tomorrow from noon on, and today before it."""
    at = now.astimezone(zone)
    return at.date() + timedelta(days=1 if at.hour >= 12 else 0)


def _told_apart(lawns: Sequence[Lawn]) -> list[Lawn]:
    """Lawns of the same name carry their folder too."""
    names = [lawn.name for lawn in lawns]
    return [
        replace(lawn, title=f"{lawn.name} ({lawn.key})") if names.count(lawn.name) > 1 else lawn for lawn in lawns
    ]


def _job(lawn: Lawn, scored: TaskOutlook, found: Day, now: datetime, hours) -> Job | None:
    """None where the person's own hours leave no room for it."""
    task, zone = scored.task, lawn.outlook.household.site.zone
    household, work = lawn.outlook.household, task.duration or 0.0
    length = timedelta(minutes=round(60.0 * ROOM * work))
    sprayer = household.sprayers.get(task.treatment.sprayer)
    clean_up = timedelta(minutes=round(60.0 * (sprayer.clean_up if sprayer is not None else 0.0)))
    starts = []
    for first, last in found.windows:
        # Within the last hour a start is as good as its beginning while the work stays in the hour that was judged.
        inside = max(timedelta(hours=1) - timedelta(hours=work), timedelta(0))
        begin, end = max(from_numpy(first), now), from_numpy(last) + inside
        for theirs in _spans(found.day, household.hours, zone):
            for own in [(begin, end + length)] if hours is None else _spans(found.day, hours, zone):
                low = max(begin, theirs[0], own[0])
                high = min(end, theirs[1] - length - clean_up, own[1] - length)
                if low <= high:
                    starts.append((low, high))
    if not starts:
        return None
    waiting = scored.waiting(found.day)
    loss = float(found.chance or 0.0) if waiting is None else max(waiting.go - waiting.wait, 0.0)
    return Job(lawn, scored, found, tuple(sorted(starts)), length / timedelta(hours=1), loss, clean_up)


def _spans(day: date, hours: Mapping[int, tuple[tuple[time, time], ...]], zone) -> list[Span]:
    spans = hours.get(day.weekday(), ())
    return [(local_instant(day, first, zone), local_instant(day, until, zone)) for first, until in spans]


# -- order


def _best_order(jobs: Sequence[Job], now: datetime, travel: timedelta) -> tuple[Stop, ...]:
    if len(jobs) <= EVERY_ORDER:
        orders = itertools.permutations(_by_deadline(jobs))
    else:
        orders = iter(_promising(jobs, now, travel))
    # The first of equals is kept, and the first order tried is that by deadline.
    return max((_walk(order, now, travel) for order in orders), key=_worth, default=())


def _by_deadline(jobs: Sequence[Job]) -> list[Job]:
    return sorted(jobs, key=lambda job: (job.closes, -round(job.loss, 2), job.lawn.place, job.task.id))


def _promising(jobs: Sequence[Job], now: datetime, travel: timedelta) -> list[list[Job]]:
    """By deadline, with lawns kept together, and each of these with one pass brought to the front."""
    plain = _by_deadline(jobs)
    first = {lawn: at for at, lawn in reversed(list(enumerate(job.lawn.key for job in plain)))}
    together = sorted(plain, key=lambda job: first[job.lawn.key])
    by_loss = sorted(plain, key=lambda job: -job.loss)
    orders = [plain, together]
    for base in (plain, together):
        missed = set(map(id, base)) - {id(stop.job) for stop in _walk(base, now, travel)}
        for job in by_loss:
            if id(job) in missed:
                orders.append([job, *(one for one in base if one is not job)])
    return orders


def _walk(order: Sequence[Job], now: datetime, travel: timedelta) -> tuple[Stop, ...]:
    """The passes of an order as early as they can begin; what cannot begin any more is passed over."""
    stops: list[Stop] = []
    at, last = now, None
    for job in order:
        moves = last is not None and job.lawn.key != last.lawn.key
        arrived = at + (last.clean_up + travel if moves else timedelta(0))
        begins = next((max(low, arrived) for low, high in job.starts if max(low, arrived) <= high), None)
        if begins is None:
            continue
        stops.append(Stop(job, begins, begins + timedelta(hours=job.hours)))
        at, last = stops[-1].ends, job
    return tuple(stops)


def _worth(stops: Sequence[Stop]) -> tuple:
    """What is not lost by waiting, then how many passes, the slack of the tightest, little travel, an early end."""
    if not stops:
        return (0.0, 0, timedelta(0), 0, 0.0)
    slack = min(stop.job.closes - stop.begins for stop in stops)
    moves = sum(one.job.lawn.key != other.job.lawn.key for one, other in itertools.pairwise(stops))
    saved = round(sum(stop.job.loss for stop in stops), 3)
    return saved, len(stops), min(slack, timedelta(hours=1)), -moves, -stops[-1].ends.timestamp()


# -- what is needed


@dataclass(frozen=True, slots=True)
class Turn:
    """What a wind from `origin` does: `closed` are stops whose neighbours it would reach, `following` the next that
    stays open; None where all are closed."""

    origin: str
    closed: tuple[tuple[Stop, str], ...]
    following: Stop | None


def wind_turns(stops: Sequence[Stop]) -> list[Turn]:
    """For each wind that closes a stop: which, for whose sake, and where to go instead."""
    turns = []
    for number, origin in enumerate(COMPASS):
        closed = [(stop, name) for stop in stops if (name := _reached(stop.job.task, 45.0 * number))]
        if closed:
            shut = {id(stop) for stop, _ in closed}
            turns.append(Turn(origin, tuple(closed), next((one for one in stops if id(one) not in shut), None)))
    return turns


def _reached(task: Task, wind_from: float) -> str:
    """The neighbour that a steady wind from there would carry too much onto; empty where there is none."""
    for one in task.area.neighbours:
        if not one.is_reached_by_drift:
            continue
        limit = _DRIFT_LIMIT_SENSITIVE if one.is_sensitive else _DRIFT_LIMIT
        reaches = deposit_at_neighbour(
            np.array(one.distance), None if one.bearing is None else np.array(one.bearing),
            np.array(wind_from), np.array(3.0), np.array(one.arc),
        )  # fmt: skip
        if not float(reaches) <= limit:
            return one.name
    return ""


def to_tell(household: Household, tasks: Sequence[Task]) -> list[str]:
    """Who must be told and what must be posted before a visit, in general terms."""
    found = []
    people = sorted({one.name for task in tasks for one in task.area.neighbours if one.kind == "people"})
    bees = sorted({one.name for task in tasks for one in task.area.neighbours if one.kind == "bees"})
    if household.for_hire:
        found.append("tell the customer, and neighbours who asked; post signs at the start")
    found += [f"see that nobody is near: {', '.join(people)}"] if people else []
    found += [f"tell the keeper of: {', '.join(bees)}"] if bees else []
    return found
