"""The task, what is scored: everything that one pass rests on, in one value."""

from __future__ import annotations

from dataclasses import dataclass

from advisor.model.household import Household
from advisor.model.labels import Label
from advisor.model.passes import PlanEntry, Record, Treatment
from advisor.model.places import Area


@dataclass(frozen=True, slots=True)
class Task:
    """One treatment on one area at one site, on one pass: the thing that is scored."""

    household: Household
    treatment: Treatment
    area: Area
    label: Label
    #: 1 for the first pass
    pass_number: int
    #: passes done before in this sequence, oldest first
    done: tuple[Record, ...] = ()
    #: the choice that this pass rests on, where one was made
    plan: PlanEntry | None = None

    @property
    def id(self) -> str:
        return f"{self.treatment.id}/{self.area.id}"

    @property
    def duration(self) -> float:
        """Hours of spraying for this area."""
        return self.treatment.duration[self.area.id]
