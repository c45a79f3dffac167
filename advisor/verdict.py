"""From findings to chances and verdicts of every start hour, as design section 6 defines them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from advisor.logic import Kleene
from advisor.model import DEFAULT_FLOORS, Settings
from advisor.rulebook.evaluate import Finding
from advisor.votes import EVERYONE, Votes, any_member, row_bytes

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
    rules : sequence of Chances
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
    rules: Sequence[Chances]
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


def chance_floors(settings: Settings) -> dict[str, float]:
    """Every floor as a household sets it, by kind, for "safety_and_label" and for "everything"."""
    floors = {**DEFAULT_FLOORS, **settings.floors}
    floors["everything"] = everything_floor(floors, settings.cost_of_waiting, settings.cost_of_failure)
    return floors


def promised(known_members, nominal):
    """How many members count: what the source promises at that lead, whatever arrived; never fewer than are known."""
    return np.maximum(nominal, known_members)


def chances(outcome: Votes | Kleene, nominal: np.ndarray, shared: bool = True) -> Chances:
    """Lower and upper chance over the nominal member count (hour,); members that were lost never help.

    Parameters
    ----------
    shared : bool
        A member axis of length 1 holds for all members. Without it, it is the one member that arrived.
    """
    votes = Votes.of_kleene(outcome)
    held, perhaps = (np.broadcast_to(count, (count.shape[0], votes.hours)) for count in votes.counts())
    if shared and votes.members == 1:
        return Chances(held.astype(float), perhaps.astype(float))
    failed = votes.members - perhaps.astype(np.int64)
    count = promised(held + failed, nominal).astype(float)
    return Chances(held / count, 1.0 - failed / count)


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
    tasks, hours = max(len(finding.applies) for finding in findings), len(nominal)
    of_all, of_strict = _Joint(tasks, hours), _Joint(tasks, hours)
    each_floor = np.zeros((len(findings), tasks))
    own_floor_kept = np.ones((tasks, hours), dtype=bool)
    for at, finding in enumerate(findings):
        kind = finding.rule.kind
        strict = (finding.from_label if kind == "effect" else True) & finding.applies
        own = finding.rule.floor
        if own is None:
            own = (
                np.where(finding.from_label, floors["label"], floors[kind])
                if kind == "effect"
                else floors[kind]
            )
        each_floor[at] = np.where(finding.applies, own, 0.0)
        votes = Votes.of_kleene(finding.outcome)
        of_all.add(votes)
        if not strict.any():
            continue
        spare = ~strict
        of_strict.add(
            votes if strict.all() else Votes(votes.bits | row_bytes(spare), votes.members, votes.hours)
        )
        own_floor_kept &= spare[:, None] | _kept(votes, nominal, each_floor[at][:, None])
    together = of_all.outcome()
    everything, strict_jointly = (
        chances(together, nominal, shared=False),
        chances(of_strict.outcome(), nominal),
    )
    all_known = of_all.all_known(nominal) & (np.abs(everything.upper - everything.lower) < _EPS)
    go = own_floor_kept & floor_kept(strict_jointly.lower, floors["safety_and_label"])
    go &= floor_kept(everything.lower, joint_floor)
    decidable = lead_hours[None, :] <= horizon_hours + _EPS
    no_go = ~go & ((all_known & decidable) | (everything.upper < HOPELESS_BELOW - _EPS))
    verdict = np.where(go, GO, np.where(no_go, NO_GO, UNKNOWN)).astype(np.int8)
    return Verdicts(
        verdict,
        everything,
        strict_jointly,
        _OfRules(findings, nominal),
        all_known & (verdict == UNKNOWN),
        each_floor,
        joint_floor,
    )


class _OfRules(Sequence):
    """The chances of single rules, each worked out when somebody looks at it."""

    def __init__(self, findings: Sequence[Finding], nominal: np.ndarray):
        self._findings, self._nominal = findings, nominal
        self._made: dict[int, Chances] = {}

    def __len__(self) -> int:
        return len(self._findings)

    def __getitem__(self, at: int) -> Chances:
        at = range(len(self))[at]
        if at not in self._made:
            self._made[at] = chances(self._findings[at].outcome, self._nominal)
        return self._made[at]


class _Joint:
    """Kleene conjunction of outcomes one after the other, and where every one of them is known.

    Outcomes that all members share are gathered by themselves: they are known or not whatever number was promised.
    """

    def __init__(self, tasks: int, hours: int):
        self._hours = hours
        self._shared = np.full((2, tasks, 1, hours), EVERYONE)
        self._shared_decided = np.full((tasks, 1, hours), EVERYONE)
        self._members: Votes | None = None
        self._decided: np.ndarray | None = None

    def add(self, votes: Votes) -> None:
        if votes.members == 1:
            self._shared &= votes.bits
            if len(votes.bits) > 1:
                self._shared_decided &= votes.decided
            return
        self._members = votes if self._members is None else self._members & votes
        if len(votes.bits) > 1:
            self._decided = votes.decided if self._decided is None else self._decided & votes.decided

    def outcome(self) -> Votes:
        shared = Votes(self._shared, 1)
        return shared if self._members is None else shared & self._members

    def all_known(self, nominal: np.ndarray) -> np.ndarray:
        """(task, hour): each outcome is known, in as many members as were promised."""
        known = self._shared_decided[:, 0] == EVERYONE
        if self._members is None:
            return known
        known = known & (self._members.members >= nominal)
        if self._decided is None:
            return known
        return known & ~any_member(~self._decided, self._members.members)


def _kept(votes: Votes, nominal: np.ndarray, floor: np.ndarray) -> np.ndarray:
    """Whether the chance of one rule keeps its floor (task, 1), by counting members."""
    held, perhaps = votes.counts()
    if votes.members == 1:
        return (held != 0) & (floor <= 1.0 + _EPS)
    if (floor == floor[0]).all():
        floor = floor[:1]
    count = nominal
    if votes.members > nominal.min():
        count = promised(held + (votes.members - perhaps.astype(np.int64)), nominal)
    return held >= np.maximum(np.ceil((floor - _EPS) * count), 1.0)


def floor_kept(lower: np.ndarray, floor) -> np.ndarray:
    """Whether a lower chance keeps a floor. One of 0 still wants one member that surely holds: unknown keeps none."""
    return (lower >= floor - _EPS) & (lower > _EPS)
