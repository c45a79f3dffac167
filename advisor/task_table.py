"""Many tasks as arrays (task,), so that thousands are scored like one.

A task is one treatment on one area on one pass. What a rule may ask about it stands here in SI floats and plain words;
NaN and None mean that nobody has said, and `notes` says whose turn it is to say it.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from advisor import lawn_work
from advisor.clock import to_numpy
from advisor.model import (
    LABEL_QUANTITIES,
    REQUIRED_LABEL_FIELDS,
    Area,
    Household,
    Label,
    Neighbour,
    Record,
    Task,
)
from advisor.season_totals import has_maximum, ingredient_totals, records_of_year, worst_share
from advisor.soil.runoff import turf_curve_number
from advisor.soil.texture import soil_texture
from advisor.soil.water import total_available_water, turf_coefficient
from advisor.warnings_in_force import asked_for

#: part of the readily available water that is gone, by what the person saw of the soil (common practice, no source)
STATED_DEPLETION = {"wet": 0.0, "moist": 0.5, "dry": 2.0}


@dataclass(frozen=True, eq=False)
class TaskTable:
    """Arrays over tasks.

    Attributes
    ----------
    site : ndarray of int (task,)
        Position of the task's site on the forecast's site axis.
    duration, clean_up : ndarray (task,)
        [h]
    label : mapping of str to ndarray (task,)
        Stated quantities of the label, canonical units; NaN where it does not state them.
    blank : mapping of str to ndarray of bool (task,)
        Required label fields that were left empty.
    facts : mapping of str to sequence of str or None (task,)
        What guards compare; None where not stated.
    scalars : mapping of str to ndarray (task,)
        Numbers from the ledger and the household.
    instants : mapping of str to ndarray of datetime64[s] (task,)
        Moments from the ledger and the household, NaT where there is none.
    """

    site: np.ndarray
    zone: Sequence[ZoneInfo]
    duration: np.ndarray
    clean_up: np.ndarray
    label: Mapping[str, np.ndarray]
    blank: Mapping[str, np.ndarray]
    facts: Mapping[str, Sequence[str | None]]
    scalars: Mapping[str, np.ndarray]
    instants: Mapping[str, np.ndarray]
    #: neighbours (task, slot): distance [m], bearing and arc [degrees]; `neighbour_facts` in words, "" in empty slots
    neighbours: Mapping[str, np.ndarray]
    neighbour_facts: Mapping[str, np.ndarray]
    neighbour_names: Sequence[Sequence[str]]
    #: local working hours by weekday, one mapping a task
    hours: Sequence[Mapping[int, tuple]]
    #: irrigation timetable a task; None where not stated
    irrigation: Sequence[tuple | None]
    #: why a quantity is unknown for a task, by (quantity, task)
    notes: Mapping[tuple[str, int], str] = field(default_factory=dict)
    tasks: Sequence[Task] = ()

    def __len__(self) -> int:
        return len(self.site)


def build(
    tasks: Sequence[Task], records: Sequence[Record], now: datetime, site_index: Sequence[int] | None = None
) -> TaskTable:
    """Arrays of the tasks of one or more households, as the ledger stands at `now`."""
    count = len(tasks)
    site = np.asarray(site_index if site_index is not None else np.zeros(count), dtype=int)
    notes: dict[tuple[str, int], str] = {}
    label = {name: np.full(count, np.nan) for name in LABEL_QUANTITIES}
    blank: dict[str, np.ndarray] = {}
    scalars = {name: np.full(count, np.nan) for name in _SCALARS}
    instants = {
        name: np.full(count, np.datetime64("NaT"), dtype="datetime64[s]")
        for name in ("last_pass", "latest_day_end", "licence_end", *lawn_work.INSTANTS)
    }
    facts: dict[str, list[str | None]] = {name: [None] * count for name in _FACTS}
    slots = max((len(task.area.neighbours) for task in tasks), default=0)
    neighbours = {name: np.full((count, slots), np.nan) for name in ("distance", "bearing", "arc")}
    neighbour_facts = {
        name: np.full((count, slots), "", dtype=object) for name in ("kind", "sensitivity", "drift")
    }
    for at, task in enumerate(tasks):
        for name, value in task.label.limits.items():
            label[name][at] = value
        for name in task.label.blank:
            blank.setdefault(name, np.zeros(count, dtype=bool))[at] = True
        for name, fact in task_facts(task, now).items():
            facts[name][at] = fact
        for name, value in _task_scalars(task, records, now).items():
            scalars[name][at] = value
        last = last_pass(task, records)
        if last is not None:
            instants["last_pass"][at] = to_numpy(last.ended_at or last.started_at)
        latest = latest_day(task, now)
        if latest is not None:
            instants["latest_day_end"][at] = _end_of(latest, task.household.site.zone)
        licence = task.household.licence
        if licence is not None and licence.valid_until is not None:
            instants["licence_end"][at] = _end_of(licence.valid_until, task.household.site.zone)
        for name, moment in lawn_work.lawn_instants(task.area, task.household.site.zone, now).items():
            instants[name][at] = moment
        for slot, neighbour in enumerate(task.area.neighbours):
            neighbours["distance"][at, slot] = neighbour.distance
            neighbours["bearing"][at, slot] = np.nan if neighbour.bearing is None else neighbour.bearing
            neighbours["arc"][at, slot] = neighbour.arc
            neighbour_facts["kind"][at, slot] = neighbour.kind
            vines = neighbour.kind == "vines"
            neighbour_facts["sensitivity"][at, slot] = "high" if vines else neighbour.sensitivity
            # a drain or a root zone is not reached through the air; distance rules of their own look after them
            neighbour_facts["drift"][at, slot] = "no" if neighbour.kind in ("roots", "drain") else "yes"
        notes.update({(quantity, at): text for quantity, text in _household_notes(task)})
        notes.update({(quantity, at): text for quantity, text in _lawn_notes(task)})
    return TaskTable(
        site=site,
        zone=[task.household.site.zone for task in tasks],
        duration=np.array([task.duration for task in tasks], dtype=float),
        clean_up=np.array(
            [task.household.sprayers[task.treatment.sprayer].clean_up for task in tasks], dtype=float
        ),
        label=label,
        blank=blank,
        facts=facts,
        scalars=scalars,
        instants=instants,
        neighbours=neighbours,
        neighbour_facts=neighbour_facts,
        neighbour_names=[[n.name for n in task.area.neighbours] for task in tasks],
        hours=[task.household.hours for task in tasks],
        irrigation=[task.area.irrigation for task in tasks],
        notes=notes,
        tasks=tuple(tasks),
    )


#: facts that guards may compare, and what they say
_FACTS: dict[str, str] = {
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
FACTS = _FACTS
NEIGHBOUR_FACTS = {
    "neighbour.kind": "kind",
    "neighbour.sensitivity": "sensitivity",
    "neighbour.drift": "drift",
}

_SCALARS = (
    "pass_number",
    "passes_this_year",
    "product_this_year",
    "product_this_pass",
    "ingredient_share_this_year",
    "mowings_since_seeding",
    "turf_allowed",
    "turf_active",
    "label_complete",
    "place_allowed",
    "sprayer_clean",
    "available_water",
    "crop_coefficient",
    "depletion_share",
    "curve_number",
    "stated_depletion",
    "stated_day",
    "green_share",
    "at_label_stage",
    "no_open_flowers",
    "certified",
    "seen_drained_day",
    "measured_soil_temperature",
    "measured_soil_day",
)


def season(day: date, latitude: float) -> str:
    """Meteorological season of a day."""
    month = (day.month + (0 if latitude >= 0 else 6) - 1) % 12 + 1
    return {12: "winter", 1: "winter", 2: "winter", 3: "spring", 4: "spring", 5: "spring",
            6: "summer", 7: "summer", 8: "summer"}.get(month, "autumn")  # fmt: skip


def task_facts(task: Task, now: datetime) -> dict[str, str | None]:
    def yes(value: bool) -> str:
        return "yes" if value else "no"

    treatment, label, site = task.treatment, task.label, task.household.site
    today = now.astimezone(site.zone).date()
    now_season = season(today, site.latitude)
    hardy = treatment.life_cycle in ("perennial", "biennial", "winter-annual") and now_season == "autumn"
    return {
        "treatment.method": treatment.method,
        "treatment.mode": label.mode,
        "target.life_cycle": treatment.life_cycle,
        "season": now_season,
        "target.hardy_in_autumn": yes(hardy) if treatment.life_cycle else "no",
        "label.volatile": yes(label.volatile),
        "label.root_active": yes(label.root_active),
        "label.restricted_use": yes(label.restricted_use),
        "household.for_hire": yes(task.household.for_hire),
        "household.warnings": yes(asked_for(task.household.settings) == "missing"),
        "area.slope": task.area.slope,
        "area.turf_season": task.area.turf_season,
        "area.newly_seeded": yes(lawn_work.newly_seeded(task.area, today)),
        "area.seeding_planned": yes(lawn_work.seeding_open(task.area, today)),
        "label.ingredient_maximum": yes(has_maximum(label)),
        "season.autumn": yes(now_season == "autumn"),
        "label.names_stages": yes(bool(label.stages)),
        "area.green_stated": yes(task.area.green_share is not None),
        "area.flowers_stated": yes(task.area.open_flowers is not None),
        "area.sensitive_near": yes(any(_grows(n) and n.distance <= 100.0 for n in task.area.neighbours)),
    }


def _grows(neighbour: Neighbour) -> bool:
    return neighbour.kind in ("planting", "edible", "vines")


def same_ingredient(task: Task, record: Record) -> bool:
    ours = {ingredient.name.casefold() for ingredient in task.label.active_ingredients}
    return record.area == task.area.id and bool(
        ours & {name.casefold() for name in record.active_ingredients}
    )


def last_pass(task: Task, records: Sequence[Record]) -> Record | None:
    """The newest record on this area with an active ingredient of this label, whatever the treatment was called."""
    matching = [record for record in records if same_ingredient(task, record)]
    return max(matching, key=lambda record: record.ended_at or record.started_at, default=None)


def _end_of(day: date, zone: ZoneInfo) -> np.datetime64:
    """The last second of a local day."""
    return to_numpy(datetime(day.year, day.month, day.day, 23, 59, 59, tzinfo=zone))


def label_year(task: Task, now: datetime) -> tuple[date, date]:
    """[first, next first) day of the label's year that holds `now`."""
    today = now.astimezone(task.household.site.zone).date()
    month, day = getattr(task.label, "year_starts", (1, 1))
    first = _day_of(today.year, month, day)
    if today < first:
        first = _day_of(today.year - 1, month, day)
    return first, _day_of(first.year + 1, month, day)


