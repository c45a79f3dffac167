"""What a day would be under another limit: a question, never a setting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from advisor import units
from advisor.errors import UsageError, did_you_mean
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Rule, Setting


@dataclass(frozen=True, slots=True)
class Trial:
    """The rules with one limit replaced. `warning` says what forbids it where it loosens a safety or label rule."""

    rules: tuple[Rule, ...]
    says: str
    warning: str = ""


def try_limit(
    rules: Mapping[str, Rule], text: str, system: str, label_limits: Mapping[str, float] | None = None
) -> Trial:
    """Read "nights=38 degF" and put that limit in the place of the rule's own.

    Raises
    ------
    UsageError
        When it does not name a rule, or the value is of the wrong dimension, or the rule has no single limit.
    """
    rule_id, equals, value = (part.strip() for part in text.partition("="))
    if not equals or not value:
        raise UsageError(f'--try "{text}" names no limit', hint='write it like "nights=38 degF"')
    if rule_id not in rules:
        raise UsageError(f'there is no rule "{rule_id}"', hint=did_you_mean(rule_id, rules))
    rule = rules[rule_id]
    sides = [side for side in ("at_least", "at_most") if getattr(rule, side) is not None]
    dimension = QUANTITIES[rule.measure.quantity].dimension
    if len(sides) != 1 or dimension in ("truth", "application_rate"):
        raise UsageError(
            f'rule "{rule_id}" has no single number as its limit', hint=f"advisor rules show {rule_id}"
        )
    try:
        number = units.parse(value, dimension)
    except units.UnitError as error:
        raise UsageError(f"--try: {error.what}", hint=error.hint) from error
    side = sides[0]
    tried = replace(rule, **{side: Setting(number)})
    before = _in_force(getattr(rule, side), label_limits or {}, side)
    shown = units.show(number, dimension, system)
    word = "at least" if side == "at_least" else "at most"
    says = (
        f"Tried with {rule.title.lower()} {word} {shown} instead of {units.show(before, dimension, system)}."
    )
    looser = before is not None and (number > before if side == "at_most" else number < before)
    warning = ""
    if looser and (rule.kind != "effect" or _from_label(getattr(rule, side), label_limits or {})):
        forbidden = rule.kind == "label" or _from_label(getattr(rule, side), label_limits or {})
        why = "the label forbids it" if forbidden else "it is a safety limit"
        warning = f"This is only a question: {why}, and the advisor will never go by it."
    changed = {**rules, rule_id: tried}
    return Trial(tuple(changed.values()), says, warning)


def _from_label(setting: Setting, limits: Mapping[str, float]) -> bool:
    return setting.label is not None and setting.label in limits


def _in_force(setting: Setting, limits: Mapping[str, float], side: str) -> float | None:
    if not _from_label(setting, limits):
        return setting.default
    stated = limits[setting.label]
    if setting.cap is None:
        return stated
    return min(stated, setting.cap) if side == "at_most" else max(stated, setting.cap)
