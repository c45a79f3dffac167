"""Reasons that can be argued with: what each rule found, what is not known and why, what blocks and what would open."""

from advisor.explain.blockers import Blocked, Blocker, least_change, what_blocks
from advisor.explain.case import Case
from advisor.explain.judging import judged
from advisor.explain.reasons import Explainer, RuleReason, difference

__all__ = [
    "Blocked",
    "Blocker",
    "Case",
    "Explainer",
    "RuleReason",
    "difference",
    "judged",
    "least_change",
    "what_blocks",
]