def _day_of(year: int, month: int, day: int) -> date:
    """A calendar day that recurs each year; 29 February is the 28th in common years."""
    return date(year, month, min(day, monthrange(year, month)[1]))


def latest_day(task: Task, now: datetime) -> date | None:
    """The last sensible day: the treatment's own, else four weeks after the site's mean first frost."""
    if task.treatment.latest is not None:
        return task.treatment.latest
    frost = task.household.site.first_frost
    if frost is None:
        return None
    today = now.astimezone(task.household.site.zone).date()
    latest = _day_of(today.year, *frost) + timedelta(days=28)
    # In the months after the year's last day the next frost is the one that counts.
    return latest if (today - latest).days < 120 else _day_of(today.year + 1, *frost) + timedelta(days=28)


def planned_rate(task: Task) -> float | None:
    """The treatment's own rate, else the label's [mL/m² or g/m²]."""
    return task.treatment.rate if task.treatment.rate is not None else task.label.limits.get("rate")


def _task_scalars(task: Task, records: Sequence[Record], now: datetime) -> dict[str, float]:
    household, area, label = task.household, task.area, task.label
    zone = household.site.zone
    first, following = label_year(task, now)
    this_year = records_of_year(task, records, (first, following))
    amounts = [_put_down(label, record) for record in this_year]
    rate = planned_rate(task)
    planned = np.nan if rate is None else rate
    listed = {name.casefold() for name in label.turf_species}
    allowed = bool(listed) and all(species.casefold() in listed for species in area.turf)
    sprayer = household.sprayers[task.treatment.sprayer]
    clean = np.nan
    if sprayer.last_contents is not None:
        harmless = sprayer.last_contents.strip().casefold() in ("", "none", "nothing", "water")
        same = sprayer.last_contents.strip().casefold() == label.product.strip().casefold()
        clean = 1.0 if harmless or same else np.nan if sprayer.rinsed is None else float(sprayer.rinsed)
    totals = ingredient_totals(task, this_year, rate)
    out = {
        "ingredient_share_this_year": 100.0 * worst_share(totals),
        "mowings_since_seeding": lawn_work.mowings_since_seeding(area, now.astimezone(zone).date()),
        "pass_number": float(task.pass_number),
        "passes_this_year": float(len(this_year) + 1),
        "product_this_year": float(np.sum(amounts) + planned),
        "product_this_pass": planned,
        "turf_allowed": np.nan if not label.turf_species else _turf_allowed(allowed, area, label),
        "turf_active": float(area.turf_state == "active"),
        "label_complete": np.nan if label.blank else 1.0,
        "place_allowed": _place_allowed(task),
        "sprayer_clean": clean,
        "green_share": np.nan if area.green_share is None else area.green_share,
        "at_label_stage": float(task.treatment.stage in label.stages) if task.treatment.stage else np.nan,
        "no_open_flowers": np.nan if area.open_flowers is None else float(not area.open_flowers),
        "certified": _certified(household),
        "crop_coefficient": turf_coefficient(area.turf_season),
        "depletion_share": 0.40 if area.turf_season == "cool-season" else 0.50,
    }
    today = now.astimezone(zone).date()
    if area.soil_temperature is not None and area.soil_temperature_seen is not None:
        if area.soil_temperature_seen <= today:
            out["measured_soil_temperature"] = area.soil_temperature
            out["measured_soil_day"] = float((area.soil_temperature_seen - date(1970, 1, 1)).days)
    if area.soil_state in ("moist", "dry") and area.soil_seen is not None and area.soil_seen <= today:
        out["seen_drained_day"] = float((area.soil_seen - date(1970, 1, 1)).days)
    if household.site.soil is not None:
        texture = soil_texture(household.site.soil)
        water = total_available_water(texture.field_capacity, texture.wilting_point, area.rooting_depth)
        out["available_water"] = float(water)
        out["curve_number"] = turf_curve_number(texture.hydrologic_group)
        if area.soil_state is not None and area.soil_seen is not None and area.soil_seen <= today:
            share = min(STATED_DEPLETION[area.soil_state] * out["depletion_share"], 0.9)
            out["stated_depletion"] = share * float(water)
            out["stated_day"] = float((area.soil_seen - date(1970, 1, 1)).days)
        if area.soil_depletion is not None and area.soil_depletion_day is not None:
            # the end of a day is the beginning of the next; a look of that next day or later counts for more
            day = float((area.soil_depletion_day - date(1970, 1, 1)).days) + 1.0
            if area.soil_depletion_day < today and not day <= out.get("stated_day", -np.inf):
                out["stated_depletion"] = min(area.soil_depletion, float(water))
                out["stated_day"] = day
    return out


