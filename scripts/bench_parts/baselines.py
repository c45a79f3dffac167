"""The same rules three other ways: rows of pandas, whole arrays of numpy, and a general rule engine.

Each takes what `prepare` gives: for every rule its derived series, its span and its limits. The derived series are made
once, untimed, so the others are spared the formulas that the advisor's own time includes. What is left to them is the
work that the benchmark compares: reducing each series over its span, comparing it with its limits in three values,
counting members, and the verdict of every start. All work on float32 where the advisor does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.rulebook import evaluate as rulebook
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Rule

#: as the advisor counts values that equal a limit in another unit
SLACK = 1e-5
_EPS = 1e-9


@dataclass(frozen=True, eq=False)
class Prepared:
    """One rule, with everything but its answer.

    Attributes
    ----------
    series : tuple of ndarray (task or 1, member or 1, hour)
        One, or one a neighbour; then `named` (task, neighbour) says whom the rule is about.
    spans : ndarray of int (task, hour, 2)
        First point and the one after the last that each start looks at; they may lie off the axis.
    take : str
        min, max, sum or first.
    at_least, at_most : ndarray (task,), optional
    applies, blank, strict : ndarray of bool (task,)
    floor : ndarray (task,)
    """

    id: str
    series: tuple[np.ndarray, ...]
    named: np.ndarray | None
    spans: np.ndarray
    take: str
    at_least: np.ndarray | None
    at_most: np.ndarray | None
    applies: np.ndarray
    blank: np.ndarray
    strict: np.ndarray
    floor: np.ndarray


class Answer(NamedTuple):
    """Verdict (1 go, 0 no-go, -1 unknown) and the joint chance, at least and at most, of every start (task, hour)."""

    verdict: np.ndarray
    lower: np.ndarray
    upper: np.ndarray

    def equals(self, other: Answer) -> bool:
        return np.array_equal(self.verdict, other.verdict) and all(
            np.allclose(ours, theirs, rtol=0.0, atol=_EPS)
            for ours, theirs in zip(self[1:], other[1:], strict=True)
        )


def prepare(rules: Sequence[Rule], area: AreaConditions, floors: Mapping[str, float]) -> list[Prepared]:
    """The rules that apply, by the rulebook's own reading of limits and spans. No weather in blocks."""
    made = []
    for rule in rules:
        finding = rulebook.evaluate_rule(rule, area)
        if finding is None:
            continue
        quantity, measure = QUANTITIES[rule.measure.quantity], rule.measure
        named = None
        if measure.for_each == "neighbour":
            series, named = tuple(quantity.series(area).values), rulebook.named_neighbours(rule, area)
        else:
            series = (rulebook.measured(rule, quantity, area)[0].values,)
        take = {"any": "max", "all": "min"}.get(measure.take, measure.take)
        if measure.span == "at-start" or not quantity.hourly:
            take = "first"
        assert take in ("min", "max", "sum", "first"), f"{rule.id}: no baseline takes the {take}"
        strict = (
            np.array([finding.kind(task) != "effect" for task in range(len(area.table))]) & finding.applies
        )
        own = [
            floors[finding.kind(task)] if rule.floor is None else rule.floor
            for task in range(len(area.table))
        ]
        made.append(
            Prepared(rule.id, series, named, _spans(rule, area, quantity.instant, finding.length), take,
                     finding.at_least, finding.at_most, finding.applies, finding.blank, strict,
                     np.where(finding.applies, own, 0.0))
        )  # fmt: skip
    return made


