"""Why a quantity of a task is unknown: whose turn it is to say what, and where to write it.

A note is made whether or not the quantity is known; it is read only where it is not.
"""

from __future__ import annotations

from collections.abc import Iterator

from advisor.model import REQUIRED_LABEL_FIELDS, Area, Task
from advisor.season import planned_rate


def task_notes(task: Task) -> Iterator[tuple[str, str]]:
    """(quantity, what is missing) of a task; of two notes on one quantity the later counts."""
    yield from _water_notes(task)
    yield from _label_notes(task)
    yield from _person_notes(task)
    yield from _lawn_notes(task)


def _water_notes(task: Task) -> Iterator[tuple[str, str]]:
    area = task.area
    if area.irrigation is None:
        yield (
            "wetting",
            f'the irrigation timetable of area "{area.id}" is not stated: write irrigation = "none" or its times',
        )
    if task.household.site.soil is None:
        reason = "the soil texture of the site is not stated"
        yield "soil_stress", reason
        yield "runoff_depth", reason
    elif area.soil_state is None:
        yield (
            "soil_stress",
            f'the forecast holds too little past weather, and the soil of area "{area.id}" is not stated: '
            'look at it and write soil_state = "moist" and soil_seen = the date',
        )
    else:
        yield (
            "soil_stress",
            f'what was seen of the soil of area "{area.id}" cannot be carried through to this day',
        )
    if area.irrigation is not None:
        yield "recent_water", f"the rain of the last 24 hours is not known, and {_unseen(area)}"
    else:
        yield (
            "recent_water",
            f'the irrigation timetable of area "{area.id}" is not stated: write irrigation = "none" or its times; or '
            "look at the soil, and write soil_state, soil_seen and soil_seen_at",
        )
    if area.soil_temperature is None or area.soil_temperature_seen is None:
        yield (
            "soil_five_day_mean",
            f'five days of soil temperature are not known, and none was measured on area "{area.id}": write '
            'soil_temperature = "48 degF" and soil_temperature_seen = the date',
        )
    else:
        yield (
            "soil_five_day_mean",
            f'five days of soil temperature are not known, and that of area "{area.id}", measured on '
            f"{area.soil_temperature_seen}, counts for five days, and alone only where the weather source has no "
            "temperature of the soil",
        )


def _unseen(area: Area) -> str:
    """What of the look at the soil is missing to say that it has drained since."""
    what = f'the soil of area "{area.id}" was not seen moist or dry since'
    if area.soil_state in ("moist", "dry") and area.soil_seen is not None and area.soil_seen_at is None:
        what = (
            f'the soil of area "{area.id}" was last seen {area.soil_state} on {area.soil_seen}, at a time not stated'
        )
    return f'{what}: look at it, and write soil_state, soil_seen and soil_seen_at = "07:30"'


def _label_notes(task: Task) -> Iterator[tuple[str, str]]:
    """What the label and the ledger leave open."""
    label, site = task.label, task.household.site
    if label.blank:
        names = ", ".join(f'"{name}" ({REQUIRED_LABEL_FIELDS[name][1]})' for name in label.blank)
        yield "label_complete", f"the label file leaves blank: {names}"
    if site.use is None:
        yield "place_allowed", "the kind of place is not stated: write use in [site]"
    elif site.local_ban is None:
        yield (
            "place_allowed",
            "whether a local rule forbids the treatment is not stated: write local_ban in [site]",
        )
    else:
        yield "place_allowed", "the label file does not say where the product may be used"
    limited = [species for species in task.area.turf if species in label.turf_shares]
    if not label.turf_species:
        yield "turf_allowed", "the label file lists no turf species"
    elif limited:
        yield (
            "turf_allowed",
            f'the label limits the share of {", ".join(limited)} in the mixture, and that of area "{task.area.id}" is '
            "not stated: write turf_shares",
        )
    if planned_rate(task) is None:
        yield "product_this_year", "the label file states no rate"
        yield "product_this_pass", "the label file states no rate"
    else:
        yield (
            "product_this_year",
            "an earlier pass of this year was recorded without its amount, or was made with another product of the "
            "same active ingredient, which cannot be added up",
        )
    yield (
        "ingredient_share_this_year",
        "an earlier pass of this year was recorded without its amount, or with a product whose strength "
        "(acid_equivalent) no label file states",
    )


def _person_notes(task: Task) -> Iterator[tuple[str, str]]:
    """What the person has not said of the sprayer, the weed and their licence."""
    sprayer = task.household.sprayers[task.treatment.sprayer]
    missing = "what it held last" if sprayer.last_contents is None else "whether it was rinsed since"
    yield "sprayer_clean", f'{missing} is not stated of {sprayer.kind} "{sprayer.id}"'
    yield "at_label_stage", "the stage of the weed is not stated: write stage in the treatment"
    yield "time_to_licence_end", "until when the licence is valid is not stated: write [licence] valid_until"
    yield "certified", "no licence is stated: write [licence] certified_number for restricted products"


def _lawn_notes(task: Task) -> Iterator[tuple[str, str]]:
    """What the person has not said of mowing and seeding."""
    area = task.area
    yield "time_since_mowing", f'when area "{area.id}" was mowed last is not stated: write last_mowed'
    yield (
        "mowings_since_seeding",
        f'how often area "{area.id}" was mowed since it was seeded is not stated: write mowings_since_seeding',
    )
    yield (
        "time_to_seeding",
        f'the day on which area "{area.id}" was to be seeded is over: write seeded_on, or take seeding_planned out',
    )
