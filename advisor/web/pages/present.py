"""The answer for this very moment, a task at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from advisor.explain import RuleReason
from advisor.outlook import Outlook, hour_index
from advisor.verdict import GO, NO_GO, UNKNOWN, VERDICT_WORDS

_WORST_FIRST = (NO_GO, UNKNOWN, GO)


@dataclass(frozen=True, slots=True)
class Present:
    """`hour` is the start hour that the answer rests on."""

    verdict: str
    hour: np.datetime64 | None
    reasons: tuple[RuleReason, ...]
    text: str


def present(outlook: Outlook, task: int) -> Present:
    """Whether a task may start now.

    A start between two full hours touches the hours of both, so the worse of the two answers counts.
    """
    index = hour_index(outlook, outlook.now)
    if index is None or outlook.explainer is None:
        return Present("unknown", None, (), "The forecast does not reach the present.")
    into_the_hour = outlook.now.minute or outlook.now.second
    hours = [index] + ([index + 1] if into_the_hour and index + 1 < outlook.forecast.hours else [])
    codes = [(_WORST_FIRST.index(int(outlook.verdicts.verdict[task, hour])), hour) for hour in hours]
    worst, hour = min(codes)
    code = _WORST_FIRST[worst]
    explainer = outlook.explainer
    if code != GO and explainer.area.spare_time[task, 0, hour] < -1e-9:
        closed = explainer.area.spare_time[task, 0, hour] == -1.0
        why = "It is outside your hours." if closed else "Too little of your time is left for the work."
        return Present(VERDICT_WORDS[NO_GO], outlook.forecast.axis[hour], (), why)
    reasons = tuple(explainer.reasons(task, hour))
    text = f"{reasons[0].title}. {reasons[0].text}" if reasons and code != GO else (
        reasons[0].text if reasons else "")  # fmt: skip
    return Present(VERDICT_WORDS[code], outlook.forecast.axis[hour], reasons, text)
