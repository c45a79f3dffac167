"""Numbers of a task that do not change with the hour: from the label, the ledger, the turf and the soil.

Of a truth, 1 is yes and 0 is no. What nobody has said is NaN, or absent from what a function here returns.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

import numpy as np

from advisor import lawn_work
from advisor.model import Area, Household, Label, Record, Sprayer, Task
from advisor.season import (
    ingredient_totals,
    label_year,
    planned_rate,
    records_of_year,
    worst_share,
)
from advisor.soil.runoff import turf_curve_number
from advisor.soil.texture import soil_texture
from advisor.soil.water import TURF_DEPLETION_FRACTION, total_available_water, turf_coefficient

#: every number of `TaskTable.scalars`, and what it is; days are counted from 1970-01-01
SCALARS: dict[str, str] = {
    "pass_number": "which pass of the sequence this is",
    "passes_this_year": "in the label's year, this one included",
    "product_this_year": "[mL/m² or g/m²] put down in the label's year, this pass included",
    "product_this_pass": "[mL/m² or g/m²]",
    "ingredient_share_this_year": "[%] of the yearly maximum of the active ingredient nearest it, this pass included",
    "label_complete": "1 where no required field is blank",
    "place_allowed": "1 where the label names the kind of place and no local rule closes it",
    "certified": "1 where a certified applicator's number is stated",
    "sprayer_clean": "1 where the last contents are known and harmless or rinsed out",
    "at_label_stage": "1 where the weed stands at a stage that the label names",
    "turf_allowed": "1 where the label lists every species of the area",
    "turf_active": "1 where the turf grows and is not under stress",
    "mowings_since_seeding": "infinite on turf that is not new",
    "green_share": "share of the lawn that is green",
    "no_open_flowers": "1 where no weeds or clover stand in flower",
    "crop_coefficient": "of the turf, FAO-56",
    "depletion_share": "part of the available water that the turf takes freely, FAO-56 table 22",
    "available_water": "[mm] that the root zone can hold",
    "curve_number": "of the turf on its soil",
    "stated_depletion": "[mm] gone from the root zone on `stated_day`",
    "stated_day": "on which the soil's water was last known",
    "measured_soil_temperature": "[degC] five-day mean that the person measured",
    "measured_soil_day": "on which that was",
}

#: part of the readily available water that is gone, by what the person saw of the soil (common practice, no source)
STATED_DEPLETION = {"wet": 0.0, "moist": 0.5, "dry": 2.0}
#: the most of the available water that a look at dry soil stands for (common practice, no source)
MOST_STATED_DEPLETION = 0.9
#: what a sprayer can have held that harms nothing
_HARMLESS = ("", "none", "nothing", "water")
_EPOCH = date(1970, 1, 1)


def task_scalars(task: Task, records: Sequence[Record], now: datetime) -> dict[str, float]:
    """The `SCALARS` of a task as the ledger stands at `now`; those that nobody has said are NaN or absent."""
    household, area, label = task.household, task.area, task.label
    today = now.astimezone(household.site.zone).date()
    return {
        **_totals(task, records, now),
        "pass_number": float(task.pass_number),
        "label_complete": np.nan if label.blank else 1.0,
        "place_allowed": _place_allowed(task),
        "certified": _certified(household),
        "sprayer_clean": _sprayer_clean(household.sprayers[task.treatment.sprayer], label),
        "at_label_stage": float(task.treatment.stage in label.stages) if task.treatment.stage else np.nan,
        "turf_allowed": _turf_allowed(area, label),
        "turf_active": float(area.turf_state == "active"),
        "mowings_since_seeding": lawn_work.mowings_since_seeding(area, today),
        "green_share": np.nan if area.green_share is None else area.green_share,
        "no_open_flowers": np.nan if area.open_flowers is None else float(not area.open_flowers),
        **_soil_measured(area, today),
        **_soil_water(area, household.site.soil, today),
    }


def _totals(task: Task, records: Sequence[Record], now: datetime) -> dict[str, float]:
    """What the label's year has seen, the pass to come included."""
    this_year = records_of_year(task, records, label_year(task, now))
    rate = planned_rate(task)
    planned = np.nan if rate is None else rate
    return {
        "passes_this_year": float(len(this_year) + 1),
        "product_this_year": float(np.sum([_put_down(task.label, record) for record in this_year]) + planned),
        "product_this_pass": planned,
        "ingredient_share_this_year": 100.0 * worst_share(ingredient_totals(task, this_year, rate)),
    }


