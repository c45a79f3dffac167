"""From findings to chances and verdicts of every start hour, as design section 6 defines them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from advisor.logic import Kleene
from advisor.rulebook.evaluate import Finding

GO, NO_GO, UNKNOWN = 1, 0, -1
VERDICT_WORDS = {GO: "go", NO_GO: "no-go", UNKNOWN: "unknown"}
#: at any lead, a chance that cannot reach this is a no
HOPELESS_BELOW = 0.25
_EPS = 1e-9


@dataclass(frozen=True, eq=False)
class Chances:
    """Share of members, of the nominal number, in which something surely holds and may hold. (task, hour)"""

    lower: np.ndarray
    upper: np.ndarray


@dataclass(frozen=True, eq=False)
class Verdicts:
    """Verdicts of all starts.

    Attributes
    ----------
    verdict : ndarray of int8 (task, hour)
        GO, NO_GO or UNKNOWN.
    everything, safety_and_label : Chances
        Of W and of S.
    rules : tuple of Chances
        In the order of the findings.
    too_early : ndarray of bool (task, hour)
        Unknown although every number is known, since the start lies beyond the decision horizon.
    floors : ndarray (finding, task)
        Chance floor of each rule.
    everything_floor : float
    """

    verdict: np.ndarray
    everything: Chances
    safety_and_label: Chances
    rules: tuple[Chances, ...]
    too_early: np.ndarray
    floors: np.ndarray
    everything_floor: float


def everything_floor(floors: Mapping[str, float], cost: float | None, loss: float | None) -> float:
    """Floor of everything jointly: 1 - C/F where both costs are stated, else the setting.

    Waiting a day costs C and a failed pass F; going pays where the chance exceeds 1 - C/F. Never applied to safety and
    label rules. Murphy (1977) Mon. Wea. Rev. 105:803; Richardson (2000) QJRMS 126:649 (from memory).
    """
    if cost is not None and loss is not None and loss > 0:
        return float(np.clip(1.0 - cost / loss, 0.0, 1.0))
    return floors["everything"]


def promised(known_members, nominal):
    """How many members count: what the source promises at that lead, whatever arrived; never fewer than are known."""
    return np.maximum(nominal, known_members)


def chances(outcome: Kleene, nominal: np.ndarray, shared: bool = True) -> Chances:
    """Lower and upper chance over the nominal member count (hour,); members that were lost never help.

    Parameters
    ----------
    shared : bool
        A member axis of length 1 holds for all members. Without it, it is the one member that arrived.
    """
    holds, known = outcome.holds, outcome.known
    if shared and holds.shape[1] == 1:
        return Chances(holds[:, 0].astype(float), 1.0 - outcome.fails[:, 0].astype(float))
    held, known_members = _count(holds), _count(known)
    count = promised(known_members, nominal).astype(float)
    return Chances(held / count, 1.0 - (known_members - held) / count)


def _count(members: np.ndarray) -> np.ndarray:
    """How many members (task, member, hour) are true, (task, hour); added as bytes while these cannot overflow."""
    if members.shape[1] < 256:
        return np.add.reduce(members.view(np.uint8), axis=1, dtype=np.uint8).astype(np.int64)
    return members.sum(axis=1)


def judge_starts(
    findings: Sequence[Finding],
    nominal: np.ndarray,
    lead_hours: np.ndarray,
    floors: Mapping[str, float],
    horizon_hours: float,
    joint_floor: float,
) -> Verdicts:
    """Verdicts of every start.

    Parameters
    ----------
    findings : sequence of Finding
        All rules that apply to any of the tasks.
    nominal : ndarray of int (hour,)
    lead_hours : ndarray (hour,)
        From now to each start.
    floors : mapping
        By kind, and for "safety_and_label".
    """
    tasks = max(len(finding.applies) for finding in findings)
    hours = findings[0].value.shape[-1]
    members = max(finding.outcome.holds.shape[1] for finding in findings)
    shape = (tasks, members, hours)
    of_all, of_strict = _Joint(tasks, hours), _Joint(tasks, hours)
    each: list[Chances] = []
    each_floor = np.zeros((len(findings), tasks))
    own_floor_kept = np.ones((tasks, hours), dtype=bool)
    all_known = np.ones((tasks, hours), dtype=bool)
    for at, finding in enumerate(findings):
        kind = finding.rule.kind
        strict = (finding.from_label if kind == "effect" else np.ones(tasks, dtype=bool)) & finding.applies
        outcome, (fails, chance) = finding.outcome, _alone(finding, nominal)
        of_all.add(outcome.holds, fails)
        spare = ~strict[:, None, None]
        if strict.all():
            of_strict.add(outcome.holds, fails)
        elif strict.any():
            of_strict.add(outcome.holds | spare, fails & ~spare)
        each.append(chance)
        own = finding.rule.floor
        if own is None:
            own = np.where(finding.from_label, floors["label"], floors[kind]) if kind == "effect" else floors[kind]
        each_floor[at] = np.where(finding.applies, own, 0.0)
        own_floor_kept &= spare[:, :, 0] | floor_kept(chance.lower, each_floor[at][:, None])
        all_known &= np.abs(chance.upper - chance.lower) < _EPS
    everything = chances(_spread(of_all.outcome(), shape), nominal, shared=False)
    strict_jointly = chances(of_strict.outcome(), nominal)
    all_known &= np.abs(everything.upper - everything.lower) < _EPS
    go = own_floor_kept & floor_kept(strict_jointly.lower, floors["safety_and_label"])
    go &= floor_kept(everything.lower, joint_floor)
    decidable = lead_hours[None, :] <= horizon_hours + _EPS
    no_go = ~go & ((all_known & decidable) | (everything.upper < HOPELESS_BELOW - _EPS))
    verdict = np.where(go, GO, np.where(no_go, NO_GO, UNKNOWN)).astype(np.int8)
    return Verdicts(
        verdict,
        everything,
        strict_jointly,
        tuple(each),
        all_known & (verdict == UNKNOWN),
        each_floor,
        joint_floor,
    )


def _alone(finding: Finding, nominal: np.ndarray) -> tuple[np.ndarray, Chances]:
    """Where a finding fails and its own chances, kept with it: explaining judges the same findings many times."""
    kept = vars(finding).get("_alone")
    if kept is None or not (kept[0] is nominal or np.array_equal(kept[0], nominal)):
        kept = nominal, finding.outcome.fails, chances(finding.outcome, nominal)
        object.__setattr__(finding, "_alone", kept)
    return kept[1:]


class _Joint:
    """Kleene conjunction of outcomes one after the other; those that all members share are gathered by themselves."""

    def __init__(self, tasks: int, hours: int):
        self._shared = (np.ones((tasks, 1, hours), dtype=bool), np.zeros((tasks, 1, hours), dtype=bool))
        self._by_member: tuple[np.ndarray, np.ndarray] | None = None

    def add(self, holds: np.ndarray, fails: np.ndarray) -> None:
        if holds.shape[1] == 1:
            both = self._shared
        elif self._by_member is None:
            shape = np.broadcast_shapes(holds.shape, self._shared[0].shape)
            self._by_member = (np.array(np.broadcast_to(holds, shape)), np.array(np.broadcast_to(fails, shape)))
            return
        else:
            both = self._by_member
        np.logical_and(both[0], holds, out=both[0])
        np.logical_or(both[1], fails, out=both[1])

    def outcome(self) -> Kleene:
        holds, fails = self._shared
        if self._by_member is not None:
            holds, fails = self._by_member[0] & holds, self._by_member[1] | fails
        return Kleene(holds, holds | fails)


def floor_kept(lower: np.ndarray, floor) -> np.ndarray:
    """Whether a lower chance keeps a floor. One of 0 still wants one member that surely holds: unknown keeps none."""
    return (lower >= floor - _EPS) & (lower > _EPS)


def _spread(outcome: Kleene, shape: tuple[int, ...]) -> Kleene:
    return Kleene(np.broadcast_to(outcome.holds, shape), np.broadcast_to(outcome.known, shape))
