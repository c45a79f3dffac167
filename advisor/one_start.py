"""One task at one moment of starting, scored by the same rules as an outlook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from advisor.area_conditions import AreaConditions
from advisor.clock import HOUR, to_numpy
from advisor.conditions import Conditions
from advisor.explain import Explainer, RuleReason, judged
from advisor.model import Record, Task
from advisor.rulebook.evaluate import Finding, evaluate
from advisor.rulebook.schema import Rule
from advisor.task_table import build
from advisor.verdict import VERDICT_WORDS


@dataclass(frozen=True, eq=False)
class OneStart:
    """The rules as they stand at the hour that holds the start."""

    task: Task
    #: position of that hour on the axis
    hour: int
    explainer: Explainer

    @property
    def findings(self) -> Sequence[Finding]:
        return self.explainer.findings

    @property
    def verdict(self) -> str:
        return VERDICT_WORDS[int(self.explainer.verdicts.verdict[0, self.hour])]

    @property
    def chance(self) -> tuple[float, float]:
        """That everything holds: surely, and at most."""
        everything = self.explainer.verdicts.everything
        return float(everything.lower[0, self.hour]), float(everything.upper[0, self.hour])

    @property
    def inside_hours(self) -> bool:
        """Whether 1.5 times the job and the cleaning up fit into the hours that the person gave."""
        return bool(self.explainer.area.spare_time[0, 0, self.hour] >= -1e-9)

    def reasons(self) -> list[RuleReason]:
        return self.explainer.reasons(0, self.hour)

    def finding(self, rule: str) -> int | None:
        """Position of a rule's finding; None where the rule does not apply."""
        return next(
            (at for at, one in enumerate(self.findings) if one.rule.id == rule and one.applies[0]), None
        )


def minutes_into_the_hour(start: datetime) -> float:
    """[h] from the full hour to the start."""
    return (start - start.replace(minute=0, second=0, microsecond=0)).total_seconds() / 3600.0


def lasting(task: Task, hours: float) -> Task:
    """The task with another duration [h] on its area."""
    duration = {**task.treatment.duration, task.area.id: hours}
    return replace(task, treatment=replace(task.treatment, duration=duration))


def score_one_start(
    task: Task,
    conditions: Conditions,
    rules: Sequence[Rule],
    records: Sequence[Record],
    start: datetime,
    now: datetime,
) -> OneStart | None:
    """Score a task that starts at a moment; None where that hour is not on the axis.

    The hour that holds the start is scored, and the work lasts longer by what of that hour is gone: so every limit
    holds from the full hour to the true end of the work, and what is counted from the end is counted from there.

    Parameters
    ----------
    conditions : Conditions
        Of the task's one site.
    records : sequence of Record
        What lies before this pass.
    now : datetime
        What is decided at; limits of a calendar are read at the start.
    """
    axis = conditions.axis
    hour = int((to_numpy(start, "h") - axis[0]) // HOUR)
    if not 0 <= hour < len(axis):
        return None
    gone = minutes_into_the_hour(start)
    table = build([lasting(task, task.duration + gone)], records, start)
    # 1.5 times the job is wanted of the hours that are left, and 1 time what of the hour is gone already
    table = replace(table, clean_up=table.clean_up - 0.5 * gone)
    area = AreaConditions(conditions, table)
    return OneStart(task, hour, judged(evaluate(rules, area), area, task.household, now))
