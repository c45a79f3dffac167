"""Evaluating rules at every start hour, task and member at once: rules and conditions in, findings out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.logic import Kleene, all_of
from advisor.rulebook.quantities import QUANTITIES, Quantity
from advisor.rulebook.schema import MODES, Rule, Setting
from advisor.rulebook.spans import Reduced, Series, judge, reduce_at_start, reduce_nights, reduce_offsets
from advisor.task_table import NEIGHBOUR_FACTS

#: margin by which an unknown neighbour is ranked
_JUST_OUTSIDE = -1e-12


@dataclass(frozen=True, eq=False)
class Finding:
    """One rule evaluated at every start hour.

    Attributes
    ----------
    rule : Rule
    applies : ndarray of bool (task,)
        Where it does not apply it holds.
    value : ndarray (task or 1, member or 1, hour)
        The reduced quantity; NaN where nothing of it is known.
    at_least, at_most : ndarray (task,), optional
        Limits in force, canonical unit; NaN where only the label could say and does not.
    outcome : Kleene of ndarray (task or 1, member or 1, hour)
    complete : ndarray of bool (task or 1, member or 1, hour)
        Whether everything that the rule looks at is known, so that another limit would be known to hold or to fail.
    from_label : ndarray of bool (task,)
        Whether the limit in force, or the length of the span, is the label's own.
    blank : ndarray of bool (task,)
        Whether the label leaves blank what the rule must take from it.
    estimated : ndarray of bool (task or 1, member or 1, hour)
        Where an estimate stood in for missing weather.
    length : ndarray (task,)
        [h] length of the span, NaN where it has none.
    slot : ndarray of int (task or 1, hour), optional
        The neighbour that counts most.
    """

    rule: Rule
    applies: np.ndarray
    value: np.ndarray
    at_least: np.ndarray | None
    at_most: np.ndarray | None
    outcome: Kleene
    complete: np.ndarray
    from_label: np.ndarray
    blank: np.ndarray
    estimated: np.ndarray
    length: np.ndarray
    slot: np.ndarray | None = None

    def kind(self, task: int) -> str:
        """A limit that the label states makes a rule one of the label for that task."""
        if self.rule.kind == "effect" and self.from_label[task]:
            return "label"
        return self.rule.kind

    def margin_at(self, task: int, hour: int) -> np.ndarray:
        """Distance to the nearer limit of one task's start, (member or 1,), positive inside."""
        value = self.value[task if self.value.shape[0] > 1 else 0, :, hour if self.value.shape[-1] > 1 else 0]
        margin = np.full(value.shape, np.inf)
        if self.at_most is not None:
            margin = np.minimum(margin, self.at_most[task] - value)
        if self.at_least is not None:
            margin = np.minimum(margin, value - self.at_least[task])
        return margin

    def margin(self) -> np.ndarray:
        """Distance to the nearer limit, positive inside, (task or 1, member or 1, hour)."""
        margin = np.full(np.broadcast_shapes(self.value.shape, (len(self.applies), 1, 1)), np.inf)
        if self.at_most is not None:
            margin = np.minimum(margin, self.at_most[:, None, None] - self.value)
        if self.at_least is not None:
            margin = np.minimum(margin, self.value - self.at_least[:, None, None])
        return margin


def evaluate(rules: Iterable[Rule], area: AreaConditions) -> list[Finding]:
    """Findings of all rules that apply to at least one task."""
    findings = (evaluate_rule(rule, area) for rule in rules)
    return [finding for finding in findings if finding is not None]


def evaluate_rule(rule: Rule, area: AreaConditions, given: Series | None = None) -> Finding | None:
    """The finding of one rule, or None where it applies to no task.

    `given` replaces the measured series, for the examples that stand in rule files.
    """
    table = area.table
    applies = _applies(rule, area)
    quantity = QUANTITIES[rule.measure.quantity]
    at_least, least_label, least_blank = _limit(rule.at_least, table.label, len(table), largest=False)
    at_most, most_label, most_blank = _limit(rule.at_most, table.label, len(table), largest=True)
    length, length_label, length_blank = _limit(rule.measure.length, table.label, len(table), largest=None)
    blank = least_blank | most_blank | length_blank
    if rule.missing_label == "not-applicable":
        applies, blank = applies & ~blank, np.zeros_like(blank)
    elif rule.missing_label == "default":
        blank = np.zeros_like(blank)
    if rule.measure.for_each == "neighbour":
        applies = applies & _named(rule, area).any(axis=1)
    if not applies.any():
        return None
    if length is None:
        length = np.full(len(table), np.nan)
    else:
        # a span without a length is no span
        blank = blank | np.isnan(length)
    blank = blank & applies
    if rule.measure.for_each == "neighbour":
        parts = _neighbours(rule, given or quantity.series(area), area, length, at_least, at_most)
    else:
        series, estimated = (given, None) if given is not None else measured(rule, quantity, area)
        reduced = _reduce(rule, series, area, length)
        outcome = judge(reduced, rule.measure.take, _column(at_least), _column(at_most))
        parts = reduced.value, outcome, reduced.complete, _estimated(rule, estimated, area, length), None
    value, outcome, complete, estimated, slot = parts
    # What the label must say and does not is planned with the default, and never known to hold.
    if blank.any():
        stated = ~blank[:, None, None]
        outcome, complete = all_of(outcome, Kleene(stated, stated)), complete & stated
    if not applies.all():
        spare = ~applies[:, None, None]
        outcome, complete = Kleene(outcome.holds | spare, outcome.known | spare), complete | spare
    return Finding(rule, applies, value, at_least, at_most, outcome, complete, least_label | most_label | length_label,
                   blank, estimated, length, slot)  # fmt: skip


