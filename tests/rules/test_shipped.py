"""Every shipped rule: its examples one by one, its words, and the folder as a whole."""

import re
from pathlib import Path

import pytest

from advisor.model import DEFAULT_FLOORS, LABEL_QUANTITIES
from advisor.rule_files import load_rules, shipped_folder
from advisor.rulebook.examples import _run, run_examples
from advisor.rulebook.lint import lint
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import GUARD_VALUES, KINDS, MODES, Example
from advisor.task_table import FACTS, NEIGHBOUR_FACTS
from advisor.variables import VARIABLES

RULES = load_rules().rules
CASES = [(rule_id, at) for rule_id, rule in RULES.items() for at in range(len(rule.examples))]


@pytest.mark.parametrize(("rule_id", "at"), CASES, ids=[f"{rule_id}-{at}" for rule_id, at in CASES])
def test_example(rule_id, at):
    outcome = run_examples(RULES[rule_id])[at]
    assert outcome.kept, f"{outcome.example.says}: expected {outcome.example.expect}, found {outcome.found}"


def test_every_file_of_the_folder_is_a_rule_and_the_lint_is_silent():
    files = {Path(file.name).stem for file in shipped_folder().iterdir() if file.name.endswith(".toml")}
    assert files == set(RULES)
    assert lint(RULES, {}) == []


#: rules the catalogue begins with; later ones may join them
FIRST = {
    "rainfast", "nights", "wind-strong", "wind-calm", "gusts", "inversion", "drift-deposit", "evaporation", "air-cold",
    "air-hot", "rain-during", "daylight", "moisture-stress", "runoff", "interval", "passes", "season-total",
    "latest-date", "availability", "turf",
}  # fmt: skip


def test_the_catalogue_holds_what_it_must():
    assert set(RULES) >= FIRST


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES.keys())
def test_words_and_sources(rule):
    assert rule.kind in KINDS and set(rule.modes) <= set(MODES)
    assert {example.expect for example in rule.examples} >= {"go", "no-go"}, "one inside and one outside"
    assert rule.words["asks"].endswith("?")
    for name in ("passes", "fails", "anyway"):
        assert rule.words[name].rstrip().endswith("."), name
    for source in rule.sources:
        assert source.text and not re.search(r"https?://\S+\s*$", source.text)
    assert any(source.kind != "common practice" or "no source" in source.text for source in rule.sources)
    for field in rule.label_fields:
        assert field in LABEL_QUANTITIES


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES.keys())
def test_what_a_rule_rests_on_is_known(rule):
    quantity = QUANTITIES[rule.measure.quantity]
    assert set(quantity.inputs) <= set(VARIABLES)
    if rule.estimate is not None:
        assert QUANTITIES[rule.estimate].dimension == quantity.dimension
        assert quantity.inputs, "an estimate stands in for weather that is missing"
    if rule.floor is not None:
        assert rule.floor <= DEFAULT_FLOORS.get(rule.kind, 1.0) or rule.kind == "effect"


def test_guards_know_every_fact():
    assert set(GUARD_VALUES) == {*FACTS, *NEIGHBOUR_FACTS}


#: limits of the catalogue, so that a slip of the hand in a rule file is seen: rule -> (side, SI default, SI cap)
LIMITS = {
    "wind-strong": ("at_most", 8 * 0.44704, 10 * 0.44704),
    "gusts": ("at_most", 12 * 0.44704, 15 * 0.44704),
    "wind-calm": ("at_least", 3 * 0.44704, 3 * 0.44704),
    "drift-deposit": ("at_most", 0.3, None),
    "drift-deposit-sensitive": ("at_most", 0.1, None),
    "evaporation": ("at_most", 10.0, None),
    "air-cold": ("at_least", 10.0, None),
    "air-hot": ("at_most", (85 - 32) / 1.8, (90 - 32) / 1.8),
    "daylight": ("at_least", 5.0, None),
    "rain-during": ("at_most", 0.0, None),
    "rain-chance": ("at_most", 20.0, None),
    "nights": ("at_least", (40 - 32) / 1.8, None),
    "frost": ("at_least", (36 - 32) / 1.8, None),
    "moisture-stress": ("at_least", 0.9, None),
    "water-buffer": ("at_least", 25 * 0.3048, None),
    "vapour": ("at_most", (85 - 32) / 1.8, (85 - 32) / 1.8),
    "watered-in": ("at_least", 12.7, None),
}
SPANS = {
    "rainfast": ("after", 24.0), "air-hot": ("work+after", 24.0), "vapour": ("work+after", 72.0),
    "frost": ("before", 2.0),
    "leaves-drying": ("before", 1.0), "runoff": ("after", 24.0), "runoff-two-days": ("after", 48.0),
    "rain-chance": ("work+after", 24.0),
}  # fmt: skip


@pytest.mark.parametrize("rule_id", LIMITS)
def test_defaults_and_caps(rule_id):
    side, default, cap = LIMITS[rule_id]
    setting = getattr(RULES[rule_id], side)
    assert setting.default == pytest.approx(default)
    assert setting.cap is None if cap is None else setting.cap == pytest.approx(cap)


@pytest.mark.parametrize("rule_id", SPANS)
def test_spans(rule_id):
    span, length = SPANS[rule_id]
    assert RULES[rule_id].measure.span == span
    assert RULES[rule_id].measure.length.default == pytest.approx(length)


def test_half_an_inch_and_an_inch_are_too_much():
    """The catalogue has chances of AT LEAST so much; limits here are inclusive, so they lie just below."""
    assert 12.0 < RULES["runoff"].at_most.default < 12.7 and RULES["runoff"].floor == 0.8
    assert 24.5 < RULES["runoff-two-days"].at_most.default < 25.4 and RULES["runoff-two-days"].floor == 0.8
    assert 0.0 < RULES["rainfast"].at_most.default < 0.254


def test_what_a_blank_label_does():
    for rule_id in ("rainfast", "interval", "season-total", "rate", "watered-in"):
        assert RULES[rule_id].missing_label == "block", rule_id


def test_rain_is_wanted_only_by_what_is_watered_in():
    for rule_id in ("rainfast", "rain-during", "rain-chance", "leaves-wet"):
        assert "soil" not in RULES[rule_id].modes, rule_id
    assert "foliar" not in RULES["watered-in"].modes


@pytest.mark.parametrize("rule", RULES.values(), ids=RULES.keys())
def test_a_rule_of_weather_is_unknown_where_the_weather_is(rule):
    """Fed with nothing at all, no rule says go."""
    labels = dict.fromkeys(rule.label_fields, 3.0)
    nothing = Example("nothing is known", ((-48, 96, None),), "unknown", labels)
    assert _run(rule, nothing) == "unknown"
