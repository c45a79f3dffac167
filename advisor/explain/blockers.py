"""What blocks a day: rules that fail at every start, and what would have to give way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from advisor import units
from advisor.explain.reasons import Explainer, difference
from advisor.explain.relaxing import Relaxing
from advisor.rulebook.quantities import QUANTITIES
from advisor.verdict import GO, NO_GO, UNKNOWN, promised


@dataclass(frozen=True, slots=True)
class Blocker:
    """A rule that alone keeps a day from being a go, with the least change of its value that would open it."""

    rule: str
    title: str
    change: float | None
    dimension: str
    #: the start that would open
    start: np.datetime64
    text: str


@dataclass(frozen=True, slots=True)
class Blocked:
    """What stands against a day.

    Attributes
    ----------
    always : tuple of str
        Rules that fail at every start asked about.
    sole : tuple of Blocker
        Rules whose limit, relaxed alone, makes some start go.
    together : tuple of str
        The smallest set of rules found whose relaxing opens some start; empty where nothing known does.
    """

    always: tuple[str, ...] = ()
    sole: tuple[Blocker, ...] = ()
    together: tuple[str, ...] = ()


def what_blocks(explainer: Explainer, task: int, starts: Sequence[int]) -> Blocked:
    """What stands against a task at some starts of a day, none of which is a go."""
    starts = list(starts)
    if not starts or bool((explainer.verdicts.verdict[task, starts] == GO).any()):
        return Blocked()
    relaxing = Relaxing(explainer, task, starts)
    codes = explainer.codes(task)[np.ix_(relaxing.at, starts)]
    failing = codes == NO_GO
    always = tuple(relaxing.findings[rule].rule.id for rule in np.flatnonzero(failing.all(axis=1)))
    sole = _sole_blockers(explainer, relaxing, task, starts, np.flatnonzero(failing.any(axis=1)))
    if sole:
        return Blocked(always, sole, (sole[0].rule,))
    known = np.flatnonzero((codes != UNKNOWN).all(axis=0))
    together = _smallest_set(relaxing, known)
    return Blocked(always, (), tuple(relaxing.findings[rule].rule.id for rule in together))


def _sole_blockers(
    explainer: Explainer, relaxing: Relaxing, task: int, starts: list[int], rules: np.ndarray
) -> tuple[Blocker, ...]:
    """The rules among some that alone stand in the way, those with a change that can be told first."""
    alone = np.eye(len(relaxing.at), dtype=bool)[rules]
    found = [
        _blocker(explainer, relaxing, int(rule), task, starts, np.flatnonzero(opened))
        for rule, opened in zip(rules, relaxing.opens(alone), strict=True)
        if opened.any()
    ]
    return tuple(sorted(found, key=lambda blocker: (blocker.change is None, blocker.rule)))


def _blocker(
    explainer: Explainer, relaxing: Relaxing, rule: int, task: int, starts: list[int], opened: np.ndarray
) -> Blocker:
    mine, at = relaxing.findings[rule], relaxing.at[rule]
    changes = _least_changes(explainer, relaxing, rule, task, opened)
    quantity = QUANTITIES[mine.rule.measure.quantity]
    known = np.flatnonzero(~np.isnan(changes))
    first = known[changes[known].argmin()] if len(known) else 0
    change, hour = float(changes[first]), starts[opened[first]]
    start = explainer.area.conditions.axis[hour]
    when = explainer.local(start, task)
    title = mine.rule.title
    if not np.isfinite(change) or quantity.dimension in ("truth", "count"):
        if "{warning}" in mine.rule.words["fails"]:
            title = explainer.warnings(explainer.findings[at], task, hour)
        text = f"{title} alone stands in the way of {when}."
        return Blocker(mine.rule.id, title, None, quantity.dimension, start, text)
    dimension = difference(explainer.dimension(quantity, task))
    amount = _rounded_up(change, dimension, explainer.system)
    sense = "less" if mine.at_most is not None else "more"
    whole = " in every member" if mine.outcome.holds.shape[1] > 1 else ""
    text = f"{title} alone stands in the way: with {amount} {sense}{whole}, {when} would be a go."
    return Blocker(mine.rule.id, title, change, dimension, start, text)


def _least_changes(
    explainer: Explainer, relaxing: Relaxing, rule: int, task: int, opened: np.ndarray
) -> np.ndarray:
    """The k-th smallest shortfall among members in which the other rules hold, k = ceil(floor x N), by start.

    It must meet the floor of everything jointly, that of safety and label rules jointly where the rule is one of them,
    and the rule's own. NaN where there are too few such members, infinite where too few of them are known.
    """
    mine = relaxing.findings[rule]
    margins = np.stack([mine.margin_at(task, relaxing.starts[start]) for start in opened], axis=1)
    shortfall = np.maximum(-margins, 0.0)
    known = relaxing.row(mine.complete)[:, opened] & ~np.isnan(shortfall)
    shape = (relaxing.members, len(opened))
    shortfall = np.broadcast_to(np.where(known, shortfall, np.inf), shape)
    known_members = np.broadcast_to(known, shape).sum(axis=0)
    count = (
        promised(known_members, relaxing.nominal[opened]) if relaxing.members > 1 else np.ones(len(opened))
    )
    pools = [
        (explainer.verdicts.everything_floor, relaxing.others_hold(rule)),
        (
            explainer.verdicts.floors[relaxing.at[rule], task],
            np.ones((relaxing.members, len(relaxing.nominal)), bool),
        ),
    ]
    if relaxing.strict[rule]:
        pools.append((explainer.floors["safety_and_label"], relaxing.others_hold(rule, strict_alone=True)))
    changes = np.zeros(len(opened))
    for floor, pool in pools:
        pool = pool[:, opened]
        wanted = np.maximum(np.ceil(floor * count - 1e-9).astype(int), 1)
        ordered = np.sort(np.where(pool, shortfall, np.inf), axis=0)
        decisive = np.take_along_axis(ordered, np.minimum(wanted, len(ordered))[None] - 1, axis=0)[0]
        changes = np.maximum(changes, np.where(wanted > pool.sum(axis=0), np.nan, decisive))
    return changes


def _smallest_set(relaxing: Relaxing, starts: np.ndarray) -> tuple[int, ...]:
    """Relax, start by start, the rules with the least chance until the start is a go; then drop what was not needed."""
    best: tuple[int, ...] = ()
    rules = len(relaxing.at)
    for start in starts:
        order = np.argsort(relaxing.lower[:, start], kind="stable")
        # the first one of the order, the first two, and so on, as long as that is fewer than what was found before
        sets = _sets([order[: size + 1] for size in range(len(best) - 1 if best else rules)], rules)
        opened = relaxing.opens(sets, start)[:, 0]
        if not opened.any():
            continue
        relaxed = order[: opened.argmax() + 1]
        without_one = _sets([relaxed[relaxed != one] for one in relaxed], rules)
        needed = relaxed[~relaxing.opens(without_one, start)[:, 0]]
        if len(needed) and relaxing.opens(_sets([needed], rules), start).any():
            relaxed = needed
        if not best or len(relaxed) < len(best):
            best = tuple(int(rule) for rule in relaxed)
    return best


def _sets(members: Sequence[np.ndarray], rules: int) -> np.ndarray:
    """Sets of rules as rows (set, rule)."""
    sets = np.zeros((len(members), rules), dtype=bool)
    for row, some in zip(sets, members, strict=True):
        row[some] = True
    return sets


def least_change(blocker: Blocker, system: str) -> str:
    """The change that a sole blocker needs, as a person reads it; empty where it has none."""
    return "" if blocker.change is None else _rounded_up(blocker.change, blocker.dimension, system)


def _rounded_up(value: float, dimension: str, system: str) -> str:
    """A needed change as a person reads it, never less than is needed and never rounded to nothing."""
    places = max(units.display_decimals(dimension, system), 1)
    number, _ = units.to_display(value, dimension, system)
    if dimension == "time" and value >= 48.0:
        return f"{math.ceil(value / 2.4 - 1e-6) / 10.0:g} days"
    while places < 4 and round(number, places) == 0.0 and number > 0:
        places += 1
    scale = 10.0**places
    shown = math.ceil(number * scale - 1e-6) / scale
    return units.show(value * shown / number if number > 0 else value, dimension, system, decimals=places)
