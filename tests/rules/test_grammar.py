"""Faults in a rule file: told with line, reason and remedy, whatever is written; never a crash, never a silent pass."""

import datetime
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.errors import InvalidFile
from advisor.rule_files import load_rules, shipped_folder
from advisor.rulebook.parse import parse_rule

GOOD = """\
id = "mine"
title = "Mine"
kind = "safety"
modes = ["foliar"]
[applies]
"season" = "autumn"
[measure]
quantity = "wind_speed_2m"
span = "work"
take = "max"
[limit]
at_most = { label = "wind_max", default = "8 mph", cap = "10 mph" }
[missing]
label = "default"
[words]
asks = "Is it?"
passes = "{value}"
fails = "{value} at {at}, {change} over {limit}"
anyway = "It drifts."
[[source]]
kind = "common practice"
text = "no source"
[[example]]
says = "in"
given = "7 mph"
expect = "go"
"""


def problems(text: str):
    with pytest.raises(InvalidFile) as caught:
        parse_rule(text, "mine.toml")
    return caught.value.problems


def test_the_base_is_good():
    assert parse_rule(GOOD, "mine.toml").at_most.cap == pytest.approx(10 * 0.44704)


#: (what to replace, with what, line of the fault, what is said, what the hint says)
FAULTS = {
    "unknown key": ('title = "Mine"', 'titel = "Mine"', 2, '"titel" is not a key', 'did you mean "title"?'),
    "no title": ('title = "Mine"\n', "", None, "title is missing", ""),
    "bad kind": ('kind = "safety"', 'kind = "safty"', 3, '"safty" is not known', 'did you mean "safety"?'),
    "bad mode": ('modes = ["foliar"]', 'modes = ["leaf"]', 4, "modes must be a list", ""),
    "no mode": ('modes = ["foliar"]', "modes = []", 4, "modes must be a list", ""),
    "unknown fact": ('"season"', '"saeson"', 6, '"saeson" is not a fact', 'did you mean "season"?'),
    "a guard that never holds": ('= "autumn"', '= "fall"', 6, 'season is never "fall"', "spring"),
    "a guard of a number": ('= "autumn"', "= 3", 6, "compared with text", ""),
    "a guard on neighbours without them": (
        '"season" = "autumn"',
        '"neighbour.kind" = "vines"',
        6,
        "for_each",
        "",
    ),
    "unknown quantity": (
        '"wind_speed_2m"',
        '"wind_sped_2m"',
        8,
        "not a registered quantity",
        "wind_speed_2m",
    ),
    "unknown span": ('span = "work"', 'span = "during"', 9, '"during" is not known', ""),
    "unknown reducer": (
        'take = "max"',
        'take = "maximum"',
        10,
        '"maximum" is not known',
        'did you mean "max"?',
    ),
    "sum of what does not add up": ('take = "max"', 'take = "sum"', 10, "no amount that adds up", ""),
    "span without length": ('span = "work"', 'span = "after"', 7, "needs a length", ""),
    "length without span": ('take = "max"', 'take = "max"\nlength = "3 h"', 11, "has no length", ""),
    "count without nights": ('take = "max"', 'take = "max"\ncount = 2', 11, "has no count", ""),
    "nights have no mean": (
        'span = "work"\ntake = "max"',
        'span = "nights-after"\ntake = "mean"',
        10,
        'no "mean"',
        "min",
    ),
    "neighbour for wind": (
        'take = "max"',
        'take = "max"\nfor_each = "neighbour"',
        7,
        "is not one for each neighbour",
        "",
    ),
    "no limit": (
        'at_most = { label = "wind_max", default = "8 mph", cap = "10 mph" }\n',
        "",
        11,
        "needs at_least or at_most",
        "",
    ),
    "limit of nothing": (
        '{ label = "wind_max", default = "8 mph", cap = "10 mph" }',
        "{ }",
        12,
        "neither a label field",
        "",
    ),
    "number without unit": (
        'default = "8 mph"',
        'default = "8"',
        12,
        'a unit is missing: this is a speed, write it as "10 mph"',
        "",
    ),
    "bare number": ('default = "8 mph"', "default = 8", 12, "not a quantity", ""),
    "wrong dimension": ('default = "8 mph"', 'default = "8 mm"', 12, "does not measure a speed", "mph"),
    "unknown unit": ('default = "8 mph"', 'default = "8 mphh"', 12, "not a unit", ""),
    "unknown label field": ('"wind_max"', '"wind_maximum"', 12, "is not a label field", "wind_max"),
    "label field of another dimension": ('"wind_max"', '"temperature_max"', 12, "is a temperature", ""),
    "label field of no text": ('"wind_max"', "[1]", 12, "is not a label field", ""),
    "default beyond cap": ('cap = "10 mph"', 'cap = "6 mph"', 12, "beyond the cap", ""),
    "unknown missing": ('label = "default"', 'label = "ignore"', 14, '"ignore" is not known', ""),
    "unknown estimate": ('label = "default"', 'weather = "estimate:luck"', 14, "neither", ""),
    "estimate of another dimension": (
        'label = "default"',
        'weather = "estimate:delta_t"',
        14,
        "is not a speed",
        "",
    ),
    "unknown placeholder": ('passes = "{value}"', 'passes = "{valeu}"', 17, "is not a placeholder", "value"),
    "open brace": ('passes = "{value}"', 'passes = "{value"', 17, "braces", ""),
    "brace with a format": ('passes = "{value}"', 'passes = "{value.real}"', 17, "braces", ""),
    "no words": ('anyway = "It drifts."\n', "", 15, "anyway is missing", ""),
    "unknown source": ('kind = "common practice"', 'kind = "hearsay"', 21, '"hearsay" is not known', ""),
    "no source": (
        '[[source]]\nkind = "common practice"\ntext = "no source"\n',
        "",
        1,
        "at least one",
        "common practice",
    ),
    "bad expectation": ('expect = "go"', 'expect = "yes"', 26, '"yes" is not known', ""),
    "bad given": ('given = "7 mph"', 'given = { "0-3" = "7 mph" }', 25, "not an hour", ""),
    "given of another dimension": ('given = "7 mph"', 'given = "7 degC"', 25, "does not measure a speed", ""),
    "floor beyond 1": ('kind = "safety"', 'kind = "safety"\nfloor = 95', 4, "from 0 to 1", ""),
    "floor yes": ('kind = "safety"', 'kind = "safety"\nfloor = true', 4, "from 0 to 1", ""),
    "bad id": ('id = "mine"', 'id = "My Rule"', 1, "is no rule id", ""),
}


