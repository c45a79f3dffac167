"""Checks of a treatment against its label, its areas, its sprayer and the place."""

from __future__ import annotations

from advisor.errors import did_you_mean
from advisor.household import build
from advisor.household.files import TomlFile
from advisor.household.findings import Findings
from advisor.model import Area, Label, Sprayer, label_dimension
from advisor.units import show


def check_references(
    file: TomlFile, found: Findings, labels: set[str], areas: set[str] | None, sprayers: set[str] | None
) -> bool:
    """Whether what a treatment names exists and its dates are in order; None is a set that is not known."""
    values, before = file.values, len(found.errors)
    if values.label not in labels:
        hint = did_you_mean(values.label, labels) if labels else f"write labels/{values.label}.toml"
        found.error(file, f'there is no label "{values.label}" in labels/', hint, "label")
    for index, one in enumerate(values.areas):
        if areas is not None and one not in areas:
            found.error(
                file, f'there is no area "{one}" in lawn.toml', did_you_mean(one, areas), "areas", index
            )
    for one in values.duration or {}:
        if one != "*" and one not in values.areas:
            hint = did_you_mean(one, values.areas)
            found.error(file, f'duration names "{one}", which is none of the areas', hint, "duration", one)
    if sprayers is not None and values.sprayer not in sprayers:
        hint = did_you_mean(values.sprayer, sprayers)
        found.error(file, f'there is no sprayer "{values.sprayer}" in lawn.toml', hint, "sprayer")
    _order(file, found)
    return len(found.errors) == before


def _order(file: TomlFile, found: Findings) -> None:
    values = file.values
    start, until = values.follow_up_from, values.follow_up_until
    if start is not None and until is not None and until < start:
        hint = "write the longer time as follow_up_until"
        found.error(file, "follow_up_until is shorter than follow_up_from", hint, "follow_up_until")
    if values.start_from and values.latest and values.latest < values.start_from:
        what = f"latest {values.latest} lies before start_from {values.start_from}"
        found.error(file, what, "check the two dates", "latest")


def check_label_limits(file: TomlFile, label: Label, found: Findings) -> None:
    """The treatment's own rate, interval and passes against the label."""
    values, limits = file.values, label.limits
    dimension = label_dimension("rate", label.formulation)
    if values.rate is not None and values.rate[1] != dimension:
        what = f'`rate` is not a {dimension.replace("_", " ")}, as the rate of label "{label.id}" is'
        found.error(file, what, "leave rate out to use the label's", "rate")
    elif values.rate is not None:
        for name in ("rate", "maximum_per_application"):
            if name in limits and values.rate[0] > limits[name] * (1.0 + 1e-9):
                what = (
                    f"rate {show(values.rate[0], dimension, found.units)} is more than the label's "
                    f"{name} {show(limits[name], dimension, found.units)}"
                )
                found.error(
                    file, what, "the label is the law: lower it, or leave it out to use the label's", "rate"
                )
                break
    _follow_up(file, label, found)
    rate = values.rate[0] if values.rate else limits.get("rate")
    most = limits.get("maximum_passes_per_year")
    if most is not None and values.passes > most:
        what = f"{values.passes} passes are wanted, but the label allows {most:g} a year"
        found.warn(file, what, "the rest will be refused until the next label year", "passes")
    elif rate is not None and rate * values.passes > limits.get("maximum_per_year", float("inf")) * (
        1.0 + 1e-9
    ):
        what = (
            f"{values.passes} passes at {show(rate, dimension, found.units)} come to more than the label's "
            f"{show(limits['maximum_per_year'], dimension, found.units)} a year"
        )
        found.warn(file, what, "the rest will be refused until the next label year", "passes")
    if label.stages and values.stage is not None and values.stage not in label.stages:
        what = f'the weed\'s stage "{values.stage}" is none that the label names: {", ".join(label.stages)}'
        found.warn(file, what, "", "stage")


def _follow_up(file: TomlFile, label: Label, found: Findings) -> None:
    interval = label.limits.get("minimum_interval")
    if interval is None or file.values.passes < 2:
        return
    for name in ("follow_up_from", "follow_up_until"):
        value = getattr(file.values, name)
        if value is not None and value < interval * (1.0 - 1e-9):
            stated, least = show(value, "time", found.units), show(interval, "time", found.units)
            what = f"{name} {stated} is shorter than the label's minimum interval of {least}"
            found.error(file, what, f'write {name} = "{interval / 24:g} days" or more', name)


def _sensitive_turf(file: TomlFile, label: Label, area: Area, found: Findings) -> None:
    """A stated rate must keep to the lower rates that the label gives for some turf."""
    rate = file.values.rate
    for species in area.turf:
        most = label.turf_rates.get(species)
        if rate is not None and most is not None and rate[0] > most * (1.0 + 1e-9):
            dimension = label_dimension("rate", label.formulation)
            stated, least = show(rate[0], dimension, found.units), show(most, dimension, found.units)
            what = f'rate {stated} is more than the label allows on {species} of area "{area.id}": {least}'
            found.error(file, what, "lower it, or treat this area on its own", "rate")


def check_places(
    file: TomlFile, label: Label, areas: dict[str, Area], sprayer: Sprayer, use: str | None, found: Findings
) -> None:
    """Duration, turf, place of use and the right kind of sprayer."""
    values = file.values
    for index, one in enumerate(values.areas):
        area = areas[one]
        if build.duration_of(values, area, sprayer) is None:
            what = f'how long area "{one}" takes: neither `duration` nor work_rate of "{sprayer.id}" is given'
            hint = 'write duration = "40 min" in this file, or work_rate = "9000 ft^2/h" in lawn.toml'
            found.error(file, what, hint, "areas", index)
        missing = [species for species in area.turf if species not in label.turf_species]
        _sensitive_turf(file, label, area, found)
        if label.turf_species and missing:
            what = f'area "{one}" has {", ".join(missing)}, which label "{label.id}" does not list'
            found.warn(file, what, "check turf_species against the label", "areas", index)
    if use is not None and label.sites and use not in label.sites:
        what = f'the place is a {use}, which label "{label.id}" does not list: no start can go'
        found.warn(file, what, "check sites against the label, or use in [site]", "label")
    wanted = "spreader" if label.formulation == "granule" else "sprayer"
    if sprayer.kind != wanted:
        what = f'"{sprayer.id}" is a {sprayer.kind}; the {label.formulation} of "{label.id}" needs a {wanted}'
        found.error(file, what, f'name a {wanted} of lawn.toml (kind = "{wanted}")', "sprayer")
