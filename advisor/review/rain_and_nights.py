"""The rain within the rainfast time after a pass, and the nights that followed it, one by one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from advisor.clock import HOUR, from_numpy, to_numpy
from advisor.logic import within
from advisor.model import Record, Task
from advisor.one_start import OneStart
from advisor.rain.washoff import Washoff, washoff
from advisor.review.pass_made import end_of_work
from advisor.rulebook.evaluate import nights_of_tasks


@dataclass(frozen=True, slots=True)
class RainReview:
    """Water on the leaves within the rainfast time: rain, and irrigation by the timetable.

    `amount` [mm] of what was seen of it, `first_after` [h] from the end of the work, `complete` whether all of the time
    was seen, `washed` the published estimate for a product like the trial's, None where there was no rain.
    """

    rainfast_hours: float | None
    amount: float | None
    first_after: float | None
    complete: bool
    washed: Washoff | None


@dataclass(frozen=True, slots=True)
class NightReview:
    """The lowest temperature of a night [degC] and whether it stayed at the limit; None where it is not known."""

    sunset: datetime
    lowest: float | None
    kept: bool | None


def review_rain(task: Task, record: Record, past: OneStart, now: datetime) -> RainReview:
    """What fell within the label's rainfast time, counted from the end of the work."""
    hours = task.label.limits.get("rainfast_time")
    if hours is None or task.label.mode == "soil":
        return RainReview(hours, None, None, False, None)
    area = past.explainer.area
    water = np.broadcast_to(area.wetting, (1, 1, len(area.conditions.axis)))[0, 0]
    end = end_of_work(task, record)
    first = int((to_numpy(end, "h") - area.conditions.axis[0]) // HOUR)
    stop = int(np.ceil((to_numpy(end) - area.conditions.axis[0].astype("datetime64[s]")) / np.timedelta64(3600, "s")
                       + hours - 1e-9))  # fmt: skip
    span = water[first:stop]
    known = span[~np.isnan(span)]
    complete = len(known) == stop - first and from_numpy(area.conditions.axis[0] + stop * HOUR) <= now
    if not len(known):
        return RainReview(hours, None, None, False, None)
    amount = float(known.sum())
    wet = np.flatnonzero(np.nan_to_num(span) > 1e-9)
    if not len(wet):
        return RainReview(hours, amount, None, complete, None)
    began = from_numpy(area.conditions.axis[first + int(wet[0])])
    after = max((began - end).total_seconds() / 3600.0, 0.0)
    return RainReview(hours, amount, after, complete, washoff(amount, after))


def review_nights(past: OneStart, now: datetime) -> tuple[tuple[NightReview, ...], float | None]:
    """The nights that the rule on nights looks at, and its limit [degC]; one cold hour that was seen makes a no."""
    on_nights = (one for one in past.findings if one.rule.measure.span == "nights-after" and one.applies[0])
    finding, area = next(on_nights, None), past.explainer.area
    if finding is None:
        return (), None
    first, stop, night_of = nights_of_tasks(area)
    sunset = area.conditions.nights[0][0]
    limit = float(finding.at_least[0])
    values = area.conditions.air_temperature[0, 0]
    next_night = int(night_of[0, past.hour])
    found = []
    for night in range(next_night, min(next_night + finding.rule.measure.count, first.shape[1])):
        row = values[max(first[0, night], 0) : stop[0, night] + 1]
        known = row[~np.isnan(row)]
        lowest = float(known.min()) if len(known) else None
        over = from_numpy(area.conditions.axis[0] + int(stop[0, night]) * HOUR) <= now
        kept = True if over and len(known) == len(row) else None
        if lowest is not None and within(lowest, at_least=limit).fails:
            kept = False
        found.append(NightReview(from_numpy(sunset[night]), lowest, kept))
    return tuple(found), limit
