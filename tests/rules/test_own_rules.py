"""A household's own rules lie over the shipped ones by id; they may add and tighten, never loosen."""

from pathlib import Path

import pytest

from advisor.errors import InvalidFile
from advisor.rule_files import load_rules, shipped_folder


def shipped(rule_id: str) -> str:
    return (shipped_folder() / f"{rule_id}.toml").read_text(encoding="utf-8")


def overlay(folder: Path, name: str, text: str):
    (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return load_rules(folder)


def changed(rule_id: str, *swaps: tuple[str, str]) -> str:
    text = shipped(rule_id)
    for before, after in swaps:
        assert before in text, (rule_id, before)
        text = text.replace(before, after, 1)
    return text


TIGHTER = {
    "limit": ("wind-strong", ('default = "8 mph"', 'default = "7 mph"'), ("7 mph", "6 mph")),
    "cap": ("wind-strong", ('cap = "10 mph"', 'cap = "9 mph"')),
    "floor": ("wind-strong", ('kind = "safety"', 'kind = "safety"\nfloor = 0.97')),
    "longer span": ("air-hot", ('length = "24 h"', 'length = "48 h"')),
    "no estimate": ("gusts", ('weather = "estimate:gust_from_mean"', 'weather = "unknown"')),
    "block when the label is silent": ("wind-strong", ("[words]", '[missing]\nlabel = "block"\n[words]')),
    "second side": ("air-hot", ("[limit]", '[limit]\nat_least = "0 degC"')),
    "wider guard": ("vapour", ('"area.sensitive_near" = "yes"\n', "")),
    "effect rules are the person's own": ("air-cold", ('default = "50 degF"', 'default = "45 degF"')),
}


@pytest.mark.parametrize("case", TIGHTER)
def test_tightening_is_allowed(tmp_path, case):
    rule_id, *swaps = TIGHTER[case]
    found = overlay(tmp_path, rule_id, changed(rule_id, *swaps))
    assert found.overlaid == (rule_id,)
    assert found.rules[rule_id].path == f"{tmp_path}/{rule_id}.toml"
    assert found.version != load_rules().version


LOOSER = {
    "limit": ("wind-strong", "loosens at_most", ('default = "8 mph"', 'default = "9 mph"')),
    "cap": ("wind-strong", "loosens at_most", ('cap = "10 mph"', 'cap = "12 mph"')),
    "no cap": ("wind-strong", "loosens at_most", (', cap = "10 mph"', "")),
    "lower limit": ("daylight", "loosens at_least", ('at_least = "5 deg"', 'at_least = "2 deg"')),
    "shorter span": ("air-hot", "shortens the span", ('length = "24 h"', 'length = "12 h"')),
    "more time to be watered in": (
        "watered-in",
        "lengthens the span",
        ('default = "72 h"', 'default = "240 h"'),
    ),
    "another kind": ("wind-strong", "must stay one", ('kind = "safety"', 'kind = "effect"')),
    "another quantity": ("wind-strong", "must measure", ('"wind_speed_2m"', '"gust_from_mean"')),
    "another span": ("wind-strong", "must measure", ('span = "work"', 'span = "at-start"')),
    "another reducer": ("wind-strong", "must measure", ('take = "max"', 'take = "min"')),
    "fewer modes": ("wind-strong", "must measure", ('kind = "safety"', 'kind = "safety"\nmodes = ["soil"]')),
    "a guard": (
        "wind-strong",
        "must apply wherever",
        ("[measure]", '[applies]\n"season" = "summer"\n[measure]'),
    ),
    "a lower floor": (
        "wind-strong",
        "lowers the chance floor",
        ('kind = "safety"', 'kind = "safety"\nfloor = 0.9'),
    ),
    "an estimate": (
        "wind-calm",
        "what is missing",
        ("[words]", '[missing]\nweather = "estimate:wind_speed_2m"\n[words]'),
    ),
    "an estimate behind a block": (
        "wind-strong",
        "what is missing",
        ("[words]", '[missing]\nlabel = "block"\nweather = "estimate:gust_from_mean"\n[words]'),
    ),
    "no block": ("rainfast", "what is missing", ('label = "block"', 'label = "default"')),
    "without the label": (
        "rainfast",
        'label field "rainfast_time"',
        ('{ label = "rainfast_time", default = "24 h" }', '"24 h"'),
    ),
    "an effect rule without the label": (
        "nights",
        'label field "night_temperature_min"',
        ('{ label = "night_temperature_min", default = "40 degF" }', '"38 degF"'),
    ),
    "one night instead of two": ("nights-autumn", None, ("count = 2", "count = 1")),
}


@pytest.mark.parametrize("case", LOOSER)
def test_loosening_is_refused(tmp_path, case):
    rule_id, says, *swaps = LOOSER[case]
    text = changed(rule_id, *swaps)
    if says is None:
        assert overlay(tmp_path, rule_id, text).overlaid == (rule_id,), "an effect rule is the person's own"
        return
    with pytest.raises(InvalidFile) as caught:
        overlay(tmp_path, rule_id, text)
    told = " ".join(f"{problem.what} {problem.hint}" for problem in caught.value.problems)
    assert says in told, told
    assert caught.value.exit_status == 5


NEW = """
id = "sunday"
title = "Windy for my taste"
kind = "effect"
[measure]
quantity = "wind_speed_10m_typo"
span = "work"
take = "max"
[limit]
at_most = "3 m/s"
[words]
asks = "Is it calm enough for me?"
passes = "{value}; I bear {limit}."
fails = "{value} around {at}; I bear {limit}."
anyway = "I would rather not."
[[source]]
kind = "common practice"
text = "my own"
[[example]]
says = "calm"
given = "2 m/s"
expect = "go"
[[example]]
says = "windy"
given = "4 m/s"
expect = "no-go"
"""


def test_a_new_rule_on_a_known_quantity_needs_no_code(tmp_path):
    with pytest.raises(InvalidFile) as caught:
        overlay(tmp_path, "sunday", NEW)
    (problem,) = caught.value.problems
    assert "not a registered quantity" in problem.what and problem.where.endswith("sunday.toml:6")
    assert "did you mean" in problem.hint
    found = overlay(tmp_path, "sunday", NEW.replace("wind_speed_10m_typo", "wind_speed_2m"))
    assert "sunday" in found.rules and found.overlaid == ("sunday",)


def test_faults_of_all_files_are_told_at_once(tmp_path):
    (tmp_path / "broken.toml").write_text('id = "broken\n', encoding="utf-8")
    (tmp_path / "empty.toml").write_text("", encoding="utf-8")
    with pytest.raises(InvalidFile) as caught:
        load_rules(tmp_path)
    places = {problem.where.rsplit("/", 1)[-1].split(":")[0] for problem in caught.value.problems}
    assert places == {"broken.toml", "empty.toml"}


def test_two_files_of_one_id_and_a_wrong_name(tmp_path):
    good = NEW.replace("wind_speed_10m_typo", "wind_speed_2m")
    (tmp_path / "sunday.toml").write_text(good, encoding="utf-8")
    (tmp_path / "monday.toml").write_text(good, encoding="utf-8")
    with pytest.raises(InvalidFile) as caught:
        load_rules(tmp_path)
    assert "is taken by" in str(caught.value)


def test_a_folder_that_is_not_there_is_no_fault(tmp_path):
    assert load_rules(tmp_path / "nowhere").overlaid == ()
