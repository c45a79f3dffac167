"""Checks over whole folders of rules that no single rule can make for itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import PurePath

from advisor.errors import Problem
from advisor.rulebook.schema import Rule, Setting


def lint(shipped: Mapping[str, Rule], own: Mapping[str, Rule]) -> list[Problem]:
    """Issues of the shipped rules and of a household's own rules that overlay them."""
    issues = [*_each(shipped), *_each(own)]
    for rule_id, rule in own.items():
        if rule_id in shipped:
            issues.extend(_loosened(shipped[rule_id], rule))
    return issues


def _each(rules: Mapping[str, Rule]) -> Iterator[Problem]:
    seen: dict[tuple, str] = {}
    for rule_id, rule in rules.items():
        if PurePath(rule.path).stem != rule_id:
            yield Problem(
                f'the file is not named after its rule "{rule_id}"', rule.path, f"rename it to {rule_id}.toml"
            )
        if len(rule.examples) < 2 or len({example.expect for example in rule.examples}) < 2:
            yield Problem("a rule needs at least two examples, one inside and one outside", rule.path)
        same = (rule.modes, tuple(sorted(rule.applies.items())), rule.measure, rule.at_least, rule.at_most)
        if same in seen:
            yield Problem(f"says the same as {seen[same]}", rule.path, "delete one of the two")
        seen[same] = rule.path


def _loosened(shipped: Rule, own: Rule) -> Iterator[Problem]:
    """An own rule may tighten a safety or label rule, never loosen it, retarget it or change its kind."""
    if shipped.kind == "effect":
        return
    hint = f"safety and label rules can only be tightened; the shipped one is {shipped.path}"
    if own.kind != shipped.kind:
        yield Problem(f'"{own.id}" is a {shipped.kind} rule and must stay one', own.path, hint)
    same_target = (own.measure.quantity, own.measure.span, own.measure.take, own.measure.for_each) == (
        shipped.measure.quantity, shipped.measure.span, shipped.measure.take, shipped.measure.for_each)  # fmt: skip
    if (
        not same_target
        or own.measure.count < shipped.measure.count
        or not set(shipped.modes) <= set(own.modes)
    ):
        yield Problem(f'"{own.id}" must measure what the shipped rule measures', own.path, hint)
    if any(shipped.applies.get(fact) != value for fact, value in own.applies.items()):
        yield Problem(f'"{own.id}" must apply wherever the shipped rule applies', own.path, hint)
    for side, looser in (("at_most", _higher), ("at_least", _lower)):
        before, after = getattr(shipped, side), getattr(own, side)
        if before is not None and (after is None or after.label != before.label or looser(before, after)):
            yield Problem(f'"{own.id}" loosens {side}', own.path, hint)
    if shipped.measure.length is not None and own.measure.length is not None:
        before, after = shipped.measure.length, own.measure.length
        if after.label != before.label or _lower(before, after):
            yield Problem(f'"{own.id}" shortens the span', own.path, hint)
    if (shipped.missing_label, shipped.estimate) != (
        own.missing_label,
        own.estimate,
    ) and own.missing_label != "block":
        yield Problem(f'"{own.id}" must treat what is missing as the shipped rule does', own.path, hint)
    if own.floor is not None and own.floor < (shipped.floor if shipped.floor is not None else 0.9):
        yield Problem(f'"{own.id}" lowers the chance floor', own.path, hint)


def _higher(before: Setting, after: Setting) -> bool:
    return any(old is not None and (new is None or new > old + 1e-9) for old, new in
               ((before.default, after.default), (before.cap, after.cap)))  # fmt: skip


def _lower(before: Setting, after: Setting) -> bool:
    return any(old is not None and (new is None or new < old - 1e-9) for old, new in
               ((before.default, after.default), (before.cap, after.cap)))  # fmt: skip
