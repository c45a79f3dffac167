"""The campaign of changed forecasts in a tiny form; and each of its oracles sees a fault that is planted for it."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
for place in (ROOT, ROOT / "scripts"):
    if str(place) not in sys.path:
        sys.path.insert(0, str(place))

from hardening import mutations  # noqa: E402
from hardening.mutations import MUTATIONS, SHARES, WHAT, oracles, removals, scenes  # noqa: E402
from hardening.mutations.cells import Answer  # noqa: E402
from hardening.mutations.change import KINDS, Change  # noqa: E402

from advisor import agreement, quality  # noqa: E402
from advisor.verdict import GO, NO_GO, UNKNOWN  # noqa: E402

SEED = 1


@pytest.fixture(scope="module")
def steady():
    """A scene with goes, without members."""
    scene = scenes.make("open-meteo", "autumn", "steady", 0, SEED)
    assert {GO, NO_GO} <= set(np.unique(scene.plain.verdict))
    return scene


def ended(scene, change: Change) -> oracles.Outcome:
    return mutations._outcome(scene, change)[0]


# the tiny form ----------------------------------------------------------------------------------------------------


def test_a_few_cases_of_every_oracle_leave_nothing():
    found = [mutations.case(number, SEED) for number in range(0, 40 * 9, 7)]
    assert {one.change.oracle for one in found} == set("abcd")
    assert {one.name.split(", ")[1].split()[0] for one in found} == set(scenes.PROVIDERS)
    lines = mutations.table(found)
    assert [line.what for line in lines] == list(WHAT.values())
    assert sum(line.cases for line in lines) == len(found)
    assert [line.examples for line in lines if line.survivors] == []


def test_a_case_is_the_same_whenever_it_is_run():
    first, again = mutations.case(57, SEED), mutations.case(57, SEED)
    assert (
        first.name == again.name and first.change.body == again.change.body and first.outcome == again.outcome
    )
    assert mutations.case(57, SEED + 1).change.body != first.change.body


def test_every_kind_of_change_is_drawn_for_every_provider():
    random = np.random.default_rng(SEED)
    for provider in scenes.PROVIDERS:
        scene = scenes.make(provider, "autumn", "steady", 0, SEED)
        drawn = set()
        for _ in range(12):
            for oracle in "abcd":
                for mutation in MUTATIONS[oracle]:
                    change = mutation(random, scene, Answer(provider, scene.body))
                    drawn |= set() if change is None else {change.kind}
        assert drawn == set(KINDS), provider
    assert set(SHARES) == set("abcd")


def test_the_scenes_hold_goes_no_goes_and_unknown_starts():
    made = [
        scenes.make("nws", season, kind, 0, SEED) for season in scenes.SEASONS for kind in ("mild", "showers")
    ]
    verdicts = np.concatenate([scene.plain.verdict.ravel() for scene in made])
    assert {GO, NO_GO, UNKNOWN} == set(np.unique(verdicts))


# planted faults ---------------------------------------------------------------------------------------------------


def test_values_without_bounds_are_seen(steady, monkeypatch):
    """(a) A wind of -3 m/s would be a calm, and one of 80 a storm: neither is known."""
    answer = Answer(steady.provider, steady.body)
    for cell in answer.cells("wind_speed_10m"):
        cell.put(-3.0)
    change = Change("a", "shift", "", answer.bytes)
    assert not ended(steady, change).wrong
    monkeypatch.setattr(quality, "CHECKS", [one for one in quality.CHECKS if one.__name__ != "bounds"])
    assert ended(steady, change).word == "another verdict"


def test_a_go_where_there_was_none_is_seen(steady):
    """(b) The oracle alone."""
    none = scenes.Judged(np.full_like(steady.plain.verdict, NO_GO), {})
    assert oracles.never_gained(steady, steady.plain).word == "identical"
    # beside an answer of which nothing is known, whatever the rule
    hopeless = replace(steady, plain=none, body=b"")
    gained = oracles.never_gained(hopeless, steady.plain)
    assert gained.word == "a go gained"


def test_rain_that_is_null_and_counts_as_none_is_seen(monkeypatch):
    """(b) The commonest fault of all: what is missing reads as 0."""
    from advisor.sources import openmeteo

    scene = scenes.make("open-meteo", "autumn", "showers", 0, SEED)
    answer = Answer(scene.provider, scene.body)
    for name in ("precipitation", "precipitation_probability"):
        for cell in answer.cells(name):
            cell.put(None)
    change = Change("b", "null", "", answer.bytes)
    assert not ended(scene, change).wrong
    read = openmeteo.numbers
    monkeypatch.setattr(
        openmeteo, "numbers", lambda values: read([0.0 if one is None else one for one in values])
    )
    assert ended(scene, change).word == "a go gained"


def test_a_rule_that_looks_the_wrong_way_is_seen(steady):
    """(c) More of what it forbids, and it is kept."""
    kept = {"wind-strong": np.zeros_like(steady.plain.kept["wind-strong"])}
    worse = replace(steady, plain=replace(steady.plain, kept=kept))
    assert oracles.never_eased(worse, steady.plain, ("wind-strong",)).word == "a rule eased"
    assert not oracles.never_eased(steady, steady.plain, ("wind-strong",)).wrong


def test_sources_that_are_not_compared_are_seen(steady, monkeypatch):
    """(d) Nine degrees apart at every hour."""
    answer = Answer(steady.provider, steady.body)
    for cell in answer.cells("air_temperature"):
        cell.put(cell.value + 9.0)
    change = Change("d", "shift", "", answer.bytes, variable="air_temperature")
    assert oracles.told_by_another(steady, change).word == "flagged"
    monkeypatch.setattr(agreement, "BEYOND", 1e6)
    assert oracles.told_by_another(steady, change).word == "not flagged"


def test_a_program_that_breaks_is_a_survivor(steady, monkeypatch):
    def breaks(*_, **__):
        raise ZeroDivisionError("planted")

    change = removals.variable_gone(np.random.default_rng(SEED), steady, Answer(steady.provider, steady.body))
    monkeypatch.setattr(scenes, "assemble", breaks)
    assert ended(steady, change).word == "broke"


def test_a_no_go_that_assumes_the_worst_is_told_apart(steady):
    """An unknown direction counts as blowing towards the neighbour, by design; what is known stays known."""
    answer = Answer(steady.provider, steady.body)
    answer.set_unit("wind_from_direction", "furlong")
    change = Change("a", "swap units", "", answer.bytes)
    assert ended(steady, change).word == "no-go by a rule that assumes the worst"
    assert set(oracles.ASSUME_THE_WORST) == {"drift-deposit", "drift-deposit-sensitive", "moisture-stress"}


def test_a_no_go_by_any_other_rule_is_not(steady, monkeypatch):
    """Here the drift assumes the worst, and the heat is wrong besides."""
    answer = Answer(steady.provider, steady.body)
    answer.set_unit("wind_from_direction", "furlong")
    for cell in answer.cells("air_temperature"):
        cell.put(75.0)
    monkeypatch.setattr(quality, "CHECKS", [one for one in quality.CHECKS if one.__name__ == "gust"])
    assert ended(steady, Change("a", "shift", "", answer.bytes)).word == "another verdict"