def _applies(rule: Rule, area: AreaConditions) -> np.ndarray:
    """Guards compare for equality; what nobody has stated counts as equal, so that the rule is not escaped."""
    applies = np.ones(len(area.table), dtype=bool)
    if rule.modes != MODES:
        modes = area.table.facts["treatment.mode"]
        applies &= np.array([mode is None or mode in rule.modes for mode in modes], dtype=bool)
    for fact, wanted in rule.applies.items():
        if fact not in NEIGHBOUR_FACTS:
            applies &= np.array(
                [fact is None or fact == wanted for fact in area.table.facts[fact]], dtype=bool
            )
    return applies


def _limit(setting: Setting | None, label, count: int, largest: bool | None):
    """(value in force, whether it is the label's, whether the label leaves it blank), each (task,).

    `largest` says which way a cap cuts: True for an upper limit, False for a lower one, None for a length.
    """
    no = np.zeros(count, dtype=bool)
    if setting is None:
        return None, no, no
    default = np.nan if setting.default is None else setting.default
    if setting.label is None:
        return np.full(count, default), no, no
    stated = label[setting.label]
    given = ~np.isnan(stated)
    value = stated
    if setting.cap is not None:
        value = np.fmax(stated, setting.cap) if largest is False else np.fmin(stated, setting.cap)
    return np.where(given, value, default), given, ~given


def _column(limit: np.ndarray | None) -> np.ndarray | None:
    return None if limit is None else limit[:, None, None]


def measured(rule: Rule, quantity: Quantity, area: AreaConditions) -> tuple[Series, np.ndarray | None]:
    """The measured series, or the rule's estimate of it, and where that was done.

    An estimate stands in only where the source carries nothing of the quantity's first input. A gap in what it does
    carry stays unknown: filled from an estimate, losing a bad value would be a gain.
    """
    series = quantity.series(area)
    if rule.estimate is None or quantity.inputs[0] in area.conditions.forecast.fields:
        return series, None
    missing = np.isnan(series.values)
    estimate = QUANTITIES[rule.estimate].series(area).values
    filled = np.where(missing, estimate, series.values)
    return Series(filled, series.instant, series.block_first, series.block_last), missing & ~np.isnan(
        estimate
    )


def span_offsets(rule: Rule, area: AreaConditions, length: np.ndarray) -> np.ndarray:
    """(first, stop) hour offsets from the start for each task."""
    duration = area.table.duration
    length = np.where(np.isnan(length), 1.0, length)  # such a span is marked as blank
    ends = np.ceil(duration - 1e-9).astype(int)
    span = rule.measure.span
    if span == "work":
        first, stop = np.zeros(len(duration), dtype=int), np.maximum(ends, 1)
    elif span == "before":
        first, stop = -np.ceil(length - 1e-9).astype(int), np.zeros(len(duration), dtype=int)
    else:
        until = np.ceil(duration + length - 1e-9).astype(int)
        begin = (
            np.floor(duration + 1e-9).astype(int) if span == "after" else np.zeros(len(duration), dtype=int)
        )
        first, stop = begin, np.maximum(until, begin + 1)
    return np.stack([first, stop], axis=1)


