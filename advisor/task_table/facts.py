"""Facts of a task and of its neighbours in plain words: what the guards of a rule may compare."""

from __future__ import annotations

from datetime import date, datetime

from advisor import lawn_work
from advisor.model import Neighbour, Task
from advisor.season import has_maximum
from advisor.warnings_in_force import asked_for

#: facts that guards may compare, and what they say
FACTS: dict[str, str] = {
    "treatment.method": "broadcast or spot",
    "treatment.mode": "foliar, soil or both",
    "target.life_cycle": "perennial, winter-annual, summer-annual or biennial",
    "season": "spring, summer, autumn or winter, by the hemisphere",
    "target.hardy_in_autumn": "yes for perennials, biennials and winter annuals in autumn, else no",
    "label.volatile": "yes or no",
    "label.root_active": "yes or no",
    "label.restricted_use": "yes or no",
    "household.for_hire": "yes or no",
    "household.warnings": "yes where official warnings are asked for and a source in use offers them, else no",
    "area.slope": "flat, gentle or steep",
    "area.turf_season": "cool-season or warm-season",
    "area.newly_seeded": "yes where the area was seeded within the last year, else no",
    "area.seeding_planned": "yes where a seeding is planned, or was and has not been answered, else no",
    "label.ingredient_maximum": "yes where a yearly maximum of an active ingredient is stated or follows, else no",
    "season.autumn": "yes in autumn, else no",
    "label.names_stages": "yes where the label names stages of the weed, else no",
    "area.green_stated": "yes where the green share of the lawn is stated, else no",
    "area.flowers_stated": "yes where it is stated whether weeds stand in flower, else no",
    "area.sensitive_near": "yes where a neighbour within 100 m is a planting, edible or vines, else no",
}
#: facts of a neighbour, and their names in `TaskTable.neighbour_facts`
NEIGHBOUR_FACTS = {
    "neighbour.kind": "kind",
    "neighbour.sensitivity": "sensitivity",
    "neighbour.drift": "drift",
}

#: what lives through the winter and stores for it; published: better control after the first frost
_HARDY = ("perennial", "biennial", "winter-annual")
#: neighbours that vapour can harm, and how far off they count [m]
_GROWING, NEAR = ("planting", "edible", "vines"), 100.0


def task_facts(task: Task, now: datetime) -> dict[str, str | None]:
    """Every one of `FACTS` for a task; None where nobody has said."""
    treatment, label, area, household = task.treatment, task.label, task.area, task.household
    today = now.astimezone(household.site.zone).date()
    season = season_of(today, household.site.latitude)
    autumn = season == "autumn"
    return {
        "treatment.method": treatment.method,
        "treatment.mode": label.mode,
        "target.life_cycle": treatment.life_cycle,
        "season": season,
        "target.hardy_in_autumn": _yes(autumn and treatment.life_cycle in _HARDY),
        "label.volatile": _yes(label.volatile),
        "label.root_active": _yes(label.root_active),
        "label.restricted_use": _yes(label.restricted_use),
        "household.for_hire": _yes(household.for_hire),
        "household.warnings": _yes(asked_for(household.settings) == "missing"),
        "area.slope": area.slope,
        "area.turf_season": area.turf_season,
        "area.newly_seeded": _yes(lawn_work.newly_seeded(area, today)),
        "area.seeding_planned": _yes(lawn_work.seeding_open(area, today)),
        "label.ingredient_maximum": _yes(has_maximum(label)),
        "season.autumn": _yes(autumn),
        "label.names_stages": _yes(bool(label.stages)),
        "area.green_stated": _yes(area.green_share is not None),
        "area.flowers_stated": _yes(area.open_flowers is not None),
        "area.sensitive_near": _yes(
            any(one.kind in _GROWING and one.distance <= NEAR for one in area.neighbours)
        ),
    }


def neighbour_facts(neighbour: Neighbour) -> dict[str, str]:
    """Every one of `NEIGHBOUR_FACTS` by its name in the table."""
    return {
        "kind": neighbour.kind,
        "sensitivity": "high" if neighbour.is_sensitive else neighbour.sensitivity,
        "drift": _yes(neighbour.is_reached_by_drift),
    }


def season_of(day: date, latitude: float) -> str:
    """Meteorological season of a day; that of the equator is the northern one."""
    month = day.month if latitude >= 0 else (day.month + 5) % 12 + 1
    return ("winter", "spring", "summer", "autumn")[month % 12 // 3]


def _yes(value: bool) -> str:
    return "yes" if value else "no"