def _put_down(label: Label, record: Record) -> float:
    """Product of a recorded pass on each square metre [mL/m² or g/m²]; NaN where that cannot be told.

    A pass without its amount or size counts as the most that the label allows in one. Another product with the same
    ingredient may hold more or less of it, so the two cannot be added.
    """
    if record.product.strip().casefold() != label.product.strip().casefold():
        return np.nan
    if record.amount is None or not record.size:
        return label.limits.get("maximum_per_application", np.nan)
    return record.amount / record.size


def _certified(household: Household) -> float:
    """1 where a certified applicator's number is stated, 0 where there is a licence without one, NaN without both."""
    if household.licence is None:
        return np.nan
    return float(bool(household.licence.certified_number))


def _turf_allowed(listed: bool, area: Area, label: Label) -> float:
    """1 where every species is listed and within its share of the mixture, 0 where not, NaN where none is stated.

    The only species of an area is all of it.
    """
    if not listed:
        return 0.0
    shares = {species: area.turf_shares.get(species, 1.0 if len(area.turf) == 1 else np.nan) for species in area.turf}
    limits = [(shares[species], label.turf_shares[species]) for species in area.turf if species in label.turf_shares]
    if any(share > limit + 1e-9 for share, limit in limits):
        return 0.0
    return np.nan if any(np.isnan(share) for share, _ in limits) else 1.0


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


