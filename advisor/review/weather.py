"""Whether the weather after a pass kept the limits that the pass was made under: kept, at risk, broken or unknown.

kept      everything that the rule looks at was seen, and the limit held
broken    something was seen that breaks it
at risk   it is not over and the forecast says that it will break; or it was read from the past hours of a forecast,
          and lies nearer to the limit than such a forecast usually errs
unknown   not over yet, or not seen
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from advisor.clock import HOUR, from_numpy, to_numpy
from advisor.conditions import Conditions, SiteTable
from advisor.forecast import Forecast
from advisor.logic import within
from advisor.model import Household, Record, Task
from advisor.one_start import OneStart, score_one_start
from advisor.review.observed import PAST_HOURS, Seen, with_coming
from advisor.review.pass_made import end_of_work
from advisor.review.rain_and_nights import NightReview, RainReview, review_nights, review_rain
from advisor.rulebook.evaluate import Finding, measured
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Rule
from advisor.spread import with_assumed_members

KEPT, AT_RISK, BROKEN, UNKNOWN = "kept", "at risk", "broken", "unknown"
#: quantities that rest on a cautious beginning: that they hold is sure, that they break is not
_WORKED_OUT = ("soil_stress",)
#: series that are no weather that happened
_NOT_WEATHER = {"precipitation_probability", "thunder_probability", "warning_in_force"}


@dataclass(frozen=True, slots=True)
class LimitReview:
    """One rule, looked back at. `value` and `limit` in the canonical unit of `dimension`; `text` for people.

    `seen_as` says how surely it was seen, `over` whether all that it looks at has passed, `chance` how likely the
    forecast thinks that it still holds.
    """

    rule: str
    title: str
    kind: str
    status: str
    value: float | None
    limit: float | None
    dimension: str
    at: np.datetime64 | None
    text: str
    seen_as: str
    over: bool
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class WeatherReview:
    task: Task
    record: Record
    limits: tuple[LimitReview, ...]
    rain: RainReview
    nights: tuple[NightReview, ...]
    night_limit: float | None
    #: where the weather comes from, "" where nothing was seen
    weather: str

    def of(self, status: str) -> list[LimitReview]:
        return [one for one in self.limits if one.status == status]

    @property
    def status(self) -> str:
        """The worst of all limits."""
        found = {one.status for one in self.limits}
        return next((one for one in (BROKEN, AT_RISK, UNKNOWN) if one in found), KEPT)


def review_weather(
    task: Task,
    record: Record,
    rules: Sequence[Rule],
    ledger: Sequence[Record],
    seen: Seen,
    coming: Forecast | None,
    now: datetime,
) -> WeatherReview:
    """Hold what the weather did against the limits of a pass.

    Parameters
    ----------
    task : Task
        Of `task_of`.
    seen : Seen
        Past weather on the axis of `axis_of`.
    coming : Forecast, optional
        The newest forecast, for what is not over yet.
    """
    before = [one for one in ledger if one.started_at < record.started_at and one.id != record.id]
    sites = SiteTable.of(task.household.site)
    looked_at = [rule for rule in rules if _of_weather(rule)]
    past = score_one_start(task, Conditions(seen.forecast, sites), looked_at, before, record.started_at, now)
    ahead = None
    if coming is not None:
        coming = _with_members(coming, task.household, now)
        conditions = Conditions(with_coming(seen, coming), sites)
        ahead = score_one_start(task, conditions, looked_at, before, record.started_at, now)
    limits = tuple(
        _limit_review(at, past, ahead, seen, end_of_work(task, record), now)
        for at, one in enumerate(past.findings)
        if one.applies[0]
    )
    order = {BROKEN: 0, AT_RISK: 1, UNKNOWN: 2, KEPT: 3}
    limits = tuple(sorted(limits, key=lambda one: (order[one.status], one.rule)))
    nights, night_limit = review_nights(past, now)
    weather = "" if seen.empty else seen.forecast.provenance.attribution
    return WeatherReview(
        task, record, limits, review_rain(task, record, past, now), nights, night_limit, weather
    )


def _with_members(coming: Forecast, household: Household, now: datetime) -> Forecast:
    """The forecast with the members that the household draws for a single run."""
    if not household.settings.assumed_members:
        return coming
    return with_assumed_members(coming, now, household.settings.assumed_members, household.site.key)


def _of_weather(rule: Rule) -> bool:
    """Rules on weather that happens; a chance or a warning has no place after the event."""
    inputs = QUANTITIES[rule.measure.quantity].inputs
    return bool(inputs) and not _NOT_WEATHER & set(inputs)


def _limit_review(
    at: int, past: OneStart, ahead: OneStart | None, seen: Seen, end_of_work: datetime, now: datetime
) -> LimitReview:
    finding, hour = past.findings[at], past.hour
    quantity = QUANTITIES[finding.rule.measure.quantity]
    reason = past.explainer.reason(at, 0, hour)
    span = past.explainer.span_hours(finding, 0, hour)
    axis = past.explainer.area.conditions.axis
    end = axis[0] + (span.stop + (1 if quantity.instant else 0)) * HOUR
    over = from_numpy(end) <= now
    kind = seen.kind(quantity.inputs, span.start, span.stop)
    chance, text = None, reason.text
    status = {"go": KEPT, "no-go": BROKEN, "unknown": UNKNOWN}[reason.verdict]
    if status == UNKNOWN and ahead is not None:
        status, chance, text = _still_open(finding.rule.id, ahead, reason.text, over)
    elif status == BROKEN and _after_the_work(finding, past, end_of_work):
        status = AT_RISK
        text = f"{reason.text} That was after the work had ended, within the same hour."
    elif status == BROKEN and quantity.name in _WORKED_OUT:
        status = AT_RISK
        text = f"{reason.text} Worked out from a soil that is taken as dry before the weather that was seen."
    elif status != UNKNOWN and kind == PAST_HOURS and _too_near(reason.headroom, quantity):
        status = AT_RISK
        text = f"{reason.text} So say the past hours of a forecast, which err by more than that."
    return LimitReview(
        reason.rule, reason.title, reason.kind, status, reason.value, reason.limit, reason.dimension, reason.at, text,
        kind, over, chance,
    )  # fmt: skip


def _after_the_work(finding: Finding, past: OneStart, end: datetime) -> bool:
    """Whether a limit of the work broke only at the full hour after its end: the hours are no finer than that."""
    measure = finding.rule.measure
    quantity = QUANTITIES[measure.quantity]
    area = past.explainer.area
    if measure.span != "work" or not quantity.instant:
        return False
    series, _ = measured(finding.rule, quantity, area)
    values = series.values
    if quantity.scope == "neighbour":
        slot = int(finding.slot[0, 0, past.hour])
        if slot < 0:
            return False
        values = values[slot]
    last = int((to_numpy(end, "h") - area.conditions.axis[0]) // HOUR)
    row = np.broadcast_to(values[:1, :1], (1, 1, len(area.conditions.axis)))[0, 0, past.hour : last + 1]
    limits = [None if side is None else side[0] for side in (finding.at_least, finding.at_most)]
    return not within(row, *limits).fails.any()


def _still_open(rule: str, ahead: OneStart, told: str, over: bool) -> tuple[str, float | None, str]:
    """What the forecast says of a limit that is not over, or was not seen to its end."""
    at = ahead.finding(rule)
    if at is None:
        return UNKNOWN, None, told
    reason = ahead.explainer.reason(at, 0, ahead.hour)
    so_far = "Not all of it was seen" if over else "Not over yet"
    if reason.verdict == "unknown":
        return UNKNOWN, None, told if over else "Not over yet, and the forecast does not know it."
    if reason.verdict == "no-go":
        chance = "" if reason.chance in (0.0, 1.0) else f" Chance that it holds: {reason.chance:.0%}."
        return AT_RISK, reason.chance, f"{so_far}; the forecast: {reason.text}{chance}"
    return UNKNOWN, reason.chance, f"{so_far}; the forecast keeps it ({reason.chance:.0%})."


def _too_near(headroom: float | None, quantity) -> bool:
    if headroom is None or quantity.spread is None:
        return False
    return abs(headroom) < quantity.spread[0]
