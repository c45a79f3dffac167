"""The days that are left to a task, and what going on one of them is worth against waiting."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from advisor.clock import from_numpy, local_dates, to_numpy
from advisor.explain import Explainer
from advisor.model import Task
from advisor.rulebook.quantities import QUANTITIES
from advisor.season import latest_day
from advisor.sequence.passes import follow_up_span
from advisor.verdict import GO, HOPELESS_BELOW
from advisor.waiting.stopping import firmness, go_or_wait
from advisor.waiting.worth import COST_OF_A_DAY, gains

#: how often a day near this one had a window in past years; None where no year tells
Climate = Callable[[date], float | None]

#: looked at where no last sensible day is known [days]. Common practice, no source.
WITHOUT_END_DAYS = 42
_EPS = 1e-9


@dataclass(frozen=True, slots=True)
class TaskWaiting:
    """Go on a day or wait, for one task.

    Attributes
    ----------
    day : date
        The day that is asked about.
    is_go : bool
        Whether that day is a go; where it is not, only waiting is left.
    go, wait : float
        Worth of going on it and of the best policy after it, in passes that succeed on time.
    good_window : float
        Chance that at least one later day, no later than `until`, comes out a go.
    until : date
        Last day that was looked at; `on_time_until` is the end of the time in which the pass is wanted.
    best_day : date, optional
        The later day that stands best now.
    forecast_until : date, optional
        Last day of which the forecast says something.
    climate : str
        "almanac" where days after the forecast rest on past years, "none" where they count as 0 for want of an
        almanac, "unneeded" where the forecast reaches to the last day.
    """

    day: date
    is_go: bool
    go: float
    wait: float
    good_window: float
    until: date
    on_time_until: date | None
    best_day: date | None
    forecast_until: date | None
    climate: str

    @property
    def advice(self) -> str:
        """One of "go", "wait", or "nothing left" where neither that day nor a later one is worth anything."""
        if self.is_go and self.go > 0.0 and self.go >= self.wait:
            return "go"
        return "wait" if self.wait > 0.0 else "nothing left"


@dataclass(frozen=True, eq=False)
class Prospects:
    """Every day from today to the last one that makes sense (day,).

    Attributes
    ----------
    chance : ndarray
        That everything holds at the best start, as it is expected now; 0 where safety and label rules cannot hold.
    is_go : ndarray of bool
    worth : ndarray
        Of a success on that day, see `advisor.waiting.worth`.
    known : ndarray of bool
        Whether the forecast says it; else it is the almanac's frequency, or 0 without one.
    """

    days: tuple[date, ...]
    chance: np.ndarray
    is_go: np.ndarray
    worth: np.ndarray
    known: np.ndarray
    floor: float
    on_time_until: date | None
    has_climate: bool
    cost_of_a_day: float = COST_OF_A_DAY

    def on(self, day: date) -> TaskWaiting | None:
        """The question asked of one of the days; None outside them."""
        if day not in self.days:
            return None
        at = self.days.index(day)
        worth = self.worth[at:] / self._unit(at)
        ahead = np.arange(at + 1, len(self.days))
        found = go_or_wait(
            float(self.chance[at]) if self.is_go[at] else 0.0,
            self.chance[at + 1 :],
            worth,
            firmness(ahead),
            self.floor,
        )
        later = worth[1:] * self.chance[at + 1 :]
        best = self.days[at + 1 + int(np.argmax(later))] if len(later) and later.max() > 0.0 else None
        reached = np.flatnonzero(self.known)
        beyond = not self.known[at:].all()
        return TaskWaiting(
            day, bool(self.is_go[at]), found.go, found.wait, found.good_window, self.days[-1], self.on_time_until,
            best, self.days[int(reached[-1])] if len(reached) else None,
            "unneeded" if not beyond else "almanac" if self.has_climate else "none",
        )  # fmt: skip

    def _unit(self, at: int) -> float:
        """What a pass on time on that very day is worth, so that the days before it cost nothing any more."""
        return max(1.0 - self.cost_of_a_day * at, _EPS)


def prospects_of(
    explainer: Explainer, at: int, task: Task, now, climate: Climate | None = None, cost_of_a_day: float | None = None
) -> Prospects:
    """The days left to a scored task: those of the follow-up's time, or of the season for a first or a late pass.

    Parameters
    ----------
    at : int
        Position of the task among the explainer's.
    now : datetime
    climate : callable, optional
        How often a day had a window in past years, for the days after the forecast.
    cost_of_a_day : float, optional
        Part of a pass that a day of waiting costs, C/F where the household states both.
    """
    zone = task.household.site.zone
    today = now.astimezone(zone).date()
    wanted_from, on_time_until, last = _bounds(explainer, at, task, now, today)
    days = tuple(today + timedelta(days=one) for one in range(max((last - today).days, 0) + 1))
    chance, upper, is_go, known = _from_forecast(explainer, at, days, zone, now)
    blocked = _blocked_by_the_ledger(explainer, at)
    told = np.array([np.nan if climate is None or blocked else _none_as_nan(climate(day)) for day in days])
    has_climate = bool(np.isfinite(told[~known]).any())
    usual = np.nan_to_num(told)
    # a day that the forecast knows in part keeps to what is known of it
    chance = np.where(known, chance, np.clip(usual, np.nan_to_num(chance), np.where(np.isnan(upper), 1.0, upper)))
    cost = COST_OF_A_DAY if cost_of_a_day is None else cost_of_a_day
    worth = gains(days, wanted_from, on_time_until, cost)
    return Prospects(
        days, chance, is_go, worth, known, explainer.verdicts.everything_floor, on_time_until, has_climate, cost
    )  # fmt: skip


def _none_as_nan(value: float | None) -> float:
    return np.nan if value is None else float(value)


def _bounds(explainer: Explainer, at: int, task: Task, now, today: date) -> tuple[date | None, date | None, date]:
    """(first day wanted and allowed, last day on time, last day looked at)."""
    zone = task.household.site.zone
    span, latest = follow_up_span(task), latest_day(task, now)
    wanted_from, on_time_until = task.treatment.start_from, None
    if span is not None:
        wanted_from, on_time_until = (moment.astimezone(zone).date() for moment in span)
    legal = _legal_from(explainer, at)
    if legal is not None:
        legal_day = from_numpy(legal).astimezone(zone).date()
        wanted_from = legal_day if wanted_from is None else max(wanted_from, legal_day)
    if on_time_until is not None and on_time_until >= today:
        last = on_time_until if latest is None else min(on_time_until, max(latest, today))
    elif latest is not None:
        last = latest
    else:
        last = today + timedelta(days=WITHOUT_END_DAYS)
    return wanted_from, on_time_until, max(last, today)


def _legal_from(explainer: Explainer, at: int) -> np.datetime64 | None:
    """End of the label's interval since the last pass with one of its ingredients."""
    table = explainer.area.table
    last, interval = table.instants["last_pass"][at], table.label["minimum_interval"][at]
    if np.isnat(last) or np.isnan(interval):
        return None
    return last + np.timedelta64(int(interval * 3600), "s")


