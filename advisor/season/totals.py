"""What a label year has seen of each active ingredient on an area, in acid equivalent, and what it still allows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from advisor.model import ActiveIngredient, Household, Label, Record, Task
from advisor.season.passes import label_of


@dataclass(frozen=True, slots=True)
class IngredientTotal:
    """One active ingredient of a label on one area, [g/m²] of acid equivalent.

    Attributes
    ----------
    applied : float
        By the passes of the label year so far; NaN where one of them cannot be added up.
    planned : float
        By the pass to come; NaN where its rate or the strength is not known.
    maximum : float
        Stated for the ingredient, else what the product's own yearly maximum carries; NaN where the label says neither.
    """

    name: str
    applied: float
    planned: float
    maximum: float

    @property
    def share(self) -> float:
        """Part of the maximum that is used up with the planned pass; NaN where it is not known."""
        if self.maximum <= 0.0:
            return math.nan
        return (self.applied + self.planned) / self.maximum

    @property
    def left(self) -> float:
        """[g/m²] still allowed after the passes so far."""
        return self.maximum - self.applied


def planned_rate(task: Task) -> float | None:
    """The treatment's own rate, else the label's [mL/m² or g/m²]."""
    return task.treatment.rate if task.treatment.rate is not None else task.label.limits.get("rate")


def ingredient_totals(
    task: Task, this_year: Sequence[Record], rate: float | None
) -> tuple[IngredientTotal, ...]:
    """Totals of every active ingredient of the task's label, acid equivalent = product x strength / 1,000.

    Parameters
    ----------
    this_year : sequence of Record
        Of `records_of_year`.
    rate : float, optional
        Product of the pass to come [mL/m² or g/m²].

    Notes
    -----
    A liquid's strength is in g/L and its rate in mL/m², a weighed product's in g/kg and g/m²: both are g/m² when
    divided by 1,000.
    """
    return tuple(
        _total(ingredient, task.label, task.area.size, this_year, rate, task.household)
        for ingredient in task.label.active_ingredients
    )


def _total(
    ingredient: ActiveIngredient,
    label: Label,
    size: float,
    records: Sequence[Record],
    rate: float | None,
    household: Household,
) -> IngredientTotal:
    strength = math.nan if ingredient.acid_equivalent is None else ingredient.acid_equivalent / 1000.0
    maximum = ingredient.maximum_per_year
    if maximum is None:
        maximum = label.limits.get("maximum_per_year", math.nan) * strength
    wanted = ingredient.name.casefold()
    applied = math.fsum(
        _applied(record, wanted, size, household)
        for record in records
        if wanted in {name.casefold() for name in record.active_ingredients}
    )
    planned = math.nan if rate is None else rate * strength
    return IngredientTotal(ingredient.name, applied, planned, maximum)


def _applied(record: Record, ingredient: str, size: float, household: Household) -> float:
    """[g/m²] of one active ingredient that a pass put down; NaN where amount, size of a spot or strength is unknown."""
    if record.amount is None or not math.isfinite(record.amount):
        return math.nan
    treated = record.size
    if treated is None:
        treatment = household.treatments.get(record.treatment)
        if treatment is not None and treatment.method == "spot":
            return math.nan
        treated = size
    label = label_of(household, record)
    if label is None or not treated > 0.0:
        return math.nan
    strength = next(
        (one.acid_equivalent for one in label.active_ingredients if one.name.casefold() == ingredient), None
    )
    return math.nan if strength is None else record.amount / treated * strength / 1000.0


def worst_share(totals: Sequence[IngredientTotal]) -> float:
    """The largest part of a yearly maximum that any active ingredient reaches with the planned pass.

    A known excess counts whatever else is unknown; else one unknown makes it NaN. Ingredients without any maximum,
    stated or following from the product's, are left out.
    """
    shares = [one.share for one in totals if not math.isnan(one.maximum)]
    known = [share for share in shares if not math.isnan(share)]
    if len(known) == len(shares) or any(share > 1.0 + 1e-5 for share in known):
        return max(known, default=math.nan)
    return math.nan


def has_maximum(label: Label) -> bool:
    """Whether a yearly maximum of any active ingredient is stated, or follows from the product's."""
    yearly = "maximum_per_year" in label.limits
    return any(
        one.maximum_per_year is not None or (yearly and one.acid_equivalent is not None)
        for one in label.active_ingredients
    )


def passes_left(
    label: Label, this_year: Sequence[Record], rate: float | None, totals: Sequence[IngredientTotal]
) -> float:
    """How many more passes at this rate the label year allows: by count, by product and by each active ingredient.

    NaN where one of the totals is not known.
    """
    room = [label.limits.get("maximum_passes_per_year", math.inf) - len(this_year)]
    for total in totals:
        if not math.isnan(total.maximum):
            room.append(_whole(total.left, total.planned))
    if "maximum_per_year" in label.limits:
        same = [one for one in this_year if label.is_called(one.product)]
        used = math.fsum(
            math.nan if one.amount is None or not one.size else one.amount / one.size for one in same
        )
        room.append(_whole(label.limits["maximum_per_year"] - used, math.nan if rate is None else rate))
    if any(math.isnan(one) for one in room):
        # a count that is used up is used up, whatever else is unknown
        return 0.0 if any(one <= 0.0 for one in room if not math.isnan(one)) else math.nan
    return max(min(room), 0.0)


def _whole(left: float, each: float) -> float:
    if math.isnan(left) or math.isnan(each):
        return math.nan
    if each <= 0.0:
        return math.inf
    return float(math.floor(left / each + 1e-5))
