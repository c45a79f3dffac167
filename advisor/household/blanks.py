"""What a label file leaves out: required fields by name, optional ones with what happens instead."""

from __future__ import annotations

from collections.abc import Iterable

from advisor.household import build
from advisor.household.files import TomlFile
from advisor.household.findings import Findings
from advisor.model import LABEL_QUANTITIES, REQUIRED_LABEL_FIELDS
from advisor.rulebook.schema import Rule, Setting
from advisor.units import show

_ALL, _LEAF = ("foliar", "soil", "both"), ("foliar", "both")

#: optional field -> (modes it bears on, what happens where the label does not say); where a rule takes the
#: field from the label, the rule's own default is told instead
OPTIONAL_LABEL_FIELDS: dict[str, tuple[tuple[str, ...], str]] = {
    "wind_max": (_ALL, "no limit on wind is known"),
    "wind_min": (_ALL, "no lower limit on wind is known"),
    "gust_max": (_ALL, "no limit on gusts is known"),
    "temperature_min": (_LEAF, "no lower limit on temperature is known"),
    "temperature_max": (_ALL, "no upper limit on temperature is known"),
    "night_temperature_min": (_LEAF, "no limit on the nights after is known"),
    "delta_t_max": (_LEAF, "no limit on the drying of droplets is known"),
    "water_buffer": (_ALL, "no distance to water and drains is known"),
    "drift_distance": (_LEAF, "the drift curve alone decides on neighbours"),
    "dry_before": (_LEAF, "no time of dry leaves before the work is asked for"),
    "mowing_before": (_LEAF, "the common two days without mowing before the work are advised (no source)"),
    "mowing_after": (_LEAF, "the common two days without mowing after the work are advised (no source)"),
    "seeding_after": (
        _ALL,
        "the common four weeks before seeding are advised, in soil mode no seeding (no source)",
    ),
    "maximum_passes_per_year": (_ALL, "only the amount limits the passes of a year"),
    "adjuvant": (_LEAF, "unstated means that none is mixed in"),
    "volatile": (_LEAF, "the product counts as not volatile, so vapour is not looked at"),
    "root_active": (_ALL, "the product counts as one that tree roots do not take up"),
    "restricted_use": (_ALL, "the product counts as one of general use"),
    "stages": (_ALL, "the weed's stage is not held against the label"),
    "weeks_to_effect": (_ALL, "no date to look at the result is given"),
    "signal_word": (_ALL, "no signal word is printed"),
}


def list_blanks(file: TomlFile, rules: Iterable[Rule], found: Findings) -> None:
    """Required fields that are blank, what the absence of others costs, and numbers that a rule caps."""
    values = file.values
    rules = tuple(rule for rule in rules if _may_apply(rule, values))
    for name in build.blank_fields(values):
        says = REQUIRED_LABEL_FIELDS[name][1]
        what = f"`{name}` is blank ({says}): every verdict under this label is unknown until it is filled in"
        found.warn(file, what, "copy it from the product's own label", name)
    modes = (values.mode,) if values.mode else _ALL
    for name, (bears_on, loss) in OPTIONAL_LABEL_FIELDS.items():
        if name not in values.model_fields_set and any(mode in bears_on for mode in modes):
            told = "; ".join(_instead(name, modes, rules, found.units)) or loss
            found.note(file, f"`{name}` is not stated: {told}")
    for name, setting, rule in _settings(modes, rules):
        _cap(file, name, setting, rule, found)
    for index, one in enumerate(values.active_ingredient):
        if one.acid_equivalent is None:
            what = f'acid_equivalent of "{one.name}" is not stated: products that share it cannot be added up'
            found.note(file, what, "", "active_ingredient", index)


def _may_apply(rule: Rule, values) -> bool:
    """False where a guard asks for a property of the label that this label does not have."""
    for guard, wanted in rule.applies.items():
        kind, _, name = guard.partition(".")
        if kind == "label" and bool(getattr(values, name, None)) != (wanted == "yes"):
            return False
    return True


def _settings(modes: tuple[str, ...], rules: tuple[Rule, ...]):
    """Every (label field, setting, rule) by which a rule takes a number from the label."""
    for rule in rules:
        if any(mode in rule.modes for mode in modes):
            for setting in (rule.at_most, rule.at_least, rule.measure.length):
                if setting is not None and setting.label:
                    yield setting.label, setting, rule


def _instead(name: str, modes: tuple[str, ...], rules: tuple[Rule, ...], units: str) -> list[str]:
    told = []
    for label_field, setting, rule in _settings(modes, rules):
        if label_field != name:
            continue
        if setting.default is not None:
            told.append(
                f"rule {rule.id} holds with its own {show(setting.default, LABEL_QUANTITIES[name], units)}"
            )
        elif rule.missing_label == "not-applicable":
            told.append(f"rule {rule.id} does not apply")
    return told


def _cap(file: TomlFile, name: str, setting: Setting, rule: Rule, found: Findings) -> None:
    """Say where the label is looser than a rule lets it be."""
    stated = getattr(file.values, name, None)
    if setting.cap is None or not isinstance(stated, int | float):
        return
    upper = setting is rule.at_most
    if stated > setting.cap * (1.0 + 1e-9) if upper else stated < setting.cap * (1.0 - 1e-9):
        dimension = LABEL_QUANTITIES[name]
        what = (
            f"{name} {show(stated, dimension, found.units)} is looser than rule {rule.id} lets it be: "
            f"{show(setting.cap, dimension, found.units)} holds"
        )
        found.note(file, what, "", name)