def _spans(rule: Rule, area: AreaConditions, instant: bool, length: np.ndarray) -> np.ndarray:
    tasks, hours = len(area.table), len(area.conditions.axis)
    start = np.arange(hours)
    spans = np.empty((tasks, hours, 2), dtype=int)
    if rule.measure.span == "at-start" or not QUANTITIES[rule.measure.quantity].hourly:
        spans[..., 0], spans[..., 1] = start, start + 1
    elif rule.measure.span == "nights-after":
        first, stop, night_of = rulebook.nights_of_tasks(area)
        assert rule.measure.count in (1, 2)
        spans = np.empty((tasks, hours, 2 * rule.measure.count), dtype=int)
        for night in range(rule.measure.count):
            at = night_of + night
            inside = at < first.shape[1]
            at = np.minimum(at, first.shape[1] - 1)
            # a night that never comes lies behind the axis
            spans[..., 2 * night] = np.where(inside, np.take_along_axis(first, at, 1), hours)
            spans[..., 2 * night + 1] = np.where(inside, np.take_along_axis(stop, at, 1) + instant, hours + 1)
    else:
        offsets = rulebook.span_offsets(rule, area, length)
        spans[..., 0] = start + offsets[:, :1]
        spans[..., 1] = start + offsets[:, 1:] + (instant and rule.measure.take != "sum")
    return spans


# whole arrays of numpy ----------------------------------------------------------------------------------------------


def whole_array_verdicts(prepared: Sequence[Prepared], nominal: np.ndarray, lead, floors, horizon) -> Answer:
    """All sites in one array, one hour of the span after the other, float64 limits as they come."""
    tasks, hours, _ = prepared[0].spans.shape
    members = max(series.shape[1] for one in prepared for series in one.series)
    shape = (tasks, members, hours)
    all_hold, any_fails = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
    strict_hold, strict_fails = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
    kept, known = np.ones((tasks, hours), dtype=bool), np.ones((tasks, hours), dtype=bool)
    for one in prepared:
        holds, fails = np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool)
        for slot, series in enumerate(one.series):
            value, complete = _whole_reduce(np.broadcast_to(series, shape), one.spans, one.take)
            part_holds, part_fails = _whole_judge(value, complete, one)
            if one.named is not None:
                there = one.named[:, slot, None, None]
                part_holds, part_fails = part_holds | ~there, part_fails & there
            holds, fails = holds & part_holds, fails | part_fails
        holds = np.where(one.applies[:, None, None], holds & ~one.blank[:, None, None], True)
        fails = fails & one.applies[:, None, None]
        all_hold, any_fails = all_hold & holds, any_fails | fails
        strict = one.strict[:, None, None]
        strict_hold, strict_fails = strict_hold & (holds | ~strict), strict_fails | (fails & strict)
        lower, upper = holds.sum(axis=1) / nominal, 1.0 - fails.sum(axis=1) / nominal
        kept &= ~one.strict[:, None] | ((lower >= one.floor[:, None] - _EPS) & (lower > _EPS))
        known &= np.abs(upper - lower) < _EPS
    joint = all_hold.sum(axis=1) / nominal, 1.0 - any_fails.sum(axis=1) / nominal
    return _verdict(kept, known, joint, strict_hold.sum(axis=1) / nominal, lead, floors, horizon)


def _whole_reduce(values: np.ndarray, spans: np.ndarray, take: str) -> tuple[np.ndarray, np.ndarray]:
    hours = values.shape[-1]
    if take == "first":
        return values, ~np.isnan(values)
    extreme = {"max": np.fmax, "min": np.fmin}.get(take)
    value = np.full(values.shape, np.nan, dtype=np.float64 if take == "sum" else values.dtype)
    complete = np.ones(values.shape, dtype=bool)
    for pair in range(0, spans.shape[-1], 2):
        first, stop = spans[..., pair], spans[..., pair + 1]
        for step in range(int((stop - first).max())):
            at = first + step
            wanted = (at < stop)[:, None, :]
            inside = ((at >= 0) & (at < hours))[:, None, :] & wanted
            index = np.broadcast_to(np.clip(at, 0, hours - 1)[:, None, :], values.shape)
            here = np.where(inside, np.take_along_axis(values, index, axis=-1), np.nan)
            complete &= ~wanted | ~np.isnan(here)
            if extreme is not None:
                value = extreme(value, here)
            else:
                value = np.where(np.isnan(value), here, value + np.nan_to_num(here))
    return value, complete