@pytest.mark.parametrize("case", FAULTS)
def test_fault(case):
    before, after, line, says, hint = FAULTS[case]
    assert before in GOOD
    text = GOOD.replace(before, after, 1)
    found = [problem for problem in problems(text) if says in problem.what]
    assert found, [problem.what for problem in problems(text)]
    if line is not None:
        assert found[0].where == f"mine.toml:{line}"
    assert hint in found[0].hint


def test_all_faults_are_told_together():
    text = GOOD.replace("safety", "safty").replace('"8 mph"', '"8 mm"').replace("{at}", "{hour}")
    assert len(problems(text)) == 3


def test_not_toml_names_the_line():
    (problem,) = problems('id = "mine"\nkind = safety\n')
    assert problem.where == "mine.toml:2" and "TOML" in problem.what


WEIRD = [
    1,
    -1.5,
    True,
    "",
    "x",
    "8 mph",
    [],
    [1],
    ["x"],
    {},
    {"x": 1},
    [{}],
    [{"x": "y"}],
    datetime.date(2026, 1, 1),
]


def toml(value) -> str:
    """TOML text of a value, inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(str(key))} = {toml(one)}" for key, one in value.items()) + "}"
    return str(value)


def paths(data, at=()):
    """Every key path of a decoded file, tables included."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield (*at, key)
        yield from paths(value, (*at, key))


def replaced(data, path, value):
    """A copy with one value replaced; None takes the key away."""
    if not path:
        return value
    copy = dict(data) if isinstance(data, dict) else list(data)
    if len(path) == 1 and value is None:
        del copy[path[0]]
    else:
        copy[path[0]] = replaced(copy[path[0]], path[1:], value)
    return copy


DECODED = {
    file.name: tomllib.loads(file.read_text(encoding="utf-8"))
    for file in shipped_folder().iterdir()
    if file.name.endswith(".toml")
}


@settings(max_examples=400, deadline=None)
@given(st.data())
def test_whatever_stands_in_a_file_is_a_rule_or_a_clear_fault(data):
    """One value of a shipped rule replaced by something odd, or taken away: a fault with its file, or harmless."""
    name = data.draw(st.sampled_from(sorted(DECODED)))
    path = data.draw(st.sampled_from(sorted(paths(DECODED[name]), key=str)))
    value = data.draw(st.sampled_from([None, *WEIRD]))
    broken = replaced(DECODED[name], path, value)
    text = "\n".join(f"{toml(str(key))} = {toml(one)}" for key, one in broken.items())
    try:
        rule = parse_rule(text, name)
    except InvalidFile as error:
        assert all(problem.where.startswith(name) and problem.what for problem in error.problems)
        return
    assert rule.at_least is not None or rule.at_most is not None, "a rule without a limit would always hold"
    for words in rule.words.values():
        words.format(
            value="", limit="", at="", change="", neighbour="", **dict.fromkeys(("warning", "ingredient"), "")
        )


def test_the_loader_reads_every_shipped_rule_as_decoded():
    assert set(load_rules().rules) == {data["id"] for data in DECODED.values()}
