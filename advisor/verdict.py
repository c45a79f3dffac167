"""From findings to chances and verdicts of every start hour, as design section 6 defines them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from advisor.logic import Kleene, all_of
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
    holds, fails = outcome.holds, outcome.fails
    if shared and holds.shape[1] == 1:
        return Chances(holds[:, 0].astype(float), 1.0 - fails[:, 0].astype(float))
    count = promised(outcome.known.sum(axis=1), nominal).astype(float)
    return Chances(holds.sum(axis=1) / count, 1.0 - fails.sum(axis=1) / count)


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
    yes = Kleene(np.ones((tasks, 1, hours), dtype=bool), np.ones((tasks, 1, hours), dtype=bool))
    of_all, of_strict = yes, yes
    each: list[Chances] = []
    each_floor = np.zeros((len(findings), tasks))
    own_floor_kept = np.ones((tasks, hours), dtype=bool)
    all_known = np.ones((tasks, hours), dtype=bool)
    for at, finding in enumerate(findings):
        strict = np.array([finding.kind(task) != "effect" for task in range(tasks)]) & finding.applies
        of_all = all_of(of_all, finding.outcome)
        spare = ~strict[:, None, None]
        if strict.any():
            of_strict = all_of(of_strict, Kleene(finding.outcome.holds | spare, finding.outcome.known | spare))
        chance = chances(finding.outcome, nominal)
        each.append(chance)
        own = [
            finding.rule.floor if finding.rule.floor is not None else floors[finding.kind(task)]
            for task in range(tasks)
        ]
        each_floor[at] = np.where(finding.applies, own, 0.0)
        own_floor_kept &= spare[:, :, 0] | _kept(chance, each_floor[at][:, None])
        all_known &= np.abs(chance.upper - chance.lower) < _EPS
    everything = chances(_spread(of_all, shape), nominal, shared=False)
    strict_jointly = chances(of_strict, nominal)
    all_known &= np.abs(everything.upper - everything.lower) < _EPS
    go = own_floor_kept & _kept(strict_jointly, floors["safety_and_label"]) & _kept(everything, joint_floor)
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


def _kept(chance: Chances, floor) -> np.ndarray:
    """Whether a floor is kept. A floor of 0 still wants one member that surely holds: unknown keeps no floor."""
    return (chance.lower >= floor - _EPS) & (chance.lower > _EPS)


def _spread(outcome: Kleene, shape: tuple[int, ...]) -> Kleene:
    return Kleene(np.broadcast_to(outcome.holds, shape), np.broadcast_to(outcome.known, shape))