def _whole_judge(value: np.ndarray, complete: np.ndarray, one: Prepared) -> tuple[np.ndarray, np.ndarray]:
    holds, fails = np.ones(value.shape, dtype=bool), np.zeros(value.shape, dtype=bool)
    for limit, lower in ((one.at_least, True), (one.at_most, False)):
        if limit is None:
            continue
        limit = limit[:, None, None]
        slack = SLACK * np.maximum(1.0, np.abs(limit))
        known = ~np.isnan(value) & ~np.isnan(limit)
        inside = known & ((value >= limit - slack) if lower else (value <= limit + slack))
        # the known part of a span settles a maximum or a sum upwards, a minimum downwards
        sure_yes, sure_no = _settled(one.take, lower)
        holds &= inside & (complete | sure_yes)
        fails |= known & ~inside & (complete | sure_no)
    return holds, fails


def _settled(take: str, lower: bool) -> tuple[bool, bool]:
    """Whether the known part of a span may settle that a limit is kept, and that it is not."""
    rising = take in ("max", "sum")
    if take == "first":
        return False, False
    return (rising, not rising) if lower else (not rising, rising)


def _verdict(kept, known, joint, strict_lower, lead, floors, horizon) -> Answer:
    lower, upper = joint
    known = known & (np.abs(upper - lower) < _EPS)
    go = kept & (strict_lower >= floors["safety_and_label"] - _EPS) & (strict_lower > _EPS)
    go &= (lower >= floors["everything"] - _EPS) & (lower > _EPS)
    no_go = ~go & ((known & (lead <= horizon + _EPS)) | (upper < 0.25 - _EPS))
    verdict = np.where(go, 1, np.where(no_go, 0, -1)).astype(np.int8)
    return Answer(verdict, lower, upper)


# rows of pandas, and a rule engine ----------------------------------------------------------------------------------


def pandas_verdicts(prepared: Sequence[Prepared], nominal: np.ndarray, lead, floors, horizon) -> Answer:
    """A frame a task and member, a row an hour, and `apply` along the rows."""
    import pandas as pd

    def outcomes(task: int, member: int) -> np.ndarray:
        columns = {
            f"{one.id}/{slot}": _row(series, task, member)
            for one in prepared
            for slot, series in enumerate(one.series)
        }
        frame = pd.DataFrame(columns)
        frame["hour"] = np.arange(len(frame))

        def judge(row) -> pd.Series:
            return pd.Series(
                [_row_outcome(one, frame, task, int(row["hour"]), _reduce_pandas) for one in prepared]
            )

        return frame.apply(judge, axis=1).to_numpy()

    return _by_member(prepared, outcomes, nominal, lead, floors, horizon)


def engine_verdicts(prepared: Sequence[Prepared], nominal: np.ndarray, lead, floors, horizon) -> Answer:
    """A dictionary a start, reduced by plain Python, and every limit an expression of the package rule-engine."""
    import rule_engine

    expressions = {"least": rule_engine.Rule("value >= limit"), "most": rule_engine.Rule("value <= limit")}

    def compare(value: float, limit: float, lower: bool) -> bool:
        return expressions["least" if lower else "most"].matches({"value": value, "limit": limit})

    def outcomes(task: int, member: int) -> np.ndarray:
        columns = {
            f"{one.id}/{slot}": _row(series, task, member).tolist()
            for one in prepared for slot, series in enumerate(one.series)
        }  # fmt: skip
        hours = prepared[0].spans.shape[1]
        return np.array(
            [
                [_row_outcome(one, columns, task, hour, _reduce_list, compare) for one in prepared]
                for hour in range(hours)
            ]
        )

    return _by_member(prepared, outcomes, nominal, lead, floors, horizon)


