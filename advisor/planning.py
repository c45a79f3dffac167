"""Planning backward from a day on which the lawn is to be seeded: the last day to spray, to mow, to water."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from advisor.lawn_work import USUAL_MOWING_WAIT
from advisor.model import Record, Task
from advisor.sequence import Room, room_left, soonest_follow_up

#: where a label does not say [h]: from spray to seed four weeks, from mowing to spray and back two days, dry leaves for
#: an hour, and a day without rain for planning. Common practice, no source.
USUAL_SEEDING_WAIT, USUAL_DRY_BEFORE, USUAL_RAINFAST = 28 * 24.0, 1.0, 24.0
#: how long the four mowings take that new grass is given before it may be sprayed [days]. Common practice, no source.
DAYS_OF_FOUR_MOWINGS = 42


@dataclass(frozen=True, slots=True)
class PassPlan:
    """One pass of the plan and what has to rest around it.

    Attributes
    ----------
    last_day : date
        The last day on which it can be made; `earliest` the first one, by the label's interval and today.
    last_mowing, first_mowing : date, optional
        The last day of mowing before it and the first one after; None in soil mode, which needs neither.
    dry_from, dry_until : date, optional
        Days without sprinkling; None for a product that is watered in.
    waterings : tuple of date
        Days of the area's own timetable that fall into them.
    """

    number: int
    earliest: date
    last_day: date
    last_mowing: date | None
    first_mowing: date | None
    dry_from: date | None
    dry_until: date | None
    waterings: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class BackwardPlan:
    """From the day of seeding back to today.

    Attributes
    ----------
    wait : float, optional
        From spray to seed [h]; None where the label of a soil product does not say.
    wait_from_label : bool
    passes : tuple of PassPlan
        Those that fit, in the order in which they are made; the last one is bound by the seed.
    wanted : int
        Passes that the sequence still wants.
    bound_by : str
        What sets the last day: "seed", or "season" where the last sensible day comes first.
    why_not : str
        Why no pass fits; empty where one does.
    seed_soonest : date, optional
        The first day for seed if the next pass is made as soon as the label allows.
    spray_after_seed : date, optional
        If the seed goes first: when the new grass has been mowed often enough, roughly.
    """

    task: Task
    seed_by: date
    wait: float | None
    wait_from_label: bool
    passes: tuple[PassPlan, ...]
    wanted: int
    room: Room
    bound_by: str
    why_not: str
    seed_soonest: date | None
    spray_after_seed: date | None


def plan_backward(task: Task, records: Sequence[Record], now: datetime, seed_by: date) -> BackwardPlan:
    """The last days before a seeding, for the passes that a sequence still wants.

    Parameters
    ----------
    task : Task
        The next pass.
    seed_by : date
        Local day on which seed is to go down.

    Notes
    -----
    ==========================================  =========================================================
    assumption                                  effect
    ==========================================  =========================================================
    the seed's wait runs from the end of work   the day of the pass itself does not count
    a mowing takes its whole day                the last mowing lies a day earlier than the hours say
    passes follow as soon as they are wanted    the first of them has the most room
    ==========================================  =========================================================
    """
    zone = task.household.site.zone
    today = now.astimezone(zone).date()
    room = room_left(task, records, now)
    wait, stated = seeding_wait(task)
    wanted = max(task.treatment.passes - task.pass_number + 1, 1)
    earliest = _earliest(task, room, now, today)
    soonest = None if wait is None else day_for_seed(earliest, wait)
    after = seed_by + timedelta(days=DAYS_OF_FOUR_MOWINGS)
    after = after if room.latest is None or after <= room.latest else None

    def without(why: str) -> BackwardPlan:
        return BackwardPlan(task, seed_by, wait, stated, (), wanted, room, "seed", why, soonest, after)

    if seed_by <= today:
        return without("that day is not ahead")
    if wait is None:
        return without(
            "the label does not say how long seed must wait, and what stops weed seed stops grass seed"
        )
    last, bound_by = last_day_to_spray(seed_by, wait), "seed"
    if room.latest is not None and room.latest < last:
        last, bound_by = room.latest, "season"
    if room.is_full:
        return without("the label's year leaves room for no pass more")
    if last < earliest:
        missing = (earliest - last).days
        days = f"{missing} day{'' if missing == 1 else 's'}"
        when = f"{last.day} {last:%b %Y}"
        return without(f"the last day to spray would be {when}, {days} before a pass can be made")
    passes = _passes(task, room, wanted, earliest, last)
    return BackwardPlan(task, seed_by, wait, stated, passes, wanted, room, bound_by, "", soonest, after)


def seeding_wait(task: Task) -> tuple[float | None, bool]:
    """(hours from spray to seed, whether the label says so); None for a product in the soil whose label does not."""
    stated = task.label.limits.get("seeding_after")
    if stated is not None:
        return stated, True
    return (USUAL_SEEDING_WAIT if task.label.mode == "foliar" else None), False


def last_day_to_spray(seed_by: date, wait: float) -> date:
    """The last day from whose end the wait [h] is over when the day of seeding begins."""
    return seed_by - timedelta(days=math.ceil(wait / 24.0) + 1)


def day_for_seed(sprayed: date, wait: float) -> date:
    """The first day that begins when the wait [h] since the end of that day is over."""
    return sprayed + timedelta(days=math.ceil(wait / 24.0) + 1)


def _earliest(task: Task, room: Room, now: datetime, today: date) -> date:
    """First day on which the label's interval is over, today at the soonest."""
    if room.legal_from is None:
        return today
    legal = room.legal_from.astimezone(task.household.site.zone)
    return max(today, legal.date())


def _passes(task: Task, room: Room, wanted: int, earliest: date, last: date) -> tuple[PassPlan, ...]:
    """As many passes as fit between the first day allowed and the last one, spaced as soon as they are wanted."""
    apart, most = math.ceil(soonest_follow_up(task) / 24.0), room.allows(wanted)
    fit = min(most, 1 + ((last - earliest).days // apart if apart else most - 1))
    found = []
    for at in range(fit):
        day = last - timedelta(days=apart * (fit - 1 - at))
        found.append(_pass(task, task.pass_number + at, earliest + timedelta(days=apart * at), day))
    return tuple(found)


def _pass(task: Task, number: int, earliest: date, day: date) -> PassPlan:
    limits, soil = task.label.limits, task.label.mode == "soil"
    if soil:
        return PassPlan(number, earliest, day, None, None, None, None, ())
    before = limits.get("mowing_before", USUAL_MOWING_WAIT)
    after = limits.get("mowing_after", USUAL_MOWING_WAIT)
    last_mowing = day - timedelta(days=math.ceil(before / 24.0) + 1)
    first_mowing = day + timedelta(days=math.ceil(after / 24.0) + 1)
    dry_before = limits.get("dry_before", USUAL_DRY_BEFORE)
    rainfast = limits.get("rainfast_time", USUAL_RAINFAST)
    dry_from = day - timedelta(days=math.ceil(dry_before / 24.0) - 1)
    # the work may end in the evening
    dry_until = day + timedelta(days=math.ceil(rainfast / 24.0))
    return PassPlan(number, earliest, day, last_mowing, first_mowing, dry_from, dry_until,
                    _waterings(task, dry_from, dry_until))  # fmt: skip


def _waterings(task: Task, first: date, last: date) -> tuple[date, ...]:
    days = (first + timedelta(days=one) for one in range((last - first).days + 1))
    timetable = task.area.irrigation or ()
    return tuple(day for day in days if any(day.weekday() in one.weekdays for one in timetable))
