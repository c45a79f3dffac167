"""What the label lets a mix hold: its rate on this turf, its adjuvant, and what its year has left."""

from __future__ import annotations

from advisor import units
from advisor.errors import Problem
from advisor.model import REQUIRED_LABEL_FIELDS, Area, Label
from advisor.season import SeasonUse


def label_rate(label: Label, area: Area) -> tuple[float, str] | None:
    """The most that the label lets one pass put on this turf, and where that comes from; None where it is blank."""
    stated = [
        (label.limits[name], f"the label's {name.replace('_', ' ')}")
        for name in ("rate", "maximum_per_application")
        if name in label.limits
    ]
    if len(stated) < 2:
        return None
    stated += [
        (label.turf_rates[one], f"the label's rate for {one}") for one in area.turf if one in label.turf_rates
    ]
    return min(stated, key=lambda pair: pair[0])


def label_problems(label: Label, area: Area) -> list[Problem]:
    """What the label leaves blank, and the turf of the area that it does not list."""
    where, problems = label.source_file, []
    for name in label.blank:
        says = REQUIRED_LABEL_FIELDS[name][1]
        problems.append(
            Problem(f'the label file leaves "{name}" blank ({says})', where, "copy it from the label")
        )
    if "turf_species" not in label.blank:
        missing = label.unlisted(area.turf)
        if missing:
            problems.append(
                Problem(
                    f"the label does not list {', '.join(missing)}, which {area.name} holds",
                    where,
                    "another product, or no treatment of this area",
                )
            )
    return problems


def adjuvant_problems(label: Label, wanted: bool) -> list[Problem]:
    """Why an adjuvant that is wanted, or that the label requires, cannot be added."""
    if label.adjuvant == "forbidden" and wanted:
        return [Problem("the label forbids an adjuvant", label.source_file, "leave it out")]
    if label.adjuvant == "unstated" and wanted:
        return [
            Problem(
                "the label file says nothing of an adjuvant, which means none",
                label.source_file,
                'read the label; if it allows one, write adjuvant = "allowed" and adjuvant_share',
            )
        ]
    needed = label.adjuvant == "required" or (label.adjuvant == "allowed" and wanted)
    if needed and label.formulation == "granule":
        return [
            Problem(
                "an adjuvant has no place with a granule that is spread dry",
                label.source_file,
                "read the label again",
            )
        ]
    if needed and not label.limits.get("adjuvant_share", 0.0) > 0.0:
        return [
            Problem(
                "how much adjuvant the label wants is not stated",
                label.source_file,
                'copy it: adjuvant_share = "0.25 percent"',
            )
        ]
    return []


def season_problems(label: Label, rate: float, used: SeasonUse, system: str) -> list[Problem]:
    """Which of the year's totals one more pass at this rate would go beyond."""
    dimension = label.dimension_of("rate")
    problems = []
    most = label.limits.get("maximum_per_year")
    if most is not None and not used.product + rate <= most * (1.0 + 1e-6):
        past, this, limit = (units.show(one, dimension, system) for one in (used.product, rate, most))
        problems.append(
            Problem(
                f"this label year has seen {past}; {this} more would pass the label's {limit}",
                "",
                "no further pass before the next label year",
            )
        )
    for ingredient in label.active_ingredients:
        strength, limit = ingredient.acid_equivalent, ingredient.maximum_per_year
        if strength is None or limit is None:
            continue
        total = (used.product + rate) * strength / 1000.0
        if not total <= limit * (1.0 + 1e-6):
            shown, most_shown = (units.show(one, "mass_rate", system) for one in (total, limit))
            problems.append(
                Problem(
                    f"{ingredient.name} would come to {shown} in this label year; the label allows {most_shown}",
                    label.source_file,
                    "no further pass before the next label year",
                )
            )
    passes = label.limits.get("maximum_passes_per_year")
    if passes is not None and used.passes + 1 > passes:
        problems.append(
            Problem(
                f"this label year has seen {used.passes} passes, and the label allows {passes:g}",
                "",
                "no further pass before the next label year",
            )
        )
    return problems