def _household_notes(task: Task):
    area, household, label = task.area, task.household, task.label
    if area.irrigation is None:
        yield (
            "wetting",
            f'the irrigation timetable of area "{area.id}" is not stated: write irrigation = "none" or its times',
        )
    if household.site.soil is None:
        reason = "the soil texture of the site is not stated"
        yield "soil_stress", reason
        yield "runoff_depth", reason
    elif area.soil_state is None:
        yield (
            "soil_stress",
            (
                f'the forecast holds too little past weather, and the soil of area "{area.id}" is not stated: '
                'look at it and write soil_state = "moist" and soil_seen = the date'
            ),
        )
    else:
        yield (
            "soil_stress",
            f'what was seen of the soil of area "{area.id}" cannot be carried through to this day',
        )
    if label.blank:
        names = ", ".join(f'"{name}" ({REQUIRED_LABEL_FIELDS[name][1]})' for name in label.blank)
        yield "label_complete", f"the label file leaves blank: {names}"
    if household.site.use is None:
        yield "place_allowed", "the kind of place is not stated: write use in [site]"
    elif household.site.local_ban is None:
        yield (
            "place_allowed",
            "whether a local rule forbids the treatment is not stated: write local_ban in [site]",
        )
    else:
        yield "place_allowed", "the label file does not say where the product may be used"
    if not label.turf_species:
        yield "turf_allowed", "the label file lists no turf species"
    limited = [species for species in area.turf if species in label.turf_shares]
    if label.turf_species and limited:
        yield (
            "turf_allowed",
            f'the label limits the share of {", ".join(limited)} in the mixture, and that of area "{area.id}" is not '
            "stated: write turf_shares",
        )
    sprayer = household.sprayers[task.treatment.sprayer]
    missing = "what it held last" if sprayer.last_contents is None else "whether it was rinsed since"
    yield "sprayer_clean", f'{missing} is not stated of {sprayer.kind} "{sprayer.id}"'
    if planned_rate(task) is None:
        yield "product_this_year", "the label file states no rate"
        yield "product_this_pass", "the label file states no rate"
    else:
        yield (
            "product_this_year",
            "an earlier pass of this year was recorded without its amount, or was made with another product of the "
            "same active ingredient, which cannot be added up",
        )


