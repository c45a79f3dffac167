"""What a review means for the follow-up: never a repeat inside the label's interval, and none where none is needed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from advisor.model import Record, Task
from advisor.review.response import PULL_UP_TO, SPOT_UP_TO, Response, Timetable
from advisor.review.weather import AT_RISK, BROKEN, UNKNOWN, WeatherReview
from advisor.season import SeasonUse
from advisor.sequence import follow_up_after

#: what is proposed
TOO_EARLY, NONE, PULL, SPOT, WHOLE, NOT_ALLOWED = (
    "too early",
    "none",
    "pull by hand",
    "spots",
    "whole area",
    "not allowed",
)


@dataclass(frozen=True, slots=True)
class Advice:
    """What is proposed. `not_before` is when the label's interval is over; None where the label file leaves it blank.

    `reasons` are sentences in order of weight.
    """

    proposal: str
    not_before: datetime | None
    wanted_from: datetime | None
    wanted_until: datetime | None
    reasons: tuple[str, ...]


def advise(
    task: Task,
    record: Record,
    weather: WeatherReview,
    found: Sequence[Response],
    times: Timetable,
    season: SeasonUse,
    now: datetime,
) -> Advice:
    """What to do after a pass.

    Parameters
    ----------
    season : SeasonUse
        Passes and product of the label year, this pass included.
    """
    interval = task.label.limits.get("minimum_interval")
    not_before = None if interval is None else record.end + timedelta(hours=interval)
    wanted_from, wanted_until = follow_up_after(task, record.end)
    reasons = list(_of_weather(weather))
    judged = next((one for one in reversed(found) if one.judged), None)
    proposal = _proposal(judged, found, times, now, reasons)
    if proposal in (NONE, PULL):
        return Advice(proposal, not_before, None, None, tuple(reasons))
    blocked = _no_further(task, season)
    if not blocked and not_before is None:
        blocked = 'The label file leaves "minimum_interval" blank: no pass before it is copied.'
    if blocked:
        reasons.append(blocked)
        proposal = proposal if proposal == TOO_EARLY else NOT_ALLOWED
        return Advice(proposal, not_before, None, None, tuple(reasons))
    reasons.append(
        "The label's interval holds whatever the weather did: a pass that was washed off still counts."
    )
    return Advice(proposal, not_before, wanted_from, wanted_until, tuple(reasons))


def _of_weather(weather: WeatherReview):
    broken = {one.rule for one in weather.of(BROKEN)}
    if "rainfast" in broken:
        yield "Water came before it was rainfast: expect less control than usual, and judge it at its time."
    if broken & {"nights", "nights-autumn", "frost"}:
        yield "A night was colder than the limit: expect it to work slower, and perhaps less at the root."
    others = sorted(broken - {"rainfast", "nights", "nights-autumn", "frost"})
    if others:
        names = ", ".join(one.title.lower() for one in weather.of(BROKEN) if one.rule in others)
        yield f"Broken{' as well' if len(broken) > len(others) else ''}: {names}."
    if not broken and weather.of(AT_RISK):
        yield "Nothing is known to be broken; some limits are at risk."
    if not broken and not weather.of(AT_RISK) and weather.of(UNKNOWN):
        yield "Nothing is known to be broken; what is unknown above may be."


def _proposal(
    judged: Response | None, found: Sequence[Response], times: Timetable, now: datetime, reasons
) -> str:
    if judged is None:
        if now < times.judge_from:
            reasons.append("It is too early to judge the weeds.")
            if found:
                reasons.append("What was seen so far is a first look, not the result.")
        else:
            reasons.append("Nobody has said how much is left: look at the weeds and enter their cover.")
        return TOO_EARLY
    left = judged.after.cover
    if left <= 0.0:
        reasons.append("No weeds are left: no follow-up is needed.")
        return NONE
    if left <= PULL_UP_TO:
        reasons.append(f"{left:.3g} % cover is left: pull it by hand (common practice, no source).")
        return PULL
    if left <= SPOT_UP_TO:
        reasons.append(
            f"{left:.3g} % cover is left: treat the spots, not the whole area (common practice, no source)."
        )
        return SPOT
    reasons.append(f"{left:.3g} % cover is left: a follow-up on the whole area.")
    return WHOLE


def _no_further(task: Task, season: SeasonUse) -> str:
    limits = task.label.limits
    passes = limits.get("maximum_passes_per_year")
    if passes is not None and season.passes >= passes:
        return (
            f"The label allows {passes:g} passes a year, and they are done: none before the next label year."
        )
    most = limits.get("maximum_per_year")
    if most is not None and season.product >= most * (1.0 - 1e-6):
        return "The label's most for the year is used up: no pass before the next label year."
    return ""
