"""A mix cut into fillings of the tank or the hopper, each with what the measure shows for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from advisor.errors import Problem
from advisor.mix.arithmetic import adjuvant_volume, product_on_area
from advisor.mix.measures import Amount, Measure, choose, to_get

#: a rest of this share of a tank is rounding, no load of its own
_NO_LOAD = 1e-6


@dataclass(frozen=True, slots=True)
class Load:
    """One filling of the tank or the hopper: for `area` [m²], `volume` [mL] of finished mix (None when spread dry)."""

    number: int
    area: float
    volume: float | None
    product: Amount
    adjuvant: Amount | None = None


def split(total: float, tank: float) -> list[float]:
    """Full tanks and what is left over for a last one."""
    full = math.floor(total / tank + _NO_LOAD)
    rest = total - full * tank
    parts = [tank] * full
    if rest > _NO_LOAD * tank:
        parts.append(rest)
    elif parts:
        parts[-1] += rest
    return parts or [total]


def split_evenly(total: float, tank: float) -> list[float]:
    """As few fillings as the tank allows, all alike."""
    count = max(math.ceil(total / tank - _NO_LOAD), 1)
    return [total / count] * count


@dataclass(frozen=True, slots=True)
class Recipe:
    """What every load is made by: `rate` and `ceiling` [mL/m² or g/m²], `carrier_rate` [L/m²], None when spread dry.

    `share` [% by volume] of adjuvant in the finished mix, None for none.
    """

    rate: float
    ceiling: float
    carrier_rate: float | None
    dimension: str
    share: float | None
    measures: Sequence[Measure]


def cut_into_loads(size: float, tank: float, recipe: Recipe) -> tuple[Load, ...] | list[Problem]:
    """Full tanks and a part-load; equal loads where the part-load is too small to be measured.

    Parameters
    ----------
    size : float
        [m²] that the whole mix is for.
    tank : float
        [mL], of a hopper [g].

    Returns
    -------
    tuple of Load or list of Problem
        Why there are none, where no measure shows an amount within 5 %.
    """
    per_area = recipe.rate if recipe.carrier_rate is None else recipe.carrier_rate * 1000.0
    made: list[Load | Problem] = []
    for cut in (split, split_evenly):
        parts = cut(per_area * size, tank)
        made = [_load(number, part / per_area, part, recipe) for number, part in enumerate(parts, 1)]
        if all(isinstance(load, Load) for load in made):
            return tuple(made)
    return list(dict.fromkeys(load for load in made if isinstance(load, Problem)))


def _load(number: int, size: float, filling: float, recipe: Recipe) -> Load | Problem:
    wanted = float(product_on_area(recipe.rate, size))
    product = choose(wanted, recipe.measures, recipe.dimension, float(product_on_area(recipe.ceiling, size)))
    if product is None:
        return _too_coarse(wanted, recipe.dimension, recipe.measures, "the product")
    if recipe.carrier_rate is None:
        return Load(number, size, None, product)
    extra = None
    if recipe.share is not None:
        drops = float(adjuvant_volume(recipe.share, filling))
        extra = choose(drops, recipe.measures, "volume")
        if extra is None:
            return _too_coarse(drops, "volume", recipe.measures, "the adjuvant")
    return Load(number, size, filling, product, extra)


def _too_coarse(wanted: float, dimension: str, measures: Sequence[Measure], what: str) -> Problem:
    unit = "mL" if dimension == "volume" else "g"
    have = [measure.name for measure in measures if measure.dimension == dimension]
    if not have:
        kind = "by volume" if dimension == "volume" else "by weight"
        return Problem(
            f"{what} is measured {kind} ({wanted:.4g} {unit} a load), and no such measure is stated",
            "",
            to_get(wanted, dimension),
        )
    return Problem(
        f"{' and '.join(have)} cannot show {wanted:.4g} {unit} of {what} within 5 %",
        "",
        to_get(wanted, dimension),
    )
