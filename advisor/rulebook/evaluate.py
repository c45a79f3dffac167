"""Evaluating rules at every start hour, task and member at once: rules and conditions in, findings out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.logic import Kleene
from advisor.rulebook.later import Later
from advisor.rulebook.looking import EachNeighbour, Look, named_neighbours, nights_of_tasks, span_offsets
from advisor.rulebook.quantities import QUANTITIES, Quantity
from advisor.rulebook.schema import MODES, Rule, Setting
from advisor.series import Series
from advisor.task_table import NEIGHBOUR_FACTS
from advisor.votes import Votes, row_bytes

__all__ = [
    "Finding",
    "evaluate",
    "evaluate_rule",
    "measured",
    "named_neighbours",
    "nights_of_tasks",
    "sets",
    "span_offsets",
]


@dataclass(frozen=True, eq=False)
class Finding:
    """One rule evaluated at every start hour.

    The outcome is made at once; the numbers behind it when somebody asks for them, which scoring many sites never does.

    Attributes
    ----------
    rule : Rule
    applies : ndarray of bool (task,)
        Where it does not apply it holds.
    value : ndarray (task or 1, member or 1, hour)
        The reduced quantity; NaN where nothing of it is known.
    at_least, at_most : ndarray (task,), optional
        Limits in force, canonical unit; NaN where only the label could say and does not.
    outcome : Votes or Kleene of ndarray (task or 1, member or 1, hour)
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
    value: np.ndarray = Later()
    at_least: np.ndarray | None
    at_most: np.ndarray | None
    outcome: Votes | Kleene
    complete: np.ndarray = Later()
    from_label: np.ndarray
    blank: np.ndarray
    estimated: np.ndarray = Later()
    length: np.ndarray
    slot: np.ndarray | None = Later(None)

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
        applies = applies & named_neighbours(rule, area).any(axis=1)
    if not applies.any():
        return None
    if length is None:
        length = np.full(len(table), np.nan)
    else:
        # a span without a length is no span
        blank = blank | np.isnan(length)
    blank = blank & applies
    if rule.measure.for_each == "neighbour":
        look = EachNeighbour(rule, given or quantity.series(area), area, length, at_least, at_most)
    else:
        series, filled = (given, None) if given is not None else measured(rule, quantity, area)
        look = Look(rule, series, filled, area, length, at_least, at_most)
    outcome = look.outcome
    # What the label must say and does not is planned with the default, and never known to hold.
    if blank.any():
        outcome = outcome.not_surely(row_bytes(blank))
    if not applies.all():
        outcome = Votes(outcome.bits | row_bytes(~applies), outcome.members, outcome.hours)

    def complete() -> np.ndarray:
        return (look.reduced.complete & ~blank[:, None, None]) | ~applies[:, None, None]

    return Finding(
        rule, applies, lambda: look.reduced.value, at_least, at_most, outcome, complete,
        least_label | most_label | length_label, blank, lambda: look.estimated, length, lambda: look.slot,
    )  # fmt: skip


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


def sets(findings: Sequence[Finding], task: int) -> tuple[list[Finding], list[Finding]]:
    """(S, W) of a task: safety and label rules, and all rules."""
    applying = [finding for finding in findings if finding.applies[task]]
    return [finding for finding in applying if finding.kind(task) != "effect"], applying