def _reduce(rule: Rule, series: Series, area: AreaConditions, length: np.ndarray) -> Reduced:
    span, take = rule.measure.span, rule.measure.take
    if span == "at-start" or not QUANTITIES[rule.measure.quantity].hourly:
        return reduce_at_start(series)
    if span == "nights-after":
        first, stop, night_of = nights_of_tasks(area)
        return reduce_nights(series, first, stop, night_of, rule.measure.count, take)
    # a block of rain that only reaches into the span may fall in it, which is no promise that it does
    whole = rule.at_least is None or rule.at_most is not None
    offsets = span_offsets(rule, area, length)
    groups = np.unique(offsets, axis=0)
    if len(groups) == 1:
        return reduce_offsets(series, *map(int, groups[0]), take, whole)
    shape = np.broadcast_shapes(series.values.shape, (len(offsets), 1, 1))
    value, complete = np.empty(shape), np.empty(shape, dtype=bool)
    for first, stop in groups:
        rows = np.flatnonzero((offsets == (first, stop)).all(axis=1))
        part = reduce_offsets(_rows(series, rows), int(first), int(stop), take, whole)
        value[rows], complete[rows] = part.value, part.complete
    return Reduced(value, complete)


def _rows(series: Series, rows: np.ndarray) -> Series:
    def pick(values):
        return values if values is None or values.shape[0] == 1 else values[rows]

    parts = tuple(_rows(part, rows) for part in series.parts)
    return Series(
        pick(series.values), series.instant, pick(series.block_first), pick(series.block_last), parts
    )


def nights_of_tasks(area: AreaConditions) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Hours of each task's nights, and the first night whose sunset is at or after the end of the work."""
    sunset, sunrise = (times[area.table.site] for times in area.conditions.nights)
    origin = area.conditions.axis[0].astype("datetime64[s]")
    hour = np.timedelta64(3600, "s")
    first = np.floor((sunset - origin) / hour).astype(int)
    stop = np.ceil((sunrise - origin) / hour + 1.0).astype(int)
    ends = area.conditions.axis.astype("datetime64[s]")[None, :] + (
        area.table.duration[:, None] * 3600
    ).astype("timedelta64[s]")
    night_of = (sunset[:, None, :] < ends[:, :, None]).sum(axis=-1)
    return first, stop, night_of


def _estimated(
    rule: Rule, missing: np.ndarray | None, area: AreaConditions, length: np.ndarray
) -> np.ndarray:
    if missing is None:
        return np.zeros((1, 1, 1), dtype=bool)
    touched = _reduce(_with_take(rule, "max"), Series(missing.astype(float)), area, length)
    return touched.value > 0.5


def _with_take(rule: Rule, take: str) -> Rule:
    return replace(rule, measure=replace(rule.measure, take=take))


def _named(rule: Rule, area: AreaConditions) -> np.ndarray:
    """(task, slot): the neighbours that the rule's guards name."""
    table = area.table
    named = ~np.isnan(table.neighbours["distance"])
    for fact, wanted in rule.applies.items():
        if fact in NEIGHBOUR_FACTS:
            named &= table.neighbour_facts[NEIGHBOUR_FACTS[fact]] == wanted
    return named


def _neighbours(rule: Rule, series: Series, area: AreaConditions, length, at_least, at_most):
    """The worst of the neighbours that the rule's guards name; no neighbour, nothing to hit."""
    table = area.table
    slots = table.neighbours["distance"].shape[1]
    shape = (len(table), 1, len(area.conditions.axis))
    value = np.full(shape, np.nan)
    worst = np.full(shape, np.inf)
    slot_of = np.full(shape, -1)
    outcome = Kleene(np.ones(shape, dtype=bool), np.ones(shape, dtype=bool))
    complete = np.ones(shape, dtype=bool)
    every_named = _named(rule, area)
    for slot in range(slots):
        named = every_named[:, slot]
        if not named.any():
            continue
        reduced = _reduce(rule, Series(series.values[slot], series.instant), area, length)
        part = judge(reduced, rule.measure.take, _column(at_least), _column(at_most))
        absent = ~named[:, None, None]
        part = Kleene(part.holds | absent, part.known | absent)
        outcome, complete = all_of(outcome, part), complete & (reduced.complete | absent)
        margin = np.full(np.broadcast_shapes(reduced.value.shape, shape), np.inf)
        if at_most is not None:
            margin = np.minimum(margin, _column(at_most) - reduced.value)
        if at_least is not None:
            margin = np.minimum(margin, reduced.value - _column(at_least))
        # what is not known counts as worse than what holds and better than what fails, so that the right name is told
        margin = np.where(part.known, margin, _JUST_OUTSIDE)
        closer = (margin < worst) & ~absent
        worst = np.where(closer, margin, worst)
        value = np.where(closer, reduced.value, value)
        slot_of = np.where(closer, slot, slot_of)
    return value, outcome, complete, np.zeros((1, 1, 1), dtype=bool), slot_of


def sets(findings: Sequence[Finding], task: int) -> tuple[list[Finding], list[Finding]]:
    """(S, W) of a task: safety and label rules, and all rules."""
    applying = [finding for finding in findings if finding.applies[task]]
    return [finding for finding in applying if finding.kind(task) != "effect"], applying
