"""What a choice leads to: the label year after it, when seed may follow, and the passes that are still to come."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from advisor.model import Record
from advisor.planning import day_for_seed, seeding_wait
from advisor.reschedule.case import Case
from advisor.reschedule.choices import Effect
from advisor.season import ingredient_totals, label_year, planned_rate, records_of_year, worst_share
from advisor.sequence import soonest_follow_up

_DAY = timedelta(days=1)


def effect_of_passes(case: Case, made: Sequence[date], wanted: int | None = None) -> Effect:
    """Of passes on these days; `wanted` passes for a sequence begun again, else what is open of this one."""
    task = case.task
    still = (task.treatment.passes - task.pass_number + 1) if wanted is None else wanted
    allowed = case.room.allows(still)
    noon = datetime.combine(made[0], time(12), tzinfo=task.household.site.zone)
    year = label_year(task, noon)
    later = _later_passes(case, made[0], allowed - 1)
    fit = min(len(made), allowed) if wanted is not None else min(1 + len(later), allowed)
    seed_from = _seed_from(case, made[-1])
    planned = task.area.seeding_planned
    moves = planned is not None and planned >= case.today and (seed_from is None or planned < seed_from)
    seen = records_of_year(task, case.records, year)
    return Effect(
        passes_used=len(seen) + len(made),
        most_passes=case.room.most_passes,
        share_used=_share_used(case, seen, len(made)),
        year_ends=year[1] - _DAY,
        seed_from=seed_from,
        seeding_moves=moves,
        later_passes=later,
        passes_short=max(still - fit, 0),
    )


def effect_of_leaving(case: Case) -> Effect:
    """Of no pass more: the year stays as it is, and seed may follow the last pass that was made."""
    year = case.room.year
    seen = records_of_year(case.task, case.records, year)
    return Effect(
        passes_used=len(seen),
        most_passes=case.room.most_passes,
        share_used=_share_used(case, seen, 0),
        year_ends=year[1] - _DAY,
        seed_from=_seed_after_the_last_record(case),
        seeding_moves=False,
        later_passes=(),
        passes_short=0,
    )


def passes_from(case: Case, first: date, wanted: int) -> list[date]:
    """Days of a first pass and its follow-ups, each as soon as it is wanted, as far as label and season allow."""
    apart = timedelta(days=math.ceil(soonest_follow_up(case.task) / 24.0))
    made = [first]
    while len(made) < case.room.allows(wanted):
        following = made[-1] + apart
        if following >= case.room.year[1] or not case.in_season(following):
            break
        made.append(following)
    return made


def follow_up_chance(case: Case, made: Sequence[date]) -> float | None:
    """That the least likely of the follow-ups finds a window, 0 without any; None where past years do not tell."""
    if len(made) < 2:
        return 0.0
    width = timedelta(days=round(_width(case) / 24.0))
    chances = [case.chance_between(day, day + width) for day in made[1:]]
    return None if None in chances else min(chances)


def _width(case: Case) -> float:
    """[h] for how long a follow-up is wanted."""
    return max(case.task.treatment.follow_up_until - soonest_follow_up(case.task), 0.0)


def _later_passes(case: Case, first: date, count: int) -> tuple[tuple[date, date], ...]:
    """When the passes after a pass on the first day are wanted, while the season lasts."""
    soonest, width = timedelta(hours=soonest_follow_up(case.task)), timedelta(hours=_width(case))
    found, day = [], first
    for _ in range(count):
        day = day + soonest
        if not case.in_season(day):
            break
        found.append((day, day + width))
    return tuple(found)


def _share_used(case: Case, seen: Sequence[Record], passes: int) -> float:
    """Of the yearly maximum of the ingredient nearest to it, after so many passes more than the year has seen."""
    rate = planned_rate(case.task)
    return worst_share(ingredient_totals(case.task, seen, None if rate is None else rate * passes))


def _seed_from(case: Case, last: date) -> date | None:
    wait, _ = seeding_wait(case.task)
    return None if wait is None else day_for_seed(last, wait)


def _seed_after_the_last_record(case: Case) -> date | None:
    if not case.task.done:
        return case.today
    last = case.task.done[-1].end
    found = _seed_from(case, last.astimezone(case.task.household.site.zone).date())
    return None if found is None else max(found, case.today)
