"""The shape of `labels/*.toml` and `treatments/*.toml`.

Every field of a label may be blank here: required ones then count as blank, and keep verdicts unknown.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, Field, create_model

from advisor.household.fields import (
    Table,
    Text,
    Turf,
    Words,
    choice,
    fault,
    quantity,
    share,
    whole,
)
from advisor.household.times import Day, MonthDay
from advisor.household.vocabulary import ADJUVANTS, FORMULATIONS, LIFE_CYCLES, METHODS, MODES, SITE_USES
from advisor.model import LABEL_QUANTITIES, RATE_FIELDS, STAGES

_DAY = 24.0
_WEEK = 7 * _DAY

#: what is plausible on a label at all, in canonical units: outside, a unit was mistaken (from memory)
LABEL_BOUNDS: dict[str, tuple[float, float]] = {
    "minimum_interval": (0.0, 2 * 366 * _DAY),
    "rainfast_time": (0.0, 7 * _DAY),
    "watering_in_depth": (0.5, 75.0),
    "watering_in_within": (0.5, 60 * _DAY),
    "wind_max": (0.5, 15.0),
    "wind_min": (0.0, 10.0),
    "gust_max": (0.5, 25.0),
    "temperature_min": (-10.0, 30.0),
    "temperature_max": (10.0, 45.0),
    "night_temperature_min": (-10.0, 25.0),
    "delta_t_max": (1.0, 25.0),
    "water_buffer": (0.0, 1000.0),
    "drift_distance": (0.0, 1000.0),
    "dry_before": (0.0, 7 * _DAY),
    "mowing_before": (0.0, 4 * _WEEK),
    "mowing_after": (0.0, 4 * _WEEK),
    "seeding_after": (0.0, 104 * _WEEK),
    "adjuvant_share": (0.0, 10.0),
    "weeks_to_effect": (0.0, 26 * _WEEK),
}

#: liquids to 5 mL/m² (16 fl oz a thousand square feet), weighed products to 100 g/m² (from memory)
_RATE_HIGH = {"volume_rate": 50.0, "mass_rate": 100.0}


def _read_rate(value: Any) -> tuple[float, str]:
    """A rate as (number, dimension): volume or mass per area, whichever the unit is."""
    from advisor.units import UnitError, parse

    if not isinstance(value, str):
        raise fault(
            f"{value} has no unit", 'write text with a unit, such as "1.5 floz/1000 ft^2" or "15 g/m^2"'
        )
    problem = None
    for dimension, high in _RATE_HIGH.items():
        try:
            number = parse(value, dimension)
        except UnitError as error:
            problem = problem or error
            continue
        if not number > 0.0:
            raise fault(f'"{value}" must be more than 0')
        if number > high:
            raise fault(f'"{value}" is not plausible as a rate', "check number and unit")
        return number, dimension
    hint = 'write it as "1.5 floz/1000 ft^2" (liquid) or "15 g/m^2" (weighed)'
    raise fault(problem.problems[0].what.replace("a volume rate", "a rate"), hint)


Rate = Annotated[tuple[float, str], BeforeValidator(_read_rate)]


def _read_strength(value: Any) -> tuple[float, str]:
    """Strength of an ingredient: g/L ("concentration"), or g/kg ("share") given as percent or g/kg."""
    from advisor.units import UnitError, parse

    if isinstance(value, str):
        try:
            return parse(value, "concentration"), "concentration"
        except UnitError as error:
            problem = error
        try:
            return parse(value.replace("%", "percent"), "percent") * 10.0, "share"
        except UnitError:
            pass
        raise fault(problem.problems[0].what, 'write "240 g/L", "2 lb/gal", "12 g/kg" or "1.2 percent"')
    raise fault(f"{value} has no unit", 'write "240 g/L", "2 lb/gal", "12 g/kg" or "1.2 percent"')


class IngredientTable(Table):
    name: Text
    acid_equivalent: Annotated[tuple[float, str], BeforeValidator(_read_strength)] | None = None
    maximum_per_year: quantity("mass_rate", None, 100.0, above=0.0) | None = None


def _drop_blank_items(value: Any) -> Any:
    """Lists lose their empty texts and empty tables, so that a template's blanks count as blank."""
    if not isinstance(value, list):
        return value
    return [
        one
        for one in value
        if not (isinstance(one, str) and not one.strip())
        and not (isinstance(one, dict) and not str(one.get("name", "?")).strip())
    ]


class _LabelWords(Table):
    product: Text = ""
    registration_number: Text = ""
    mode: choice(*MODES, what="mode") | None = None
    formulation: choice(*FORMULATIONS, what="formulation") | None = None
    active_ingredient: Annotated[list[IngredientTable], BeforeValidator(_drop_blank_items)] = []
    sites: Annotated[list[choice(*SITE_USES, what="place of use")], BeforeValidator(_drop_blank_items)] = []
    turf_species: Annotated[list[Turf], BeforeValidator(_drop_blank_items)] = []
    turf_rates: dict[str, Rate] = {}
    turf_shares: dict[str, share(above=0.0)] = {}
    stages: Annotated[list[choice(*STAGES, what="growth stage")], BeforeValidator(_drop_blank_items)] = []
    re_entry: Text = ""
    year_starts: MonthDay = (1, 1)
    volatile: bool | None = None
    root_active: bool | None = None
    restricted_use: bool | None = None
    adjuvant: choice(*ADJUVANTS, what="word on adjuvants") = "unstated"
    signal_word: Text = ""
    invented: bool = False


def _quantity_field(name: str) -> Any:
    if name in RATE_FIELDS:
        return Rate
    if name == "maximum_passes_per_year":
        return whole(1, 52)
    return quantity(LABEL_QUANTITIES[name], *LABEL_BOUNDS[name])


LabelFile: type[BaseModel] = create_model(
    "LabelFile",
    __base__=_LabelWords,
    **{name: (_quantity_field(name) | None, None) for name in LABEL_QUANTITIES},
)


def _read_duration(value: Any) -> Any:
    return {"*": value} if isinstance(value, str) else value


class TreatmentFile(Table):
    name: Text | None = None
    label: Text
    areas: Annotated[list[Text], Field(min_length=1)]
    method: choice(*METHODS, what="method") = "broadcast"
    target: Words
    life_cycle: choice(*LIFE_CYCLES, what="life cycle") | None = None
    stage: choice(*STAGES, what="growth stage") | None = None
    sprayer: Text
    passes: whole(1, 6) = 2
    duration: (
        Annotated[dict[str, quantity("time", None, 48.0, above=0.0)], BeforeValidator(_read_duration)] | None
    ) = None
    rate: Rate | None = None
    follow_up_from: quantity("time", 0.0, 366 * _DAY) | None = None
    follow_up_until: quantity("time", 0.0, 366 * _DAY) | None = None
    start_from: Day | None = None
    latest: Day | None = None
    sprayed_share: share(above=0.0) = 1.0
