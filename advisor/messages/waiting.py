"""Go now or wait, in one sentence: what going is worth, what waiting, and the chance that another day comes."""

from __future__ import annotations

from datetime import date
from typing import Any

from advisor.messages.wording import short_day, week_day
from advisor.waiting import TaskWaiting


def waiting_sentence(found: TaskWaiting, today: date) -> str:
    """Both numbers, the chance of one more good window, and what the days after the forecast rest on."""
    day = _called(found.day, today)
    one = "another" if found.is_go else "a"
    chance = f"the chance of {one} good window by {short_day(found.until)} is {likelihood(found.good_window)}"
    best = "" if found.best_day is None else f", best on {week_day(found.best_day)}"
    rests = _rests_on(found)
    if found.advice == "nothing left":
        # a follow-up has other ways out; a first pass waits for the next forecast
        ways = (
            "" if found.on_time_until is None else "; advisor reschedule --missed lists what else can be done"
        )
        until = short_day(found.until)
        return f"Wait: {day} is no go, and nothing is known of a good window by {until}{rests}{ways}."
    if not found.is_go:
        return (
            f"Wait: {day} is no go. Waiting is worth {found.wait:.0%} of a pass made on time, and "
            f"{chance}{best}{rests}."
        )
    # as many digits as tell the two apart
    digits = 1 if f"{found.go:.0%}" == f"{found.wait:.0%}" else 0
    go, wait = (f"{worth:.{digits}%}" for worth in (found.go, found.wait))
    return (
        f"Go {day} or wait: going is worth {go} of a pass made on time, waiting {wait} "
        f"({chance}{best}{rests}): {found.advice}."
    )


def likelihood(chance: float) -> str:
    """A chance that was worked out of others: never 0 or 100 %, which nobody knows."""
    if chance < 0.005:
        return "below 1%"
    return "over 99%" if chance > 0.995 else f"{chance:.0%}"


def waiting_object(found: TaskWaiting | None, today: date) -> dict[str, Any] | None:
    """For JSON; None where no day is left."""
    if found is None:
        return None
    return {
        "date": found.day.isoformat(),
        "go": round(found.go, 4),
        "wait": round(found.wait, 4),
        "good_window": round(found.good_window, 4),
        "advice": found.advice,
        "text": waiting_sentence(found, today),
        "until": found.until.isoformat(),
        "on_time_until": None if found.on_time_until is None else found.on_time_until.isoformat(),
        "best_date": None if found.best_day is None else found.best_day.isoformat(),
        "forecast_until": None if found.forecast_until is None else found.forecast_until.isoformat(),
        "beyond_forecast": found.climate,
    }


def _rests_on(found: TaskWaiting) -> str:
    if found.climate == "unneeded":
        return ""
    after = "the days ahead" if found.forecast_until is None else f"days after {short_day(found.forecast_until)}"
    if found.climate == "almanac":
        return f"; {after} go by past years"
    return f"; {after} count as 0, for no almanac is kept"


def _called(day: date, today: date) -> str:
    return {0: "today", 1: "tomorrow"}.get((day - today).days, f"on {week_day(day)}")
