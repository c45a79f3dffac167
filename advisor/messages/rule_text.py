"""A rule in words."""

from __future__ import annotations

import textwrap

from advisor import units
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Rule, Setting

_SPANS = {
    "before": "in the {length} before the start",
    "work": "during the work",
    "after": "in the {length} after the end of the work",
    "work+after": "from the start until {length} after the end of the work",
    "nights-after": "in the {count} nights after the work, sunset to an hour after sunrise",
    "at-start": "at the start",
}
_TAKES = {
    "min": "lowest",
    "max": "highest",
    "sum": "sum of",
    "mean": "mean",
    "any": "any hour of",
    "all": "all hours of",
    "last": "",
}


def rule_text(rule: Rule, system: str = "us", width: int = 80) -> str:
    """Title, question, measure, limit, what the label may change, what missing data do, words, sources."""
    quantity = QUANTITIES[rule.measure.quantity]
    dimension = "volume_rate" if quantity.dimension == "application_rate" else quantity.dimension
    length = _setting(rule.measure.length, "time", system) if rule.measure.length else ""
    span = _SPANS[rule.measure.span].format(length=length, count=rule.measure.count)
    each = f" (for each {rule.measure.for_each}, the worst counts)" if rule.measure.for_each else ""
    rows = [
        ("asks", rule.words["asks"]),
        ("kind", f"{rule.kind}; modes {', '.join(rule.modes)}"),
        ("measures", f"{_TAKES[rule.measure.take]} {quantity.says} {span}{each}".strip()),
    ]
    for name, setting in (("at most", rule.at_most), ("at least", rule.at_least)):
        if setting:
            rows.append((name, _setting(setting, dimension, system)))
    if rule.applies:
        rows.append(
            ("applies", ", ".join(f"where {fact} is {value}" for fact, value in rule.applies.items()))
        )
    if rule.floor is not None:
        rows.append(("floor", f"a chance of {rule.floor:.0%}"))
    missing = {
        "default": "the default stands",
        "block": "never a go until it is copied",
        "not-applicable": "the rule does not apply",
    }
    if rule.label_fields:
        rows.append(("no label", missing[rule.missing_label]))
    rows.append(
        ("no data", "unknown" if rule.estimate is None else f"estimated: {QUANTITIES[rule.estimate].says}")
    )
    rows.append(("anyway", rule.words["anyway"]))
    rows += [("source", f"{source.kind}: {source.text}") for source in rule.sources]
    rows.append(("file", rule.path))
    lines = [f"{rule.title} ({rule.id})"]
    for name, text in rows:
        lines.append(textwrap.fill(text, width, initial_indent=f"  {name:<9} ", subsequent_indent=" " * 12))
    return "\n".join(lines)


def _setting(setting: Setting, dimension: str, system: str) -> str:
    parts = [] if setting.default is None else [units.show(setting.default, dimension, system)]
    if setting.label:
        parts.append(f'the label\'s "{setting.label}"' if not parts else f'or the label\'s "{setting.label}"')
    if setting.cap is not None:
        parts.append(f"never past {units.show(setting.cap, dimension, system)}")
    return ", ".join(parts)
