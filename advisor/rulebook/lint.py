"""Checks over whole folders of rules that no single rule can make for itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import PurePath

from advisor.errors import Problem
from advisor.model import DEFAULT_FLOORS
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
        if not {"go", "no-go"} <= {example.expect for example in rule.examples}:
            yield Problem("a rule needs at least two examples, one inside and one outside", rule.path)
        same = (rule.modes, tuple(sorted(rule.applies.items())), rule.measure, rule.at_least, rule.at_most)
        if same in seen:
            yield Problem(f"says the same as {seen[same]}", rule.path, "delete one of the two")
        seen[same] = rule.path


def _loosened(shipped: Rule, own: Rule) -> Iterator[Problem]:
    """An own rule may tighten a safety or label rule, never loosen it, retarget it or change its kind.

    An effect rule is the person's own affair, except that a limit which the label may set stays the label's to set.
    """
    hint = f"safety and label rules can only be tightened; the shipped one is {shipped.path}"
    yield from _label_fields(shipped, own)
    if shipped.kind == "effect":
        return
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
        if before is not None and (after is None or looser(before, after)):
            yield Problem(f'"{own.id}" loosens {side}', own.path, hint)
    before, after = shipped.measure.length, own.measure.length
    if before is not None and after is not None:
        # more time to reach a sum is a favour, more time to keep out of harm's way is none
        gathers = shipped.measure.take == "sum" and shipped.at_least is not None
        if _higher(before, after) if gathers else _lower(before, after):
            yield Problem(f'"{own.id}" {"lengthens" if gathers else "shortens"} the span', own.path, hint)
    if own.missing_label not in (shipped.missing_label, "block") or own.estimate not in (shipped.estimate, None):
        yield Problem(f'"{own.id}" must treat what is missing as the shipped rule does', own.path, hint)
    usual = DEFAULT_FLOORS[shipped.kind] if shipped.floor is None else shipped.floor
    if own.floor is not None and own.floor < usual:
        yield Problem(f'"{own.id}" lowers the chance floor below {usual:.0%}', own.path, hint)


def _label_fields(shipped: Rule, own: Rule) -> Iterator[Problem]:
    """Every label field that may set a limit or a span of the shipped rule may set it in the own one."""
    for name, before, after in (
        ("at_most", shipped.at_most, own.at_most),
        ("at_least", shipped.at_least, own.at_least),
        ("length", shipped.measure.length, own.measure.length),
    ):
        if before is not None and before.label and (after is None or after.label != before.label):
            yield Problem(
                f'"{own.id}" leaves out the label field "{before.label}" in {name}',
                own.path,
                f'the label is the law: write {name} = {{ label = "{before.label}", default = "..." }}',
            )


def _higher(before: Setting, after: Setting) -> bool:
    return any(old is not None and (new is None or new > old + 1e-9) for old, new in
               ((before.default, after.default), (before.cap, after.cap)))  # fmt: skip


def _lower(before: Setting, after: Setting) -> bool:
    return any(old is not None and (new is None or new < old - 1e-9) for old, new in
               ((before.default, after.default), (before.cap, after.cap)))  # fmt: skip