def _lawn_notes(task: Task):
    area = task.area
    yield "time_to_licence_end", "until when the licence is valid is not stated: write [licence] valid_until"
    yield "certified", "no licence is stated: write [licence] certified_number for restricted products"
    yield "at_label_stage", "the stage of the weed is not stated: write stage in the treatment"
    yield (
        "recent_water",
        f'the rain of the last 24 hours is not known, and the soil of area "{area.id}" was not looked at since: '
        "write soil_state and soil_seen",
    )
    yield (
        "soil_five_day_mean",
        f'five days of soil temperature are not known, and none was measured on area "{area.id}" lately: write '
        'soil_temperature = "48 degF" and soil_temperature_seen = the date',
    )
    yield (
        "time_since_mowing",
        f'when area "{area.id}" was mowed last is not stated: write last_mowed',
    )
    yield (
        "mowings_since_seeding",
        f'how often area "{area.id}" was mowed since it was seeded is not stated: write mowings_since_seeding',
    )
    yield (
        "time_to_seeding",
        f'the day on which area "{area.id}" was to be seeded is over: write seeded_on, or take seeding_planned out',
    )
    yield (
        "ingredient_share_this_year",
        "an earlier pass of this year was recorded without its amount, or with a product whose strength "
        "(acid_equivalent) no label file states",
    )


def day_number(days: np.ndarray) -> np.ndarray:
    """Calendar days as floats since 1970-01-01."""
    return days.astype("datetime64[D]").astype(float)
