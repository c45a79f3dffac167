"""What `advisor check` says of a folder: what is wrong, doubtful or left out, and what was understood."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from advisor.errors import Problem
from advisor.model import Area, Household, Label, Sprayer, Treatment, label_dimension
from advisor.units import conversion, show


@dataclass(frozen=True, slots=True)
class CheckReport:
    """Problems by weight, and the household in lines of text.

    `errors` keep the household from loading; `warnings` name blank required label fields and doubtful
    entries; `notes` name what is not stated and what happens instead. With errors, `household` is None.
    """

    errors: tuple[Problem, ...]
    warnings: tuple[Problem, ...]
    notes: tuple[Problem, ...]
    understood: tuple[str, ...]
    household: Household | None

    @property
    def ok(self) -> bool:
        return not self.errors


def check(folder: Path | str, *, now: datetime | None = None) -> CheckReport:
    """Read a household's folder and tell everything there is to tell; never raises for its contents."""
    from advisor.household.blanks import list_blanks
    from advisor.household.check_lawn import check_zone
    from advisor.household.reader import read
    from advisor.rule_files import load_rules

    reading, rules = read(folder, now=now), load_rules()
    for file in reading.labels.values():
        if file.values is not None:
            list_blanks(file, rules, reading.found)
    if reading.lawn.values is not None:
        check_zone(reading.lawn, reading.found)
    return CheckReport(
        errors=tuple(reading.found.errors),
        warnings=tuple(sorted(reading.found.warnings, key=_place)),
        notes=tuple(sorted(reading.found.notes, key=_place)),
        understood=tuple(understood(reading.household)) if reading.household else (),
        household=reading.household,
    )


def _place(problem: Problem) -> tuple[str, int]:
    name, _, line = problem.where.rpartition(":")
    return (name, int(line)) if line.isdigit() else (problem.where, 0)


def understood(household: Household) -> list[str]:
    """The household in a few lines, in its own units."""
    site, units = household.site, household.units
    lines = [
        f"{household.name}: {_degrees(site.latitude, 'NS')}, {_degrees(site.longitude, 'EW')}, "
        f"clock {site.zone.key}, {'US' if units == 'us' else 'metric'} units"
    ]
    lines += [_area_line(area, units) for area in household.areas.values()]
    for sprayer in household.sprayers.values():
        lines.append(f"{sprayer.kind} {sprayer.id}: holds {_tank(sprayer, units)}")
    lines += [_label_line(label, units) for label in household.labels.values()]
    lines += [_treatment_line(treatment) for treatment in household.treatments.values()]
    if household.history:
        last = household.history[-1].started_at.astimezone(site.zone)
        lines.append(
            f"history: {_many(len(household.history), 'pass', 'passes')}, the last on {last:%Y-%m-%d}"
        )
    return lines


def _tank(sprayer: Sprayer, units: str) -> str:
    """In units of a tank, which are larger than those of a dose."""
    dimension = "mass" if sprayer.kind == "spreader" else "volume"
    unit = {"volume": ("L", "gal"), "mass": ("kg", "lb")}[dimension][units == "us"]
    return f"{sprayer.tank / conversion(unit, dimension)[0]:.3g} {unit}"


def _degrees(value: float, halves: str) -> str:
    return f"{abs(value):g}° {halves[value < 0.0]}"


def _many(count: int, one: str, more: str) -> str:
    return f"{count} {one if count == 1 else more}"


def _area_line(area: Area, units: str) -> str:
    if area.irrigation is None:
        water = "irrigation not stated"
    elif not area.irrigation:
        water = "not irrigated"
    else:
        water = _many(
            sum(len(one.weekdays) for one in area.irrigation), "watering a week", "waterings a week"
        )
    beside = _many(len(area.neighbours), "neighbour", "neighbours") if area.neighbours else "no neighbours"
    return f"area {area.id}: {show(area.size, 'area', units)} of {', '.join(area.turf)}, {water}, {beside}"


def _label_line(label: Label, units: str) -> str:
    if "mode" in label.blank:
        blank = _many(len(label.blank), "required field", "required fields")
        return f"label {label.id}: mode blank, {blank} blank"
    parts = [f"{label.mode} mode"]
    for name, says in (("rate", "rate"), ("minimum_interval", "interval"), ("rainfast_time", "rainfast")):
        if name in label.limits:
            parts.append(
                f"{says} {show(label.limits[name], label_dimension(name, label.formulation), units)}"
            )
    if label.blank:
        parts.append("blank: " + ", ".join(label.blank))
    return f"label {label.id}: {', '.join(parts)}"


def _treatment_line(treatment: Treatment) -> str:
    minutes = ", ".join(f"{area} {hours * 60:.0f} min" for area, hours in treatment.duration.items())
    passes = _many(treatment.passes, "pass", "passes")
    return f"treatment {treatment.id}: {treatment.target}; {passes} under {treatment.label}; {minutes}"
