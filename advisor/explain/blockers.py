"""What blocks a day: rules that fail at every start, and what would have to give way."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from advisor import units
from advisor.explain.cells import number_at
from advisor.explain.reasons import Explainer, difference
from advisor.logic import Kleene
from advisor.rulebook.evaluate import Finding
from advisor.rulebook.quantities import QUANTITIES
from advisor.verdict import GO, NO_GO, judge_starts, promised


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
    findings = [_of(finding, task, starts) for finding in explainer.findings]
    applying = [at for at, finding in enumerate(findings) if finding.applies[0]]
    failing = {at: [explainer.code(at, task, hour) == NO_GO for hour in starts] for at in applying}
    always = tuple(findings[at].rule.id for at in applying if all(failing[at]))
    sole = tuple(
        blocker
        for at in applying
        if any(failing[at]) and (blocker := _sole(explainer, findings, at, task, starts)) is not None
    )
    by_change = sorted(sole, key=lambda blocker: (blocker.change is None, blocker.rule))
    together = (by_change[0].rule,) if by_change else _smallest_set(explainer, findings, applying, task, starts)
    return Blocked(always, tuple(by_change), together)


def _sole(explainer: Explainer, findings: list[Finding], at: int, task: int, starts: list[int]) -> Blocker | None:
    opened = _opened(explainer, findings, {at}, task, starts)
    if not len(opened):
        return None
    changes = [(change, position) for position in opened if (change := _least_change(explainer, findings, at, task, starts, position)) is not None]  # fmt: skip
    mine = findings[at]
    quantity = QUANTITIES[mine.rule.measure.quantity]
    change, position = min(changes, default=(None, opened[0]))
    start = explainer.area.conditions.axis[starts[position]]
    when = explainer.local(start, task)
    title = mine.rule.title
    if change is None or not np.isfinite(change) or quantity.dimension in ("truth", "count"):
        if "{warning}" in mine.rule.words["fails"]:
            title = explainer.warnings(explainer.findings[at], task, starts[position])
        text = f"{title} alone stands in the way of {when}."
        return Blocker(mine.rule.id, title, None, quantity.dimension, start, text)
    dimension = difference(explainer.dimension(quantity, task))
    amount = _rounded_up(change, dimension, explainer.system)
    sense = "less" if mine.at_most is not None else "more"
    whole = " in every member" if mine.outcome.holds.shape[1] > 1 else ""
    text = f"{title} alone stands in the way: with {amount} {sense}{whole}, {when} would be a go."
    return Blocker(mine.rule.id, title, change, dimension, start, text)


def _opened(explainer: Explainer, findings: list[Finding], relaxed: set[int], task: int, starts: list[int]) -> np.ndarray:
    """Positions among the starts that become a go when the relaxed rules hold wherever all they look at is known."""
    changed = [
        replace(finding, outcome=Kleene(finding.complete, finding.complete)) if at in relaxed else finding
        for at, finding in enumerate(findings)
    ]
    again = judge_starts(
        changed,
        explainer.nominal[starts],
        explainer.lead_hours[starts],
        explainer.floors,
        explainer.horizon_hours,
        explainer.verdicts.everything_floor,
    )
    return np.flatnonzero(again.verdict[0] == GO)


def _least_change(explainer: Explainer, findings, at: int, task: int, starts: list[int], position: int) -> float | None:
    """The k-th smallest shortfall among members in which the other rules hold, k = ceil(floor x N).

    It must meet the floor of everything jointly, that of safety and label rules jointly where the rule is one of them,
    and the rule's own.
    """
    mine = findings[at]
    shortfall = np.maximum(-mine.margin()[0, :, position], 0.0)
    known = mine.complete[0, :, position] & ~np.isnan(shortfall)
    shortfall = np.where(known, shortfall, np.inf)
    members = max(finding.outcome.holds.shape[1] for finding in findings)
    shortfall = np.broadcast_to(shortfall, members)
    known_members = np.broadcast_to(known, members).sum()
    count = int(promised(known_members, explainer.nominal[starts[position]])) if members > 1 else 1
    others = [finding for other, finding in enumerate(findings) if other != at and finding.applies[0]]
    strict = mine.kind(0) != "effect"
    pools = [
        (explainer.verdicts.everything_floor, shortfall[_all_hold(others, members, position)]),
        (explainer.verdicts.floors[at, task], shortfall),
    ]
    if strict:
        in_strict = [finding for finding in others if finding.kind(0) != "effect"]
        pools.append((explainer.floors["safety_and_label"], shortfall[_all_hold(in_strict, members, position)]))
    changes = []
    for floor, pool in pools:
        wanted = max(int(np.ceil(floor * count - 1e-9)), 1)
        if wanted > len(pool):
            return None
        changes.append(float(np.sort(pool)[wanted - 1]))
    return max(changes)


def _all_hold(findings: list[Finding], members: int, position: int) -> np.ndarray:
    hold = np.ones(members, dtype=bool)
    for finding in findings:
        hold &= finding.outcome.holds[0, :, position]
    return hold


def _smallest_set(explainer: Explainer, findings, applying: list[int], task: int, starts: list[int]) -> tuple[str, ...]:
    """Relax, start by start, the rules with the least chance until the start is a go; then drop what was not needed."""
    best: tuple[int, ...] = ()
    for position, hour in enumerate(starts):
        if any(explainer.code(at, task, hour) not in (GO, NO_GO) for at in applying):
            continue
        order = sorted(applying, key=lambda at: number_at(explainer.verdicts.rules[at].lower, task, hour))
        relaxed: list[int] = []
        for at in order:
            if best and len(relaxed) + 1 >= len(best):
                break
            relaxed.append(at)
            if position in _opened(explainer, findings, set(relaxed), task, starts):
                needed = [one for one in relaxed if position not in _opened(explainer, findings, set(relaxed) - {one}, task, starts)]  # fmt: skip
                if needed and position in _opened(explainer, findings, set(needed), task, starts):
                    relaxed = needed
                if not best or len(relaxed) < len(best):
                    best = tuple(relaxed)
                break
    return tuple(findings[at].rule.id for at in best)


def _of(finding: Finding, task: int, starts: list[int]) -> Finding:
    """The finding of one task at some starts only."""

    def pick(values):
        return values[task if values.shape[0] > 1 else 0][None][..., starts]

    def row(values):
        return values if values is None else values[task : task + 1]

    return replace(
        finding, applies=row(finding.applies), value=pick(finding.value), at_least=row(finding.at_least),
        at_most=row(finding.at_most), outcome=Kleene(pick(finding.outcome.holds), pick(finding.outcome.known)),
        complete=pick(finding.complete), from_label=row(finding.from_label), blank=row(finding.blank), length=row(finding.length), slot=None,
        estimated=np.zeros((1, 1, 1), dtype=bool),
    )  # fmt: skip


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