def _put_down(label: Label, record: Record) -> float:
    """Product of a recorded pass on each square metre [mL/m² or g/m²]; NaN where that cannot be told.

    A pass without its amount or size counts as the most that the label allows in one. Another product with the same
    ingredient may hold more or less of it, so the two cannot be added.
    """
    if not label.is_called(record.product):
        return np.nan
    if record.amount is None or not record.size:
        return label.limits.get("maximum_per_application", np.nan)
    return record.amount / record.size


def _place_allowed(task: Task) -> float:
    """1 where the label names the kind of place and no local ban is stated, 0 where not, NaN where nobody says."""
    site, label = task.household.site, task.label
    if site.local_ban:
        return 0.0
    if site.use is None or not label.sites:
        return np.nan
    if site.use not in label.sites:
        return 0.0
    return np.nan if site.local_ban is None else 1.0


def _certified(household: Household) -> float:
    """1 where a certified applicator's number is stated, 0 where there is a licence without one, NaN without both."""
    if household.licence is None:
        return np.nan
    return float(bool(household.licence.certified_number))


def _sprayer_clean(sprayer: Sprayer, label: Label) -> float:
    """1 where it held nothing that harms, the same product, or was rinsed; NaN where either is not stated."""
    held = sprayer.last_contents
    if held is None:
        return np.nan
    if held.strip().casefold() in _HARMLESS or label.is_called(held):
        return 1.0
    return np.nan if sprayer.rinsed is None else float(sprayer.rinsed)


def _turf_allowed(area: Area, label: Label) -> float:
    """1 where every species is listed and within its share of the mixture, 0 where not, NaN where that is not stated.

    The only species of an area is all of it.
    """
    if not label.turf_species:
        return np.nan
    if label.unlisted(area.turf):
        return 0.0
    whole = 1.0 if len(area.turf) == 1 else np.nan
    limited = [species for species in area.turf if species in label.turf_shares]
    shares = [area.turf_shares.get(species, whole) for species in limited]
    if any(share > label.turf_shares[species] + 1e-9 for species, share in zip(limited, shares, strict=True)):
        return 0.0
    return np.nan if np.isnan(shares).any() else 1.0


def _soil_measured(area: Area, today: date) -> dict[str, float]:
    """What the person measured of the soil, until today."""
    out = {}
    measured = area.soil_temperature_seen
    if area.soil_temperature is not None and measured is not None and measured <= today:
        out["measured_soil_temperature"] = area.soil_temperature
        out["measured_soil_day"] = _day_number(measured)
    return out


def _soil_water(area: Area, soil: str | None, today: date) -> dict[str, float]:
    """What the root zone holds, and how much of it was gone when that was last known."""
    freely = TURF_DEPLETION_FRACTION[area.turf_season]
    out = {"crop_coefficient": turf_coefficient(area.turf_season), "depletion_share": freely}
    if soil is None:
        return out
    texture = soil_texture(soil)
    water = float(total_available_water(texture.field_capacity, texture.wilting_point, area.rooting_depth))
    out["available_water"] = water
    out["curve_number"] = turf_curve_number(texture.hydrologic_group)
    if area.soil_state is not None and area.soil_seen is not None and area.soil_seen <= today:
        out["stated_depletion"] = (
            min(STATED_DEPLETION[area.soil_state] * freely, MOST_STATED_DEPLETION) * water
        )
        out["stated_day"] = _day_number(area.soil_seen)
    if area.soil_depletion is not None and area.soil_depletion_day is not None:
        # the end of a day is the beginning of the next; a look of that next day or later counts for more
        day = _day_number(area.soil_depletion_day) + 1.0
        if area.soil_depletion_day < today and day > out.get("stated_day", -np.inf):
            out["stated_depletion"] = min(area.soil_depletion, water)
            out["stated_day"] = day
    return out


def _day_number(day: date) -> float:
    return float((day - _EPOCH).days)
