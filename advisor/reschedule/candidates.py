"""The choices of each kind: days in sight, the first good day after them, the sequence begun anew, nothing more."""

from __future__ import annotations

from datetime import date, timedelta

from advisor.outlook import Day
from advisor.reschedule.case import Case
from advisor.reschedule.choices import Choice, Kind
from advisor.reschedule.effects import effect_of_leaving, effect_of_passes, follow_up_chance, passes_from
from advisor.sequence.season import next_season

#: what a sequence that is begun again is worth when all of its passes come off: it does the whole job, at the price of
#: one pass more and of the weeks that are gone. Common practice, no source.
WORTH_AGAIN = 0.75
#: what is left until the next season: the weeds recover and set seed, and the whole sequence is before one again.
#: Common practice, no source.
WORTH_LEFT = 0.25
#: how long a season is looked at for a window in past years
SEASON = timedelta(days=60)
#: so many days of each kind are offered
MOST_DAYS = 3


def days_in_sight(case: Case) -> list[Choice]:
    """Days of the forecast that are a go, and those that may become one: the best in time, and the best late ones."""
    in_time, late = [], []
    for day in case.scored.days:
        if not _may_be(day) or not case.in_season(day.day):
            continue
        if case.wanted is not None and day.day < case.wanted[0]:
            continue
        if case.days_late(day.day):
            late.append(_on(case, day, "late"))
        else:
            in_time.append(_on(case, day, "window"))
    return [*_best(in_time), *_best(late)]


def wait_for_later(case: Case) -> list[Choice]:
    """Waiting for a good day after the forecast, while the season lasts."""
    reached = max(
        (day.day for day in case.scored.days if day.verdict == "no-go" or _may_be(day)), default=None
    )
    first = case.today if reached is None else reached + timedelta(days=1)
    last = case.room.latest or case.today + SEASON
    if first > last:
        return []
    chance = case.chance_between(first, last)
    value = 0.0 if chance is None else case.worth_of_the_first_window(first, last)
    return [
        Choice(
            id=f"{case.task.id}/later",
            kind="later",
            day=first,
            until=last,
            start=None,
            last_start=None,
            verdict="unknown",
            chance=chance,
            worth=value / chance if chance else case.worth(first),
            value=value,
            days_late=case.days_late(first),
            effect=effect_of_passes(case, [first]),
            plan="pass-by",
        )
    ]


def begin_again(case: Case) -> list[Choice]:
    """The sequence begun anew on the best day that is in sight; nothing where it has one pass only."""
    passes, cost = case.task.treatment.passes, case.cost_of_a_day
    coming = [day for day in case.scored.days if _may_be(day) and case.in_season(day.day)]
    if passes < 2 or not case.task.done or not coming:
        return []

    def lost_by_waiting(day: date) -> float:
        return cost * (day - case.today).days

    best = max(coming, key=lambda day: (day.chance * (1.0 - lost_by_waiting(day.day)), -day.day.toordinal()))
    made = passes_from(case, best.day, passes)
    follow_ups = follow_up_chance(case, made)
    complete = (1.0 + (len(made) - 1) * (follow_ups or 0.0)) / passes
    worth = WORTH_AGAIN * (1.0 - lost_by_waiting(best.day))
    return [
        Choice(
            id=f"{case.task.id}/again",
            kind="again",
            day=best.day,
            until=best.day,
            start=best.best_start,
            last_start=_last_start(best),
            verdict=best.verdict,
            chance=float(best.chance),
            worth=worth,
            value=worth * best.chance * complete,
            days_late=0,
            effect=effect_of_passes(case, made, passes),
            plan="restart",
            follow_up_chance=follow_ups,
        )
    ]


def leave_it(case: Case) -> list[Choice]:
    """Nothing more until the next season."""
    day, because = next_season(case.task, case.now)
    last = day + SEASON
    chance = case.chance_between(day, last)
    return [
        Choice(
            id=f"{case.task.id}/leave",
            kind="leave",
            day=day,
            until=last,
            start=None,
            last_start=None,
            verdict="unknown",
            chance=chance,
            worth=WORTH_LEFT,
            value=0.0 if chance is None else WORTH_LEFT * chance,
            days_late=0,
            effect=effect_of_leaving(case),
            plan="leave",
            because=because,
        )
    ]


def _may_be(day: Day) -> bool:
    """A go, or a day that is not decided and has a chance."""
    return day.verdict == "go" or (day.verdict == "unknown" and bool(day.chance))


def _on(case: Case, day: Day, kind: Kind) -> Choice:
    worth, chance = case.worth(day.day), float(day.chance)
    return Choice(
        id=f"{case.task.id}/{day.day.isoformat()}",
        kind=kind,
        day=day.day,
        until=day.day,
        start=day.best_start,
        last_start=_last_start(day),
        verdict=day.verdict,
        chance=chance,
        worth=worth,
        value=worth * chance,
        days_late=case.days_late(day.day),
        effect=effect_of_passes(case, [day.day]),
        plan="pass-on",
    )


def _last_start(day: Day):
    """The last start of the window that the day's best start lies in."""
    return next((last for first, last in day.windows if first <= day.best_start <= last), None)


def _best(choices: list[Choice]) -> list[Choice]:
    return sorted(choices, key=lambda one: (-one.value, one.day))[:MOST_DAYS]
