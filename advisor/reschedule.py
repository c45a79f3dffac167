"""A pass that was missed: what can still be done, ranked. Choosing changes the plan, never the records.

======  ================================================================================================
kind    what it is
======  ================================================================================================
window  a day inside the time in which the pass is wanted
late    a day after it, at the worth that lateness leaves
later   the first good day after the forecast, until the last one that makes sense
again   the sequence begun anew: a first pass, and the follow-ups after it
leave   nothing more this season
======  ================================================================================================
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Literal

import numpy as np

from advisor.model import PlanEntry, PlanKind, Record, Task
from advisor.outlook import Day, Outlook, TaskOutlook
from advisor.planning import day_for_seed, seeding_wait
from advisor.season import ingredient_totals, label_year, planned_rate, records_of_year, worst_share
from advisor.sequence import Room, follow_up_span, is_overdue, room_left
from advisor.sequence.season import next_season
from advisor.waiting import Climate, cost_of_a_day, gains, lateness_gain

Kind = Literal["window", "late", "later", "again", "leave"]
#: what a sequence that is begun again is worth when all of its passes come off: it does the whole job, at the price of
#: one pass more and of the weeks that are gone. Common practice, no source.
WORTH_AGAIN = 0.75
#: what is left until the next season: the weeds recover and set seed, and the whole sequence is before one again.
#: Common practice, no source.
WORTH_LEFT = 0.25
#: how long a season is looked at for a window in past years [days]
SEASON_DAYS = 60
#: so many days of each kind are offered
MOST_DAYS = 3


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
    #: for "leave": what the day follows from; for "again": how likely the follow-ups find a window, None unknown
    because: str = ""
    follow_up_chance: float | None = None

    def entry(self, task: Task, now: datetime, says: str) -> PlanEntry:
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


def find_missed(
    outlook: Outlook,
    records: Sequence[Record],
    told: Collection[str] = (),
    climate: dict[str, Climate] | None = None,
) -> list[Missed]:
    """Every open task that is overdue, or that somebody told of by its id, with its ranked choices."""
    found = []
    for scored in outlook.tasks:
        overdue = is_overdue(scored.task, outlook.now)
        if overdue or scored.task.id in told:
            found.append(_missed(outlook, scored, records, overdue, (climate or {}).get(scored.task.id)))
    return found


def _missed(
    outlook: Outlook, scored: TaskOutlook, records: Sequence[Record], overdue: bool, climate: Climate | None
) -> Missed:
    task, now = scored.task, outlook.now
    zone = task.household.site.zone
    records = [one for one in records if one.started_at <= now]
    today = now.astimezone(zone).date()
    span = follow_up_span(replace(task, plan=None))
    wanted = None if span is None else tuple(moment.astimezone(zone).date() for moment in span)
    room = room_left(task, records, now)
    case = _Case(outlook, scored, records, today, wanted, room, climate)
    closed = ""
    choices: list[Choice] = []
    if room.is_full:
        closed = _why_full(room)
    else:
        if math.isnan(room.more_passes):
            closed = "an earlier pass of this year cannot be added up, so no day can be a go until its amount is known"
        choices += case.days() + case.later() + case.again()
    choices += case.leave()
    ranked = sorted(choices, key=lambda one: (-round(one.value, 9), _ORDER[one.kind], one.day))
    late = 0 if wanted is None else max((today - wanted[1]).days, 0)
    return Missed(task, scored, overdue, wanted, late, room, tuple(ranked), closed)


_ORDER: dict[str, int] = {"window": 0, "late": 1, "later": 2, "again": 3, "leave": 4}


def _why_full(room: Room) -> str:
    if room.most_passes is not None and room.passes >= room.most_passes:
        return f"all {room.most_passes} passes that the label allows in its year are made"
    return "the label's yearly total leaves room for no pass more"


@dataclass(frozen=True, eq=False)
class _Case:
    """One missed task, and what its choices are made from."""

    outlook: Outlook
    scored: TaskOutlook
    records: Sequence[Record]
    today: date
    wanted: tuple[date, date] | None
    room: Room
    climate: Climate | None

    @property
    def task(self) -> Task:
        return self.scored.task

    @property
    def latest(self) -> date | None:
        return self.room.latest

    # the kinds ------------------------------------------------------------------------------------------------------

    def days(self) -> list[Choice]:
        """Days of the forecast that are a go, and those that may become one."""
        on_time, late = [], []
        for day in self.scored.days:
            if day.verdict == "no-go" or not day.chance and day.verdict != "go":
                continue
            if self.latest is not None and day.day > self.latest:
                continue
            if self.wanted is not None and day.day < self.wanted[0]:
                continue
            in_time = self.wanted is None or day.day <= self.wanted[1]
            (on_time if in_time else late).append(self._on(day, "window" if in_time else "late"))
        best = sorted(on_time, key=lambda one: (-one.value, one.day))[:MOST_DAYS]
        return best + sorted(late, key=lambda one: (-one.value, one.day))[:MOST_DAYS]

    def later(self) -> list[Choice]:
        """Waiting for a good day after the forecast, while the season lasts."""
        reached = max((day.day for day in self.scored.days if day.verdict != "unknown" or day.chance), default=None)
        first = self.today if reached is None else reached + timedelta(days=1)
        last = self.latest or self.today + timedelta(days=SEASON_DAYS)
        if first > last:
            return []
        chance = self._chance_between(first, last)
        value = 0.0 if chance is None else self._first_good_day(first, last)
        worth = value / chance if chance else self._worth(first)
        effect = self._effect([first])
        return [
            Choice(f"{self.task.id}/later", "later", first, last, None, None, "unknown", chance, worth, value,
                   self._late(first), effect, "pass-by")
        ]  # fmt: skip

    def again(self) -> list[Choice]:
        """The sequence begun anew on the best day that is in sight; nothing where it has one pass only."""
        wanted = self.task.treatment.passes
        if wanted < 2 or not self.task.done:
            return []
        coming = [day for day in self.scored.days if day.verdict == "go" or (day.verdict == "unknown" and day.chance)]
        coming = [day for day in coming if self.latest is None or day.day <= self.latest]
        if not coming:
            return []
        cost = cost_of_a_day(self.task.household.settings)

        def promise(day: Day) -> tuple[float, int]:
            return day.chance * (1.0 - cost * (day.day - self.today).days), -day.day.toordinal()

        best = max(coming, key=promise)
        made = self._passes_from(best.day, wanted)
        effect = self._effect(made, wanted)
        follow_up = self._follow_up_chance(made)
        each = 0.0 if follow_up is None else follow_up
        complete = (1.0 + (len(made) - 1) * each) / wanted
        worth = WORTH_AGAIN * (1.0 - cost * (best.day - self.today).days)
        choice = self._on(best, "again")
        return [
            replace(choice, id=f"{self.task.id}/again", worth=worth, value=worth * best.chance * complete, days_late=0,
                    effect=effect, plan="restart", follow_up_chance=follow_up)
        ]  # fmt: skip

    def leave(self) -> list[Choice]:
        """Until the next season."""
        day, because = next_season(self.task, self.outlook.now)
        last = day + timedelta(days=SEASON_DAYS)
        chance = self._chance_between(day, last)
        value = 0.0 if chance is None else WORTH_LEFT * chance
        seen = records_of_year(self.task, self.records, self.room.year)
        share = worst_share(ingredient_totals(self.task, seen, None if planned_rate(self.task) is None else 0.0))
        ends = self.room.year[1] - timedelta(days=1)
        effect = Effect(
            len(seen), self.room.most_passes, share, ends, self._seed_after_the_last_record(), False, (), 0
        )
        return [
            Choice(f"{self.task.id}/leave", "leave", day, last, None, None, "unknown", chance, WORTH_LEFT, value, 0,
                   effect, "leave", because)
        ]  # fmt: skip

    # parts ----------------------------------------------------------------------------------------------------------

    def _on(self, day: Day, kind: Kind) -> Choice:
        run = next((one for one in day.windows if one[0] <= day.best_start <= one[1]), None) if day.windows else None
        worth, chance = self._worth(day.day), float(day.chance)
        return Choice(
            f"{self.task.id}/{day.day.isoformat()}", kind, day.day, day.day, day.best_start,
            None if run is None else run[1], day.verdict, chance, worth, worth * chance, self._late(day.day),
            self._effect([day.day]), "pass-on",
        )  # fmt: skip

    def _worth(self, day: date) -> float:
        """Of a success on a day, today's on time being 1."""
        days = [self.today + timedelta(days=one) for one in range((day - self.today).days + 1)]
        until = None if self.wanted is None else self.wanted[1]
        return float(gains(days, None, until, cost_of_a_day(self.task.household.settings))[-1])

    def _late(self, day: date) -> int:
        return 0 if self.wanted is None else max((day - self.wanted[1]).days, 0)

    def _chance_between(self, first: date, last: date) -> float | None:
        """That one of the days has a window, each by its frequency in past years; None where no year tells."""
        if self.climate is None:
            return None
        days = (first + timedelta(days=one) for one in range((last - first).days + 1))
        shares = [share for share in map(self.climate, days) if share is not None]
        return None if not shares else 1.0 - math.prod(1.0 - share for share in shares)

    def _first_good_day(self, first: date, last: date) -> float:
        """Expected worth of going on the first day with a window, by past years."""
        value, none_yet = 0.0, 1.0
        for one in range((last - first).days + 1):
            day = first + timedelta(days=one)
            share = self.climate(day) or 0.0
            value += none_yet * share * self._worth(day)
            none_yet *= 1.0 - share
        return value

    def _passes_from(self, first: date, wanted: int) -> list[date]:
        """Days of a first pass and its follow-ups, each as soon as it is wanted, as far as label and season allow."""
        room = self.room.more_passes
        most = wanted if math.isnan(room) else int(min(wanted, room))
        made = [first]
        while len(made) < most:
            following = made[-1] + timedelta(days=math.ceil(self._soonest() / 24.0))
            if following >= self.room.year[1] or (self.latest is not None and following > self.latest):
                break
            made.append(following)
        return made

    def _soonest(self) -> float:
        return max(self.task.treatment.follow_up_from, self.task.label.limits.get("minimum_interval", 0.0))

    def _follow_up_chance(self, made: Sequence[date]) -> float | None:
        if len(made) < 2:
            return 0.0
        width = max(self.task.treatment.follow_up_until - self._soonest(), 0.0) / 24.0
        chances = [self._chance_between(day, day + timedelta(days=round(width))) for day in made[1:]]
        known = [one for one in chances if one is not None]
        return min(known) if len(known) == len(chances) else None

    def _effect(self, made: Sequence[date], wanted: int | None = None) -> Effect:
        """Of passes on these days; `wanted` passes for a sequence begun again, else what is open of this one."""
        task = self.task
        still = (task.treatment.passes - task.pass_number + 1) if wanted is None else wanted
        year = label_year(task, _noon(made[0], task))
        seen = records_of_year(task, self.records, year)
        rate = planned_rate(task)
        share = worst_share(ingredient_totals(task, seen, None if rate is None else rate * len(made)))
        later = self._later(made, still)
        last = made[-1]
        seed_from = self._seed_from(last)
        planned = task.area.seeding_planned
        moves = planned is not None and planned >= self.today and (seed_from is None or planned < seed_from)
        room = self.room.more_passes
        allowed = still if math.isnan(room) else int(min(still, room))
        short = still - (min(len(made), allowed) if wanted is not None else min(1 + len(later), allowed))
        return Effect(
            len(seen) + len(made), self.room.most_passes, share, year[1] - timedelta(days=1), seed_from, moves, later,
            max(short, 0),
        )  # fmt: skip

    def _later(self, made: Sequence[date], still: int) -> tuple[tuple[date, date], ...]:
        """When the passes after the first of these are wanted."""
        width = timedelta(hours=max(self.task.treatment.follow_up_until - self._soonest(), 0.0))
        soonest = timedelta(hours=self._soonest())
        room = self.room.more_passes
        allowed = still if math.isnan(room) else int(min(still, room))
        found, day = [], made[0]
        for _ in range(allowed - 1):
            day = day + soonest
            if self.latest is not None and day > self.latest:
                break
            found.append((day, day + width))
        return tuple(found)

    def _seed_from(self, last: date) -> date | None:
        wait, _ = seeding_wait(self.task)
        return None if wait is None else day_for_seed(last, wait)

    def _seed_after_the_last_record(self) -> date | None:
        if not self.task.done:
            return self.today
        zone = self.task.household.site.zone
        last = self.task.done[-1].ended_at or self.task.done[-1].started_at
        found = self._seed_from(last.astimezone(zone).date())
        return None if found is None else max(found, self.today)


def _noon(day: date, task: Task) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=task.household.site.zone)


def what_lateness_costs(days_late: int) -> float:
    """Part of a pass that is lost by being so late, 1 - 0.5 ** (days / 21)."""
    return 1.0 - float(lateness_gain(days_late))
