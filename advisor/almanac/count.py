"""Every past day judged by the rules that the weather decides, exactly as a forecast without error would be."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from advisor.almanac.history import Season, seasons
from advisor.area_conditions import AreaConditions
from advisor.clock import local_dates, local_offsets
from advisor.conditions import Conditions, SiteTable
from advisor.forecast import Forecast
from advisor.model import Household, Task
from advisor.rulebook.evaluate import Finding, evaluate_rule
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Rule
from advisor.task_table import build
from advisor.variables import VARIABLES
from advisor.verdict import GO, NO_GO, UNKNOWN

#: rules on these are decided by the sun and the clock, all others that count by the weather
_BY_THE_SUN = ("sun_elevation", "inversion_sign")
#: what forecasts carry and no history of hours does: rules on it are left to the day itself
_NOT_KEPT = {"warning_in_force", "thunder_probability"}
#: of these two one is enough
_HUMID = ("dew_point", "relative_humidity")
#: a window may hang on what comes this long after the start at the least [days]
_LEAST_DAYS_AFTER = 5


@dataclass(frozen=True, eq=False)
class DayBook:
    """The judged days of one task, oldest first.

    Attributes
    ----------
    days : ndarray of datetime64[D] (day,)
        Local days.
    verdict : ndarray of int8 (day,)
        GO where some start inside the person's hours would have kept every rule, NO_GO where known that none would,
        else UNKNOWN.
    any_hour : ndarray of int8 (day,)
        The same over all hours of the day.
    hours : ndarray of int8 (day, 24)
        Verdict of the start at each local clock hour, whatever the person's hours; UNKNOWN where the clock skips it.
    rules : tuple of str
        Ids of the rules that were counted; `titles` in the same order.
    closes : ndarray of bool (rule, day)
        The rule fails at every start inside the person's hours.
    alone : ndarray of bool (rule, day)
        The day is no window, and at some start this rule alone stands in the way.
    left_out : mapping of str to str
        Rules that the weather decides and that could not be judged, with what is missing.
    """

    task: Task
    days: np.ndarray
    verdict: np.ndarray
    any_hour: np.ndarray
    hours: np.ndarray
    rules: tuple[str, ...]
    titles: tuple[str, ...]
    closes: np.ndarray
    alone: np.ndarray
    left_out: dict[str, str]


def weather_rules(rules: Sequence[Rule]) -> list[Rule]:
    """The rules that past weather can answer; those of the ledger, the label's paper and the calendar are left away.

    A rule that waits for a label field is judged by its default, because the label of a later day may say it.
    """
    kept = []
    for rule in rules:
        quantity = QUANTITIES[rule.measure.quantity]
        if _NOT_KEPT & set(quantity.inputs):
            continue
        if quantity.inputs or quantity.name in _BY_THE_SUN:
            kept.append(replace(rule, missing_label="default") if rule.missing_label == "block" else rule)
    return kept


def past_household(household: Household) -> Household:
    """The household without what was seen of the soil lately; an unstated irrigation timetable counts as none."""
    areas = {
        name: replace(area, soil_state=None, soil_seen=None, irrigation=area.irrigation or ())
        for name, area in household.areas.items()
    }
    return replace(household, areas=areas)


def count_days(
    household: Household,
    tasks: Sequence[tuple[str, str]],
    history: Forecast,
    rules: Sequence[Rule],
    progress: Callable[[int, int], None] | None = None,
) -> list[DayBook]:
    """Judge every local day of the history for each (treatment id, area id).

    Parameters
    ----------
    history : Forecast
        Past weather of the household's site after quality control, (1, 1, hour).
    rules : sequence of Rule
        All of them; see `weather_rules`.
    progress : callable (done, total), optional
        Told after each season.
    """
    household = past_household(household)
    chosen = weather_rules(rules)
    made = [_task(household, *names) for names in tasks]
    cut = list(seasons(history, household.site.zone, _days_after(chosen, made)))
    parts: list[list[_Part]] = []
    dead = _never_known(household, made, chosen, history)
    for done, season in enumerate(cut, 1):
        parts.append(_judge(household, made, chosen, season, dead))
        if progress is not None:
            progress(done, len(cut))
    return [_book(task, [of_all[at] for of_all in parts], chosen, dead[at]) for at, task in enumerate(made)]


def _task(household: Household, treatment_id: str, area_id: str) -> Task:
    treatment = household.treatments[treatment_id]
    return Task(household, treatment, household.areas[area_id], household.labels[treatment.label], 1)


def _days_after(rules: Sequence[Rule], tasks: Sequence[Task]) -> int:
    """How many days behind a start the rules look."""
    longest = 0.0
    for rule in rules:
        setting = rule.measure.length
        if setting is not None and rule.measure.span in ("after", "work+after"):
            stated = [task.label.limits.get(setting.label, 0.0) for task in tasks if setting.label]
            longest = max(longest, setting.default or 0.0, *stated, 0.0)
        longest = max(longest, 24.0 * (rule.measure.count + 1))
        longest = max(longest, float(QUANTITIES[rule.measure.quantity].looks_ahead))
    work = max((task.duration for task in tasks), default=0.0)
    return max(_LEAST_DAYS_AFTER, math.ceil((longest + work) / 24.0) + 1)


def _conditions(
    household: Household, tasks: Sequence[Task], forecast: Forecast, now: datetime
) -> AreaConditions:
    return AreaConditions(Conditions(forecast, SiteTable.of(household.site)), build(list(tasks), (), now))


def _never_known(
    household: Household, tasks: Sequence[Task], rules: Sequence[Rule], history: Forecast
) -> list[dict[str, str]]:
    """For each task the rules that nothing in the history can answer: id -> what is missing."""
    out: list[dict[str, str]] = [{} for _ in tasks]
    carried = {name for name, one in history.fields.items() if one.known.any()}
    humid = not carried.isdisjoint(_HUMID)
    for rule in rules:
        needed = QUANTITIES[rule.measure.quantity if rule.estimate is None else rule.estimate].inputs
        absent = [name for name in needed if name not in carried and not (humid and name in _HUMID)]
        if absent == ["cloud_cover"]:
            # by day the class of the air is bounded without it
            absent = []
        for at, task in enumerate(tasks):
            if absent:
                out[at][rule.id] = ", ".join(VARIABLES[name].says for name in absent)
            elif household.site.soil is None and rule.measure.quantity in ("soil_stress", "runoff_depth"):
                out[at][rule.id] = "the soil texture of the site"
            elif _limit_is_blank(rule, task):
                out[at][rule.id] = "the label's limit"
    return out


def _limit_is_blank(rule: Rule, task: Task) -> bool:
    settings = [one for one in (rule.at_least, rule.at_most, rule.measure.length) if one is not None]
    return any(one.default is None and one.label not in task.label.limits for one in settings)


@dataclass(frozen=True, eq=False)
class _Part:
    """The judged days of one task in one season: as in `DayBook`, with the rules by their id."""

    days: np.ndarray
    verdict: np.ndarray
    any_hour: np.ndarray
    hours: np.ndarray
    closes: dict[str, np.ndarray]
    alone: dict[str, np.ndarray]


def _judge(
    household: Household,
    tasks: Sequence[Task],
    rules: Sequence[Rule],
    season: Season,
    dead: Sequence[Collection[str]],
) -> list[_Part]:
    """The days of a season for each task, by the rules that are not dead for it."""
    area = _conditions(household, tasks, season.forecast, season.middle)
    axis = season.forecast.axis
    zone = household.site.zone
    dates = local_dates(axis, zone)
    inside = np.flatnonzero(
        (dates >= np.datetime64(season.first)) & (dates < np.datetime64(season.following))
    )
    wall = (axis[inside].astype("datetime64[s]") + local_offsets(axis[inside], zone)).astype("datetime64[h]")
    clock = (wall - wall.astype("datetime64[D]")).astype(int)
    findings = [finding for rule in rules if (finding := evaluate_rule(rule, area)) is not None]
    fits = area.spare_time[:, 0, :][:, inside] >= -1e-9
    return [
        _judge_task(
            {one.rule.id: _row(one, at, inside) for one in findings if one.rule.id not in dead[at] and one.applies[at]},
            fits[at], dates[inside], clock,
        )
        for at in range(len(tasks))
    ]  # fmt: skip


def _judge_task(
    outcomes: Mapping[str, tuple[np.ndarray, np.ndarray]],
    fits: np.ndarray,
    dates: np.ndarray,
    clock: np.ndarray,
) -> _Part:
    """The days of one task from (holds, known) of each rule at every start.

    Parameters
    ----------
    fits : ndarray of bool (start,)
        Whether the start lies inside the person's hours.
    dates, clock : ndarray (start,)
        Local date and hour of the clock.
    """
    holds, fails_any = np.ones(len(dates), dtype=bool), np.zeros(len(dates), dtype=bool)
    count_fails, count_unknown = np.zeros(len(dates), dtype=np.int16), np.zeros(len(dates), dtype=np.int16)
    fails: dict[str, np.ndarray] = {}
    for rule_id, (held, known) in outcomes.items():
        holds &= held
        fails[rule_id] = known & ~held
        fails_any |= fails[rule_id]
        count_fails += fails[rule_id]
        count_unknown += ~known
    codes = np.where(holds, GO, np.where(fails_any, NO_GO, UNKNOWN)).astype(np.int8)
    days, first = np.unique(dates, return_index=True)
    verdict = _of_days(codes, fits, first)
    hours = np.full((len(days), 24), UNKNOWN, dtype=np.int8)
    # an hour that the clock shows twice keeps its first showing
    position = np.repeat(np.arange(len(days)), np.diff(np.r_[first, len(dates)]))
    hours[position[::-1], clock[::-1]] = codes[::-1]
    single = (count_fails == 1) & (count_unknown == 0) & fits
    any_fits, no_window = np.add.reduceat(fits, first) > 0, verdict == NO_GO
    return _Part(
        days,
        verdict,
        _of_days(codes, np.ones_like(fits), first),
        hours,
        {name: np.logical_and.reduceat(failed | ~fits, first) & any_fits for name, failed in fails.items()},
        {name: np.logical_or.reduceat(failed & single, first) & no_window for name, failed in fails.items()},
    )


def _row(finding: Finding, at: int, inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    def pick(values: np.ndarray) -> np.ndarray:
        row = values[at if values.shape[0] > 1 else 0, 0]
        return row[inside] if len(row) > 1 else np.broadcast_to(row, inside.shape)

    return pick(finding.outcome.holds), pick(finding.outcome.known)


def _of_days(codes: np.ndarray, counts: np.ndarray, first: np.ndarray) -> np.ndarray:
    """GO where any counted start goes, UNKNOWN where none does and one is unknown, else NO_GO."""
    go = np.logical_or.reduceat((codes == GO) & counts, first)
    unknown = np.logical_or.reduceat((codes == UNKNOWN) & counts, first)
    return np.where(go, GO, np.where(unknown, UNKNOWN, NO_GO)).astype(np.int8)


def _book(task: Task, parts: Sequence[_Part], rules: Sequence[Rule], dead: Mapping[str, str]) -> DayBook:
    """The seasons of a task, one after the other; a rule that a season did not ask counts as not failing in it."""
    counted = [rule for rule in rules if any(rule.id in part.closes for part in parts)]

    def joined(name: str) -> np.ndarray:
        return np.concatenate([getattr(part, name) for part in parts])

    def by_rule(name: str) -> np.ndarray:
        table, first = np.zeros((len(counted), sum(len(part.days) for part in parts)), dtype=bool), 0
        for part in parts:
            following = first + len(part.days)
            for row, rule in enumerate(counted):
                table[row, first:following] = getattr(part, name).get(rule.id, False)
            first = following
        return table

    return DayBook(
        task,
        joined("days"),
        joined("verdict"),
        joined("any_hour"),
        joined("hours"),
        tuple(rule.id for rule in counted),
        tuple(rule.title for rule in counted),
        by_rule("closes"),
        by_rule("alone"),
        dict(dead),
    )
