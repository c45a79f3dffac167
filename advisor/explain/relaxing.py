"""What would be a go if some rules gave way: the verdicts of a task's starts for many sets of relaxed rules at once.

A relaxed rule holds in a member wherever everything that it looks at is known, and stays unknown elsewhere. What a
verdict needs to be a go is worked out as `advisor.verdict.judge_starts` does it: every safety and label rule at its
floor, these jointly, and everything jointly, all in lower chances.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from advisor.explain.reasons import Explainer
from advisor.rulebook.evaluate import Finding
from advisor.verdict import floor_kept, promised


class Relaxing:
    """The rules that apply to one task, at some of its starts.

    Attributes
    ----------
    at : tuple of int
        Positions of these rules among the explainer's findings.
    holds, fails, complete : ndarray of bool (rule, member, start)
        Complete is where everything that the rule looks at is known.
    strict : ndarray of bool (rule,)
        Safety and label rules.
    """

    def __init__(self, explainer: Explainer, task: int, starts: Sequence[int]):
        findings = explainer.findings
        self._task, self.starts = task, list(starts)
        self.at = tuple(at for at, finding in enumerate(findings) if finding.applies[task])
        self.findings: tuple[Finding, ...] = tuple(findings[at] for at in self.at)
        #: rules that apply to other tasks alone may carry the members, too
        self.members = max(finding.outcome.holds.shape[1] for finding in findings)
        self.nominal = explainer.nominal[self.starts]
        self.strict = np.array([finding.kind(task) != "effect" for finding in self.findings])
        outcomes = [finding.outcome for finding in self.findings]
        self.holds = self._stacked([one.holds for one in outcomes])
        self.fails = self._stacked([one.known for one in outcomes]) & ~self.holds
        self.complete = self._stacked([finding.complete for finding in self.findings])
        #: (rule,) whether all members share the rule's outcome, as it is and relaxed
        self._shared = np.array([one.holds.shape[1] == 1 for one in outcomes])
        self._shared_relaxed = np.array([finding.complete.shape[1] == 1 for finding in self.findings])
        floors = explainer.verdicts.floors[list(self.at), task]
        self._strict_floor = explainer.floors["safety_and_label"]
        self._everything_floor = explainer.verdicts.everything_floor
        chances = [explainer.verdicts.rules[at].lower for at in self.at]
        #: (rule, start) lower chance of each rule
        self.lower = np.array([row[task if len(row) > 1 else 0, self.starts] for row in chances])
        whole = self.complete.sum(axis=1)
        relaxed = np.where(self._shared_relaxed[:, None], whole > 0, whole / promised(whole, self.nominal))
        #: (rule, start) whether the rule's own floor is kept, as it is and relaxed
        self._kept, self._kept_relaxed = (floor_kept(one, floors[:, None]) for one in (self.lower, relaxed))

    def row(self, values: np.ndarray) -> np.ndarray:
        """(member or 1, start) of an array (task or 1, member or 1, hour or 1)."""
        rows = values[self._task if values.shape[0] > 1 else 0]
        return rows[:, self.starts] if rows.shape[-1] > 1 else np.repeat(rows, len(self.starts), axis=1)

    def _stacked(self, arrays: Sequence[np.ndarray]) -> np.ndarray:
        out = np.empty((len(arrays), self.members, len(self.starts)), dtype=bool)
        for one, values in zip(out, arrays, strict=True):
            one[...] = self.row(values)
        return out

    def others_hold(self, rule: int, strict_alone: bool = False) -> np.ndarray:
        """Members (member, start) in which every other rule holds; or every other safety and label rule."""
        others = np.arange(len(self.at)) != rule
        return self.holds[others & self.strict if strict_alone else others].all(axis=0)

    def opens(self, relaxed: np.ndarray, start: int | None = None) -> np.ndarray:
        """Whether each start, or one of them, is a go when a set of rules is relaxed.

        Parameters
        ----------
        relaxed : ndarray of bool (set, rule)
        start : int, optional

        Returns
        -------
        ndarray of bool (set, start)
        """
        starts = slice(None) if start is None else slice(start, start + 1)
        own = np.where(relaxed[:, :, None], self._kept_relaxed[:, starts], self._kept[:, starts])
        found = own[:, self.strict].all(axis=1)
        strict = self._jointly(relaxed, self.strict, starts)
        everything = self._jointly(relaxed, slice(None), starts)
        # what all members share surely holds, however few of them arrived
        shared = np.where(relaxed, self._shared_relaxed, self._shared)[:, self.strict].all(axis=1)
        strict = np.where(shared[:, None], strict > 0.0, strict)
        return found & floor_kept(strict, self._strict_floor) & floor_kept(everything, self._everything_floor)

    def _jointly(self, relaxed: np.ndarray, rules: np.ndarray | slice, starts: slice) -> np.ndarray:
        """Lower chance that some rules hold jointly, over the members (set, start)."""
        given = relaxed[:, rules, None, None]
        holds = np.where(given, self.complete[rules][..., starts], self.holds[rules][..., starts]).all(axis=1)
        fails = (~given & self.fails[rules][..., starts]).any(axis=1)
        return holds.sum(axis=1) / promised((holds | fails).sum(axis=1), self.nominal[starts])
