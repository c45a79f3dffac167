"""What the label's year has seen of a label's own product on an area, to hold a mix or a record against its totals.

Where `totals` leaves unknown what cannot be added up, here it counts as the most that the label allows in one pass: a
mix must be told yes or no.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from advisor.model import Area, Household, Label, Record, Task, Treatment
from advisor.season.bounds import label_year
from advisor.season.passes import label_of, records_of_year


@dataclass(frozen=True, slots=True)
class SeasonUse:
    """What the label's year has seen on an area before this pass: product [mL/m² or g/m²] and passes."""

    product: float = 0.0
    passes: int = 0


def season_use(
    household: Household, treatment: Treatment, area: Area, records: Sequence[Record], now: datetime
) -> SeasonUse:
    """Product and passes of the label's year that holds `now`, by any product with one of the label's ingredients.

    A pass of another product counts by its acid equivalent where both labels state it. A pass without its amount, or
    of a product whose strength is not known, counts as the most that the label allows in one pass.
    """
    label = household.labels[treatment.label]
    task = Task(household, treatment, area, label, 1)
    seen = records_of_year(task, records, label_year(task, now))
    return SeasonUse(math.fsum(_counts_as(record, label, area, household) for record in seen), len(seen))


def _counts_as(record: Record, label: Label, area: Area, household: Household) -> float:
    """[mL/m² or g/m²] of this label's product that a record stands for."""
    most = label.limits.get("maximum_per_application", label.limits.get("rate", math.inf))
    size = record.size or area.size
    if record.amount is None or not math.isfinite(record.amount):
        return most
    applied = record.amount / size
    if label.is_called(record.product) or not record.product.strip():
        return applied
    other = label_of(household, record)
    factor = None if other is None else _equivalent(label, other)
    return most if factor is None else applied * factor


def _equivalent(label: Label, other: Label) -> float | None:
    """How much of this label's product carries what one unit of the other does; the ingredient that counts most."""
    ours = {one.name.casefold(): one.acid_equivalent for one in label.active_ingredients}
    ratios = []
    for ingredient in other.active_ingredients:
        strength = ours.get(ingredient.name.casefold(), 0.0)
        if strength == 0.0:
            continue
        if strength is None or ingredient.acid_equivalent is None:
            return None
        # g/L and g/kg: a volume carries grams by the litre, a weight by the kilogram, so both divide by 1,000 alike
        ratios.append(ingredient.acid_equivalent / strength)
    return max(ratios, default=None)
