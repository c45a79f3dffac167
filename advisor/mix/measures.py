"""What a person measures product with, read from their own words, and what such a measure can show.

A measure shows an amount within 5 % when the nearest mark that is not above the label lies within 5 % of it, and half a
step (the reading error of a scale, common practice, no source) is no more than 5 % of it either. Kitchen spoons are
refused: they are not measures, and they go back into the kitchen.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from advisor.errors import UsageError
from advisor.units import PRINTED, UnitError, parse

#: how near a shown amount must come to the wanted one
WITHIN = 0.05
#: a count of steps that misses a whole number by this much is that number: 4.8 fl oz is 48 steps of 0.1
_WHOLE = 1e-6

_KITCHEN = re.compile(r"spoon|\btbsp\b|\btsp\b|kitchen|cooking|baking|\bcoffee\b|\btea\b", re.IGNORECASE)
_SHAPE = re.compile(
    r"^(?P<name>.*?)[,:]?\s*(?:with\s+|in\s+)?steps?\s+of\s+(?P<step>[^,]+?)"
    r"(?:,?\s*(?:and\s+)?(?:up\s+to|holds|holding)\s+(?P<capacity>[^,]+))?$",
    re.IGNORECASE,
)
#: steps that cylinders, syringes and balances are sold with [mL or g]; common practice, no source
_COMMON_STEPS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
EXAMPLE = '"measuring cylinder, steps of 0.1 fl oz", "syringe, steps of 1 mL" or "balance, steps of 10 g"'


@dataclass(frozen=True, slots=True)
class Measure:
    """A scale with marks: `step` and `capacity` in mL (volume) or g (mass), `unit` as it is printed on it."""

    name: str
    dimension: str
    step: float
    unit: str
    #: one `unit` in mL or g
    unit_size: float
    capacity: float | None = None

    def words(self, amount: float) -> str:
        """An amount as this scale shows it: "4.8 fl oz"."""
        number = amount / self.unit_size
        return f"{number:,.{self.decimals}f} {self.unit}"

    @property
    def decimals(self) -> int:
        """Decimals that the marks of the scale need."""
        step = self.step / self.unit_size
        return next((places for places in range(4) if abs(round(step, places) - step) < 1e-9), 4)


@dataclass(frozen=True, slots=True)
class Amount:
    """What is wanted and what a measure shows for it [mL or g]."""

    wanted: float
    shown: float
    measure: Measure
    #: how often the measure must be filled
    fills: int = 1

    @property
    def error(self) -> float:
        """Share by which the shown amount misses the wanted one; negative is too little."""
        return (self.shown - self.wanted) / self.wanted

    @property
    def reading_error(self) -> float:
        """Half a step for each filling, as a share of the wanted amount."""
        return self.fills * self.measure.step / 2.0 / self.wanted

    @property
    def words(self) -> str:
        return self.measure.words(self.shown)


def read_measures(text: str) -> tuple[Measure, ...]:
    """Measures from words such as "measuring cylinder, steps of 0.1 fl oz; balance, steps of 1 g, up to 200 g".

    Raises
    ------
    UsageError
        When a measure cannot be understood, or is a kitchen spoon.
    """
    found = []
    for part in (piece.strip() for piece in text.split(";")):
        if part:
            found.append(_read_one(part))
    return tuple(found)


def _read_one(text: str) -> Measure:
    if _KITCHEN.search(text):
        raise UsageError(
            f'"{text}" belongs in the kitchen: spoons hold 3 to 7 mL and are eaten from',
            hint=f"get a measure that is used for nothing else, such as {EXAMPLE}",
        )
    match = _SHAPE.match(text)
    if not match:
        raise UsageError(f'the measure "{text}" does not say its steps', hint=f"write it like {EXAMPLE}")
    step, dimension, unit, size = _quantity(match["step"], text)
    capacity = None
    if match["capacity"]:
        capacity, other, _, _ = _quantity(match["capacity"], text)
        if other != dimension:
            raise UsageError(f'the measure "{text}" mixes volume and weight', hint=f"write it like {EXAMPLE}")
        if capacity < step:
            raise UsageError(f'the measure "{text}" holds less than one step', hint="check the two numbers")
    return Measure(match["name"].strip(" ,") or "measure", dimension, step, unit, size, capacity)


def _quantity(text: str, whole: str) -> tuple[float, str, str, float]:
    """(canonical value, dimension, printed unit, one unit in canonical ones)."""
    problem = None
    for dimension in ("volume", "mass"):
        try:
            value = parse(text, dimension)
        except UnitError as error:
            problem = problem or error
            continue
        if value <= 0.0:
            raise UsageError(f'the measure "{whole}" has steps of nothing', hint=f"write it like {EXAMPLE}")
        number = float(re.match(r"\s*[-+]?[\d_,]*\.?\d+(?:[eE][-+]?\d+)?", text)[0].replace(",", ""))
        unit = re.sub(r"^\s*[-+]?[\d_,.]+(?:[eE][-+]?\d+)?\s*", "", text).strip()
        unit = re.sub(r"^fl\.?\s*oz$", "floz", unit)
        return value, dimension, PRINTED.get(unit, unit), value / number
    raise UsageError(
        f'the measure "{whole}": {problem.problems[0].what}', hint=f"write it like {EXAMPLE}"
    ) from problem


def choose(
    wanted: float, measures: Sequence[Measure], dimension: str, ceiling: float | None = None
) -> Amount | None:
    """The amount as the best of the measures shows it within 5 %, or None where none can.

    Parameters
    ----------
    wanted : float
        [mL] or [g], more than 0.
    ceiling : float, optional
        What may never be exceeded, in the same unit; the wanted amount itself when not given.
    """
    if not (math.isfinite(wanted) and wanted > 0.0):
        return None
    top = wanted if ceiling is None else ceiling
    able = []
    for order, measure in enumerate(measures):
        if measure.dimension != dimension:
            continue
        steps = min(math.floor(wanted / measure.step + 0.5 + _WHOLE), math.floor(top / measure.step + _WHOLE))
        if steps < 1:
            continue
        fills = 1 if measure.capacity is None else math.ceil(steps * measure.step / measure.capacity - _WHOLE)
        amount = Amount(wanted, min(steps * measure.step, top), measure, max(fills, 1))
        if abs(amount.error) <= WITHIN + _WHOLE and amount.reading_error <= WITHIN + _WHOLE:
            able.append((amount.fills, abs(amount.error) + amount.reading_error, order, amount))
    return min(able, key=lambda row: row[:3])[3] if able else None


def to_get(wanted: float, dimension: str) -> str:
    """The measure that would show an amount within 5 %, in words for a hint."""
    unit, tool = ("mL", "a syringe or cylinder") if dimension == "volume" else ("g", "a balance")
    fine = [step for step in _COMMON_STEPS if step <= WITHIN * wanted]
    if not fine:
        return f"{wanted:.2g} {unit} is too little to measure: mix for a larger area at once, or leave it"
    return f"get {tool} with steps of {fine[-1]:g} {unit} or finer, used for nothing else"