def _from_forecast(explainer: Explainer, at: int, days: Sequence[date], zone, now):
    """(lower chance, upper chance, go, known) of each day's best start; NaN where the forecast does not reach."""
    verdicts, axis = explainer.verdicts, explainer.area.conditions.axis
    dates = local_dates(axis, zone)
    fits = (explainer.area.spare_time[at if explainer.area.spare_time.shape[0] > 1 else 0, 0] >= -_EPS) & (
        axis.astype("datetime64[s]") >= to_numpy(now)
    )
    possible = _strict_rules_can_hold(explainer, at)
    lower = np.where(possible, verdicts.everything.lower[at], 0.0)
    upper = np.where(possible, verdicts.everything.upper[at], 0.0)
    chance, most = np.full(len(days), np.nan), np.full(len(days), np.nan)
    is_go, known = np.zeros(len(days), dtype=bool), np.zeros(len(days), dtype=bool)
    covered = set(np.unique(dates).astype(object))
    for position, day in enumerate(days):
        if day not in covered:
            continue
        starts = np.flatnonzero(fits & (dates == np.datetime64(day)))
        if not len(starts):
            # no start of that day fits the person's hours, or all of them are over
            chance[position], most[position], known[position] = 0.0, 0.0, True
            continue
        chance[position], most[position] = lower[starts].max(), upper[starts].max()
        is_go[position] = bool((verdicts.verdict[at, starts] == GO).any())
        if is_go[position]:
            chance[position] = verdicts.everything.lower[at, starts[verdicts.verdict[at, starts] == GO]].max()
        known[position] = is_go[position] or most[position] - chance[position] < _EPS
    return chance, most, is_go, known


def _strict_rules_can_hold(explainer: Explainer, at: int) -> np.ndarray:
    """(hour,) where safety and label rules may still be kept: at their floors within the decision horizon, beyond it
    with a chance that is not hopeless."""
    verdicts = explainer.verdicts
    decidable = explainer.lead_hours <= explainer.horizon_hours + _EPS
    jointly = np.where(decidable, explainer.floors["safety_and_label"], HOPELESS_BELOW)
    possible = verdicts.safety_and_label.upper[at] >= jointly - _EPS
    for position, finding in enumerate(explainer.findings):
        if not finding.applies[at] or finding.kind(at) == "effect":
            continue
        upper = verdicts.rules[position].upper
        own = np.where(decidable, verdicts.floors[position, at], HOPELESS_BELOW)
        possible &= upper[at if upper.shape[0] > 1 else 0] >= np.minimum(own, 1.0) - _EPS
    return possible


def _blocked_by_the_ledger(explainer: Explainer, at: int) -> bool:
    """Whether a safety or label rule that no weather changes stands against the task: no later day opens it."""
    for position, finding in enumerate(explainer.findings):
        hourly = QUANTITIES[finding.rule.measure.quantity].hourly
        if hourly or not finding.applies[at] or finding.kind(at) == "effect":
            continue
        lower = explainer.verdicts.rules[position].lower
        if not (lower[at if lower.shape[0] > 1 else 0] > 0.0).any():
            return True
    return False
