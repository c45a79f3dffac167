"""The outlook: tasks scored against a forecast, gathered into the days ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.clock import HOUR, local_dates, local_instant, to_numpy
from advisor.conditions import Conditions, SiteTable
from advisor.explain import Blocked, Case, Explainer, RuleReason, judged
from advisor.forecast import Forecast, extended
from advisor.model import Household, PlanEntry, Record, Task
from advisor.rulebook.evaluate import evaluate
from advisor.rulebook.schema import Rule
from advisor.sequence import next_tasks
from advisor.spread import Learned, apply_learned
from advisor.task_table import build
from advisor.verdict import GO, NO_GO, UNKNOWN, VERDICT_WORDS, Verdicts
from advisor.waiting import Climate, Prospects, TaskWaiting, cost_of_a_day, prospects_of


@dataclass(frozen=True, slots=True)
class Day:
    """One local day of one task.

    Attributes
    ----------
    verdict : str
        "go" if any candidate start is go, "no-go" if all are, otherwise "unknown".
    best_start, window_end : datetime64[h], optional
        The go start with the highest chance, and the latest start of the run of go hours it belongs to.
    shown_start : datetime64[h], optional
        The start that the reasons speak of: the best one, or the one that comes nearest to a go.
    chance, chance_upper : float, optional
        That everything holds jointly at the shown start: surely, and at most.
    windows : tuple of (first, last) datetime64[h]
        Runs of go starts.
    candidates : tuple of datetime64[h]
        Starts inside the person's hours at which the work fits.
    too_early : bool
        Unknown only because the day is too far ahead to decide.
    case : Case, optional
        What is said for and against it, worked out when it is asked for.
    """

    day: date
    verdict: str
    best_start: np.datetime64 | None
    window_end: np.datetime64 | None
    shown_start: np.datetime64 | None
    chance: float | None
    chance_upper: float | None
    windows: tuple[tuple[np.datetime64, np.datetime64], ...]
    candidates: tuple[np.datetime64, ...]
    too_early: bool
    case: Case | None = None

    @property
    def failing(self) -> tuple[RuleReason, ...]:
        """Reasons of rules that are broken at the shown start; cheaper than all reasons."""
        return () if self.case is None else self.case.failing

    @property
    def unknown(self) -> tuple[RuleReason, ...]:
        """Reasons of rules that are not known there."""
        return () if self.case is None else self.case.unknown

    @property
    def reasons(self) -> tuple[RuleReason, ...]:
        """What every rule says of the shown start: what blocks first, then what is not known, then the tightest."""
        return () if self.case is None else self.case.reasons

    @property
    def tightest(self) -> RuleReason | None:
        """The first of the reasons."""
        return None if self.case is None else self.case.tightest

    @property
    def blocked(self) -> Blocked:
        """What stands against a day that is no go."""
        return Blocked() if self.case is None else self.case.blocked


@dataclass(frozen=True, slots=True)
class TaskOutlook:
    """`prospects` are all days left to the task, those after the forecast too; `days` those that were asked for."""

    task: Task
    days: tuple[Day, ...]
    prospects: Prospects | None = None

    def waiting(self, day: date) -> TaskWaiting | None:
        """Go on that day or wait; None outside the days that are left."""
        return None if self.prospects is None else self.prospects.on(day)

    def next_go(self, after: date | None = None) -> Day | None:
        return next(
            (day for day in self.days if day.verdict == "go" and (after is None or day.day > after)), None
        )


@dataclass(frozen=True, eq=False)
class Outlook:
    """Everything that was found for a household at one moment."""

    household: Household
    now: datetime
    forecast: Forecast
    tasks: tuple[TaskOutlook, ...]
    explainer: Explainer | None
    verdicts: Verdicts | None

    def soil_water(self) -> dict[str, tuple[date, float]]:
        """By area: yesterday, and the depletion [mm] of the root zone at its end, where all members agree on it."""
        if self.explainer is None:
            return {}
        yesterday = self.now.astimezone(self.household.site.zone).date() - timedelta(days=1)
        ends = self.explainer.area.depletion_at_end_of(np.datetime64(yesterday))
        return {
            scored.task.area.id: (yesterday, round(float(ends[at, 0]), 3))
            for at, scored in enumerate(self.tasks)
            if not np.isnan(ends[at]).any() and np.ptp(ends[at]) < 1e-6
        }


def make_outlook(
    household: Household,
    forecast: Forecast,
    rules: Sequence[Rule],
    records: Sequence[Record],
    now: datetime,
    days: int = 8,
    plans: Sequence[PlanEntry] = (),
    climate: Mapping[str, Climate] | None = None,
    learned: Learned | None = None,
) -> Outlook:
    """Score the household's next passes over the days of the forecast, today first.

    Parameters
    ----------
    forecast : Forecast
        Of the household's site, after quality control.
    records : sequence of Record
        The ledger, oldest first or not.
    now : datetime
        Starts before it are not offered.
    plans : sequence of PlanEntry
        Choices that changed the plan.
    climate : mapping of str to callable, optional
        How often a day had a window in past years, by task id.
    learned : Learned, optional
        Bias and spread of the site's own forecasts, where enough of them have been kept.
    """
    records = [record for record in records if record.started_at <= now]
    tasks = next_tasks(household, records, now, plans)
    if not tasks:
        return Outlook(household, now, forecast, (), None, None)
    site, settings = household.site, household.settings
    if settings.assumed_members:
        forecast = apply_learned(forecast, now, learned, settings.assumed_members, site.key)
    forecast = _to_the_end_of_the_day(forecast, site.zone)
    area = AreaConditions(Conditions(forecast, SiteTable.of(site)), build(tasks, records, now))
    explainer = judged(evaluate(rules, area), area, household, now)
    lead, outlooks = explainer.lead_hours, []
    for at, task in enumerate(tasks):
        dates = local_dates(forecast.axis, site.zone)
        ahead = [
            day
            for day in np.unique(dates[lead >= 0])
            if day >= np.datetime64(now.astimezone(site.zone).date())
        ]
        made = tuple(
            _day(at, day.item(), np.flatnonzero(dates == day), explainer, lead) for day in ahead[:days]
        )
        left = prospects_of(explainer, at, task, now, (climate or {}).get(task.id), cost_of_a_day(settings))
        outlooks.append(TaskOutlook(task, made, left))
    return Outlook(household, now, forecast, tuple(outlooks), explainer, explainer.verdicts)


def _to_the_end_of_the_day(forecast: Forecast, zone: ZoneInfo) -> Forecast:
    """With all hours of the last local day: those after the data are starts too, and not known ones."""
    last = local_dates(forecast.axis[-1:], zone)[0].item()
    end = to_numpy(local_instant(last + timedelta(days=1), time(0), zone))
    start = forecast.start.astype("datetime64[s]")
    return extended(forecast, int(-((start - end) // np.timedelta64(3600, "s"))))


def _day(task: int, day: date, hours: np.ndarray, explainer: Explainer, lead: np.ndarray) -> Day:
    verdicts, axis = explainer.verdicts, explainer.area.conditions.axis
    future = hours[lead[hours] >= 0.0]
    fits = explainer.area.spare_time[task, 0, future] >= -1e-9
    candidates = future[fits]
    shown_among = candidates if len(candidates) else (future if len(future) else hours[-1:])
    codes = verdicts.verdict[task, candidates]
    code = next((one for one in (GO, UNKNOWN) if (codes == one).any()), NO_GO)
    if code != NO_GO:
        shown_among = candidates[codes == code]
    shown = explainer.nearest(task, shown_among)
    runs = _runs(candidates[codes == GO])
    window = next((run for run in runs if run[0] <= shown <= run[1]), None) if code == GO else None
    return Day(
        day=day,
        verdict=VERDICT_WORDS[code],
        best_start=axis[shown] if code == GO else None,
        window_end=axis[window[1]] if window else None,
        shown_start=axis[shown],
        chance=float(verdicts.everything.lower[task, shown]),
        chance_upper=float(verdicts.everything.upper[task, shown]),
        windows=tuple((axis[first], axis[last]) for first, last in runs),
        candidates=tuple(axis[candidates]),
        too_early=bool(code == UNKNOWN and verdicts.too_early[task, shown]),
        case=Case(explainer, task, shown, candidates.tolist()),
    )


def _runs(hours: np.ndarray) -> list[tuple[int, int]]:
    """Runs of consecutive positions as (first, last)."""
    if not len(hours):
        return []
    breaks = np.flatnonzero(np.diff(hours) > 1)
    firsts, lasts = np.r_[0, breaks + 1], np.r_[breaks, len(hours) - 1]
    return [(int(hours[a]), int(hours[b])) for a, b in zip(firsts, lasts, strict=True)]


def hour_index(outlook: Outlook, instant: datetime) -> int | None:
    """Position of the start hour that holds an instant, None off the axis."""
    index = int((to_numpy(instant).astype("datetime64[h]") - outlook.forecast.start) // HOUR)
    return index if 0 <= index < outlook.forecast.hours else None
