"""What a rule looks at: its series over the span of every start, for all tasks, or at each neighbour in turn.

A look has an outcome, made of bits, and the numbers behind it, made when they are asked for.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.rulebook.judging import Limit, judge_at_start, judge_nights, judge_offsets
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Rule
from advisor.rulebook.spans import Reduced, Take, reduce_at_start, reduce_nights, reduce_offsets
from advisor.series import Series
from advisor.task_table import NEIGHBOUR_FACTS
from advisor.votes import EVERYONE, Votes, row_bytes

#: margin by which an unknown neighbour is ranked
_JUST_OUTSIDE = -1e-12
_NOWHERE = np.zeros((1, 1, 1), dtype=bool)


class Look:
    """One series under one rule.

    Parameters
    ----------
    filled : ndarray of bool, optional
        Where an estimate stands in the series.
    length : ndarray (task,)
        [h] of the span.
    at_least, at_most : ndarray (task,), optional
    """

    slot = None

    def __init__(
        self, rule: Rule, series: Series, filled: np.ndarray | None, area: AreaConditions, length: np.ndarray,
        at_least: Limit, at_most: Limit,
    ):  # fmt: skip
        self._rule, self._series, self._filled, self._area = rule, series, filled, area
        self._length, self._limits = length, (at_least, at_most)

    @cached_property
    def outcome(self) -> Votes:
        rule, series, area = self._rule, self._series, self._area
        take = rule.measure.take
        if _at_start(rule):
            return judge_at_start(series, *self._limits)
        if rule.measure.span == "nights-after":
            return judge_nights(series, *nights_of_tasks(area), rule.measure.count, take, *self._limits)
        groups = _groups(rule, area, self._length)
        if len(groups) == 1:
            return judge_offsets(series, *groups[0][1], take, *self._limits, _whole_blocks(rule))
        parts = []
        for rows, offsets in groups:
            limits = (None if limit is None else limit[rows] for limit in self._limits)
            parts.append(judge_offsets(series.rows(rows), *offsets, take, *limits, _whole_blocks(rule)))
        return Votes.in_rows(len(area.table), [rows for rows, _ in groups], parts)

    @cached_property
    def reduced(self) -> Reduced:
        return self._reduce(self._series, self._rule.measure.take)

    @property
    def estimated(self) -> np.ndarray:
        if self._filled is None:
            return _NOWHERE
        return self._reduce(Series(self._filled.astype(float)), "max").value > 0.5

    def _reduce(self, series: Series, take: Take) -> Reduced:
        rule, area = self._rule, self._area
        if _at_start(rule):
            return reduce_at_start(series)
        if rule.measure.span == "nights-after":
            return reduce_nights(series, *nights_of_tasks(area), rule.measure.count, take)
        groups = _groups(rule, area, self._length)
        if len(groups) == 1:
            return reduce_offsets(series, *groups[0][1], take, _whole_blocks(rule))
        shape = np.broadcast_shapes(series.values.shape, (len(area.table), 1, 1))
        value, complete = np.empty(shape), np.empty(shape, dtype=bool)
        for rows, offsets in groups:
            part = reduce_offsets(series.rows(rows), *offsets, take, _whole_blocks(rule))
            value[rows], complete[rows] = part.value, part.complete
        return Reduced(value, complete)


class EachNeighbour:
    """The neighbours that the rule's guards name, one after the other; no neighbour, nothing to hit."""

    estimated = _NOWHERE

    def __init__(
        self,
        rule: Rule,
        series: Series,
        area: AreaConditions,
        length: np.ndarray,
        at_least: Limit,
        at_most: Limit,
    ):
        named = named_neighbours(rule, area)
        self._shape = (len(area.table), 1, len(area.conditions.axis))
        self._limits = at_least, at_most
        self._looks = [
            (slot, named[:, slot],
             Look(rule, Series(series.values[slot], series.instant), None, area, length, at_least, at_most))
            for slot in range(named.shape[1]) if named[:, slot].any()
        ]  # fmt: skip

    @cached_property
    def outcome(self) -> Votes:
        hours = self._shape[-1]
        outcome = Votes(np.full((1, 1, 1, hours), EVERYONE), 1)
        for _, named, look in self._looks:
            part = look.outcome
            outcome = outcome & Votes(part.bits | row_bytes(~named), part.members, hours)
        return outcome

    @property
    def reduced(self) -> Reduced:
        """Of the worst neighbour."""
        return self._worst[0]

    @property
    def slot(self) -> np.ndarray:
        return self._worst[1]

    @cached_property
    def _worst(self) -> tuple[Reduced, np.ndarray]:
        value, slot_of = np.full(self._shape, np.nan), np.full(self._shape, -1)
        worst, complete = np.full(self._shape, np.inf), np.ones(self._shape, dtype=bool)
        at_least, at_most = (None if limit is None else limit[:, None, None] for limit in self._limits)
        for slot, named, look in self._looks:
            reduced, absent = look.reduced, ~named[:, None, None]
            complete = complete & (reduced.complete | absent)
            margin = np.full(np.broadcast_shapes(reduced.value.shape, self._shape), np.inf)
            if at_most is not None:
                margin = np.minimum(margin, at_most - reduced.value)
            if at_least is not None:
                margin = np.minimum(margin, reduced.value - at_least)
            # what is not known counts as worse than what holds and better than what fails: so the right name is told
            margin = np.where(look.outcome.known, margin, _JUST_OUTSIDE)
            closer = (margin < worst) & ~absent
            worst = np.where(closer, margin, worst)
            value = np.where(closer, reduced.value, value)
            slot_of = np.where(closer, slot, slot_of)
        return Reduced(value, complete), slot_of


