"""Invented households for the planner: one area, one sprayer, one product, changed a field at a time."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

from advisor.mix import conversions as unit
from advisor.model import (
    DEFAULT_FLOORS,
    ActiveIngredient,
    Area,
    Household,
    Label,
    NoticePlan,
    Settings,
    Site,
    Sprayer,
    Treatment,
)

FT2 = unit.SQUARE_FOOT_M2
KFT2 = 1000.0 * FT2
FLOZ, GAL = unit.FLUID_OUNCE_ML, unit.GALLON_L * 1000.0

LABEL = Label(
    "demo", "Demo Product", "DEMO-9", "foliar", (ActiveIngredient("exemplic acid", 240.0),), ("home-lawn",),
    ("Kentucky bluegrass", "fine fescue"), "when dry",
    {
        "rate": 1.5 * FLOZ / KFT2, "maximum_per_application": 1.5 * FLOZ / KFT2,
        "maximum_per_year": 3.0 * FLOZ / KFT2, "maximum_passes_per_year": 2.0, "minimum_interval": 336.0,
        "rainfast_time": 6.0,
    },
    invented=True,
)  # fmt: skip
AREA = Area("front", "front lawn", 3200.0 * FT2, ("Kentucky bluegrass",), "cool-season")
SPRAYER = Sprayer(
    "knapsack", "knapsack", 4.0 * GAL, "measuring cylinder, steps of 0.1 fl oz", GAL / 1000.0 / KFT2
)
TREATMENT = Treatment(
    "weeds", "Weeds", "demo", ("front",), "broadcast", "dandelion", "perennial", "vegetative", "knapsack", 2,
    {"front": 0.4}, None,
)  # fmt: skip


def household(
    label: dict | None = None,
    area: dict | None = None,
    sprayer: dict | None = None,
    treatment: dict | None = None,
    limits: dict | None = None,
) -> Household:
    """The household with other values; a limit of None is left blank."""
    kept = {name: value for name, value in {**LABEL.limits, **(limits or {})}.items() if value is not None}
    changed_label = replace(LABEL, limits=kept, **(label or {}))
    changed_area = replace(AREA, **(area or {}))
    return Household(
        "Demo", "us", Site("Demo", 41.6, -93.6, ZoneInfo("America/Chicago")), {changed_area.id: changed_area},
        {"knapsack": replace(SPRAYER, **(sprayer or {}))}, {"demo": changed_label},
        {"weeds": replace(TREATMENT, **(treatment or {}))}, {}, NoticePlan(), Settings(DEFAULT_FLOORS),
    )  # fmt: skip


def parts(home: Household):
    """(household, treatment, area), as the planner takes them."""
    return home, home.treatments["weeds"], next(iter(home.areas.values()))
