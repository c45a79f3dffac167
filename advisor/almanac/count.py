"""Every past day judged by the rules that the weather decides, exactly as a forecast without error would be."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

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
    parts = list(seasons(history, household.site.zone, _days_after(chosen, made)))
    books: list[list[dict]] = [[] for _ in made]
    dead = _never_known(household, made, chosen, history)
    for position, season in enumerate(parts):
        for at, rows in enumerate(_judge(household, made, chosen, season, dead)):
            books[at].append(rows)
        if progress is not None:
            progress(position + 1, len(parts))
    return [_book(task, rows, chosen, dead[at]) for at, (task, rows) in enumerate(zip(made, books, strict=True))]


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


def _conditions(household: Household, tasks: Sequence[Task], forecast: Forecast, now) -> AreaConditions:
    return AreaConditions(Conditions(forecast, SiteTable.of(household.site)), build(list(tasks), (), now))


def _never_known(household, tasks, rules, history: Forecast) -> list[dict[str, str]]:
    """For each task the rules that nothing in the history can answer: id -> what is missing."""
    from advisor.variables import VARIABLES

    out: list[dict[str, str]] = [{} for _ in tasks]
    carried = {name for name, one in history.fields.items() if one.known.any()}
    humid = bool({"dew_point", "relative_humidity"} & carried)
    for rule in rules:
        needed = [*QUANTITIES[rule.measure.quantity].inputs]
        if rule.estimate is not None:
            needed = [*QUANTITIES[rule.estimate].inputs]
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


def _judge(household: Household, tasks, rules, season: Season, dead) -> list[dict]:
    area = _conditions(household, tasks, season.forecast, season.middle)
    axis = season.forecast.axis
    zone = household.site.zone
    dates = local_dates(axis, zone)
    inside = np.flatnonzero((dates >= np.datetime64(season.first)) & (dates < np.datetime64(season.following)))
    wall = (axis[inside].astype("datetime64[s]") + local_offsets(axis[inside], zone)).astype("datetime64[h]")
    clock = (wall - wall.astype("datetime64[D]")).astype(int)
    findings = [(rule, evaluate_rule(rule, area)) for rule in rules]
    spare = area.spare_time[:, 0, :]
    return [
        _judge_task(at, findings, dead[at], spare[at][inside] >= -1e-9, dates[inside], clock, inside)
        for at in range(len(tasks))
    ]


def _judge_task(at: int, findings, dead, fits, dates, clock, inside) -> dict:
    holds = np.ones(len(inside), dtype=bool)
    fails_any = np.zeros(len(inside), dtype=bool)
    count_fails = np.zeros(len(inside), dtype=np.int16)
    count_unknown = np.zeros(len(inside), dtype=np.int16)
    fails: dict[str, np.ndarray] = {}
    for rule, finding in findings:
        if finding is None or rule.id in dead or not finding.applies[at]:
            continue
        held, known = _row(finding, at, inside)
        holds &= held
        failed = known & ~held
        fails_any |= failed
        count_fails += failed
        count_unknown += ~known
        fails[rule.id] = failed
    codes = np.where(holds, GO, np.where(fails_any, NO_GO, UNKNOWN)).astype(np.int8)
    days, first = np.unique(dates, return_index=True)
    at_all = np.add.reduceat(fits, first) > 0
    rows = {
        "days": days,
        "verdict": _of_days(codes, fits, first),
        "any_hour": _of_days(codes, np.ones_like(fits), first),
        "hours": np.full((len(days), 24), UNKNOWN, dtype=np.int8),
        "closes": {}, "alone": {},
    }  # fmt: skip
    # an hour that the clock shows twice keeps its first showing
    position = np.repeat(np.arange(len(days)), np.diff(np.r_[first, len(dates)]))
    rows["hours"][position[::-1], clock[::-1]] = codes[::-1]
    single = (count_fails == 1) & (count_unknown == 0) & fits
    closed = rows["verdict"] == NO_GO
    for rule_id, failed in fails.items():
        rows["closes"][rule_id] = np.logical_and.reduceat(failed | ~fits, first) & at_all
        rows["alone"][rule_id] = np.logical_or.reduceat(failed & single, first) & closed
    return rows


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


def _book(task: Task, rows: list[dict], rules: Sequence[Rule], dead: dict[str, str]) -> DayBook:
    seen = {rule_id for part in rows for rule_id in part["closes"]}
    ids = [rule.id for rule in rules if rule.id in seen]
    titles = {rule.id: rule.title for rule in rules}

    def stacked(name: str) -> np.ndarray:
        if not ids:
            return np.zeros((0, sum(len(part["days"]) for part in rows)), dtype=bool)
        return np.stack(
            [
                np.concatenate([part[name].get(one, np.zeros(len(part["days"]), dtype=bool)) for part in rows])
                for one in ids
            ]
        )

    joined = {name: np.concatenate([part[name] for part in rows]) for name in ("days", "verdict", "any_hour", "hours")}
    return DayBook(task, **joined, rules=tuple(ids), titles=tuple(titles[one] for one in ids),
                   closes=stacked("closes"), alone=stacked("alone"), left_out=dict(dead))  # fmt: skip