def _row(series: np.ndarray, task: int, member: int) -> np.ndarray:
    return series[task if series.shape[0] > 1 else 0, member if series.shape[1] > 1 else 0]


def _plain(value: float, limit: float, lower: bool) -> bool:
    return value >= limit if lower else value <= limit


def _row_outcome(one: Prepared, columns, task: int, hour: int, reduce, compare=_plain) -> int:
    """1 holds, 0 fails, -1 unknown: one rule at one start of one member."""
    if not one.applies[task]:
        return 1
    answer = 1
    for slot in range(len(one.series)):
        if one.named is not None and not one.named[task, slot]:
            continue
        value, complete = reduce(columns[f"{one.id}/{slot}"], one.spans[task, hour], one.take)
        for limit, lower in ((one.at_least, True), (one.at_most, False)):
            if limit is None:
                continue
            edge = float(limit[task])
            known = value == value and edge == edge
            slack = SLACK * max(1.0, abs(edge)) if known else 0.0
            inside = known and compare(float(value), edge - slack if lower else edge + slack, lower)
            sure_yes, sure_no = _settled(one.take, lower)
            if known and not inside and (complete or sure_no):
                answer = 0
            elif not (inside and (complete or sure_yes)) and answer == 1:
                answer = -1
    return -1 if one.blank[task] and answer == 1 else answer


def _reduce_pandas(column, spans: np.ndarray, take: str) -> tuple[float, bool]:
    value, complete = float("nan"), True
    for first, stop in zip(spans[::2], spans[1::2], strict=True):
        part = column.iloc[max(first, 0) : max(stop, 0)]
        complete = complete and first >= 0 and stop <= len(column) and bool(part.notna().all())
        if take == "first":
            return part.iloc[0], complete
        found = part.max() if take == "max" else part.min() if take == "min" else part.sum(min_count=1)
        if value != value or (take == "max" and found > value) or (take == "min" and found < value):
            value = found
    return value, complete


def _reduce_list(column: list[float], spans: np.ndarray, take: str) -> tuple[float, bool]:
    value, complete = float("nan"), True
    for first, stop in zip(spans[::2].tolist(), spans[1::2].tolist(), strict=True):
        part = column[max(first, 0) : max(stop, 0)]
        known = [number for number in part if number == number]
        complete = complete and len(known) == stop - first
        if not known:
            continue
        found = known[0] if take == "first" else {"max": max, "min": min, "sum": sum}[take](known)
        if value != value or (take == "max" and found > value) or (take == "min" and found < value):
            value = found
    return value, complete


def _by_member(prepared: Sequence[Prepared], outcomes, nominal, lead, floors, horizon) -> Answer:
    tasks, hours, _ = prepared[0].spans.shape
    members = max(series.shape[1] for one in prepared for series in one.series)
    verdicts = []
    for task in range(tasks):
        answers = np.stack([outcomes(task, member) for member in range(members)])  # (member, hour, rule)
        strict = np.array([one.strict[task] for one in prepared])
        floor = np.array([one.floor[task] for one in prepared])
        count = nominal[:, None]
        lower, upper = (answers == 1).sum(axis=0) / count, 1.0 - (answers == 0).sum(axis=0) / count
        kept = (~strict | ((lower >= floor - _EPS) & (lower > _EPS))).all(axis=1)
        known = (np.abs(upper - lower) < _EPS).all(axis=1)
        joint = (
            (answers == 1).all(axis=2).sum(axis=0) / nominal,
            1.0 - (answers == 0).any(axis=2).sum(axis=0) / nominal,
        )
        strict_lower = ((answers == 1) | ~strict).all(axis=2).sum(axis=0) / nominal
        verdicts.append(_verdict(kept, known, joint, strict_lower, lead, floors, horizon))
    return Answer(*(np.stack(part) for part in zip(*verdicts, strict=True)))
