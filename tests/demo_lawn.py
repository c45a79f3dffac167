"""The demonstration household with another ledger, other labels or other wishes: an invention, like all of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from advisor.household import load
from advisor.model import Household, PlanEntry, Record, Task

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
TREATMENT = "broadleaf-autumn"
#: 1.5 fl oz over 1,000 square feet of it [mL/m²], 2 lb/gal [g/L]: NIST SP 811 factors, from memory
RATE = 1.5 * 29.5735295625 / 92.90304
STRENGTH = 2 * 453.59237 / 3.785411784


def lawn(**changes) -> Household:
    """`label`, `treatment`, `front`, `back` and `site` hold the fields to replace."""
    household = load(FIXTURES / "prairie-lawn", now=NOW)
    label = household.labels["broadleaf-concentrate"]
    treatment = household.treatments[TREATMENT]
    limits = {**label.limits, **changes.get("limits", {})}
    limits = {name: value for name, value in limits.items() if value is not None}
    label = replace(label, **{"limits": limits, **changes.get("label", {})})
    areas = {name: replace(area, **changes.get(name, {})) for name, area in household.areas.items()}
    settings = replace(household.settings, horizon_hours=48.0, floors={}, assumed_members=0, cost_of_waiting=None,
                       cost_of_failure=None)  # fmt: skip
    return replace(
        household,
        settings=settings,
        site=replace(household.site, **changes.get("site", {})),
        labels={label.id: label, **changes.get("labels", {})},
        treatments={TREATMENT: replace(treatment, **changes.get("treatment", {}))},
        areas=areas,
    )


def task(household: Household, area: str = "front", number: int = 1, done=(), plan=None) -> Task:
    treatment = household.treatments[TREATMENT]
    return Task(
        household, treatment, household.areas[area], household.labels[treatment.label], number, tuple(done), plan
    )


def record(started_at: datetime, area: str = "front", **changes) -> Record:
    """A pass at the label's rate on 300 m²."""
    given = {
        "area": area, "treatment": TREATMENT, "product": "Demo Broadleaf Concentrate",
        "active_ingredients": ("exemplic acid", "samplopyr"), "started_at": started_at,
        "ended_at": started_at + timedelta(minutes=30), "amount": RATE * 300.0, "size": 300.0,
    }  # fmt: skip
    return Record(**{**given, **changes})


def choice(kind: str, day, made_at: datetime, area: str = "front") -> PlanEntry:
    return PlanEntry(TREATMENT, area, kind, day, made_at)