def named_neighbours(rule: Rule, area: AreaConditions) -> np.ndarray:
    """(task, slot): the neighbours that the rule's guards name."""
    table = area.table
    named = ~np.isnan(table.neighbours["distance"])
    for fact, wanted in rule.applies.items():
        if fact in NEIGHBOUR_FACTS:
            named &= table.neighbour_facts[NEIGHBOUR_FACTS[fact]] == wanted
    return named


def _at_start(rule: Rule) -> bool:
    return rule.measure.span == "at-start" or not QUANTITIES[rule.measure.quantity].hourly


def _whole_blocks(rule: Rule) -> bool:
    """A block of rain that only reaches into the span may fall in it, which is no promise that it does."""
    return rule.at_least is None or rule.at_most is not None


def _groups(rule: Rule, area: AreaConditions, length: np.ndarray) -> list[tuple[np.ndarray, tuple[int, int]]]:
    """Tasks of the same span together: (rows, (first, stop))."""
    offsets = span_offsets(rule, area, length)
    if (offsets == offsets[0]).all():
        return [(np.arange(len(offsets)), tuple(map(int, offsets[0])))]
    return [
        (np.flatnonzero((offsets == pair).all(axis=1)), tuple(map(int, pair)))
        for pair in np.unique(offsets, axis=0)
    ]


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


def nights_of_tasks(area: AreaConditions) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Hours of each task's nights, and the first night whose sunset is at or after the end of the work."""
    sunset, sunrise = (times[area.table.site] for times in area.conditions.nights)
    origin = area.conditions.axis[0].astype("datetime64[s]")
    hour = np.timedelta64(3600, "s")
    first = np.floor((sunset - origin) / hour).astype(int)
    stop = np.ceil((sunrise - origin) / hour + 1.0).astype(int)
    # a sunset lies before the end of the work from this hour on
    duration = (area.table.duration[:, None] * 3600).astype("timedelta64[s]")
    passed = np.floor((sunset - origin - duration) / hour).astype(int) + 1
    hours = np.arange(len(area.conditions.axis))
    passed = np.where(np.isnat(sunset), len(hours), passed)
    night_of = sum((hours >= passed[:, night, None]).astype(np.intp) for night in range(passed.shape[1]))
    return first, stop, night_of
