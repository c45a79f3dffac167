"""The case for or against a day, worked out when it is asked for: an outlook prints the names of what fails, and the
argument is about one day."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

from advisor.explain.blockers import Blocked, what_blocks
from advisor.explain.reasons import Explainer, RuleReason
from advisor.verdict import GO, NO_GO, UNKNOWN

#: what stands against a day without a start that fits the person's hours
_NO_HOURS = Blocked(("availability",), (), ("availability",))


class Case:
    """What each rule says of the start of a day that is shown, and what stands against all that could be made on it.

    Parameters
    ----------
    task, shown : int
        Position of the task, and of the start on the axis.
    starts : sequence of int
        Those inside the person's hours at which the work fits.
    """

    def __init__(self, explainer: Explainer, task: int, shown: int, starts: Sequence[int]):
        self._explainer, self._task, self._shown, self._starts = explainer, task, shown, starts

    @cached_property
    def failing(self) -> tuple[RuleReason, ...]:
        """Of rules that are known to be broken, the worst first."""
        return self._of(NO_GO)

    @cached_property
    def unknown(self) -> tuple[RuleReason, ...]:
        """Of rules of which it is not known."""
        return self._of(UNKNOWN)

    @cached_property
    def kept(self) -> tuple[RuleReason, ...]:
        """Of rules that hold, the tightest first."""
        return self._of(GO)

    @property
    def reasons(self) -> tuple[RuleReason, ...]:
        return (*self.failing, *self.unknown, *self.kept)

    @cached_property
    def tightest(self) -> RuleReason | None:
        """The first of the reasons."""
        first = next(iter(self.failing or self.unknown), None)
        return first or self._explainer.tightest(self._task, self._shown)

    @cached_property
    def blocked(self) -> Blocked:
        """Nothing where some start is a go."""
        return what_blocks(self._explainer, self._task, self._starts) if self._starts else _NO_HOURS

    def _of(self, code: int) -> tuple[RuleReason, ...]:
        return tuple(self._explainer.reasons(self._task, self._shown, code))
