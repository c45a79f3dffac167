"""All sets of relaxed rules are judged at once; here each is judged alone, by the very function that judges starts.

Checks of our own behaviour, no outside source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advisor.explain.relaxing import Relaxing
from advisor.forecast import Field
from advisor.logic import Kleene
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer
from advisor.spread import with_assumed_members
from advisor.verdict import GO, judge_starts
from tests.demo_lawn import FIXTURES, NOW, lawn

RULES = list(load_rules())
#: of the demonstration week's values, and added to them
MILD = {
    "wind_speed_10m": (0.2, 2.6),
    "wind_gust": (0.2, 4.2),
    "precipitation": (0.0, 0.0),
    "precipitation_probability": (0.1, 0.0),
    "air_temperature": (0.3, 13.0),
}
MEMBERS = {"fifty-one": 51, "gaps": 12, "lost": 31}


def weather(kind: str, random: np.random.Generator):
    """The demonstration week, made mild so that some starts are nearly a go; with gaps, or with members lost."""
    body = (FIXTURES / "weather" / "prairie-open-meteo.json").read_bytes()
    forecast = control(read_answer(body, fetched_at=NOW), NOW)
    fields = dict(forecast.fields)
    for name, (share, level) in MILD.items():
        fields[name] = replace(fields[name], values=fields[name].values * share + level)
    if kind == "gaps":
        for name in ("wind_gust", "air_temperature", "cloud_cover"):
            fields[name] = with_gap(fields[name], int(random.integers(250, 380)), 20)
    forecast = replace(forecast, fields=fields)
    if kind == "one member":
        return forecast
    forecast = with_assumed_members(forecast, NOW, MEMBERS[kind])
    if kind == "lost":
        fields = {name: with_a_member_lost(one) for name, one in forecast.fields.items()}
    return replace(forecast, fields=fields) if kind == "lost" else forecast


def with_gap(field: Field, first: int, length: int) -> Field:
    values, reason = field.values.copy(), field.reason.copy()
    values[..., first : first + length], reason[..., first : first + length] = np.nan, 2
    return replace(field, values=values, reason=reason)


def with_a_member_lost(field: Field) -> Field:
    values = field.values.copy()
    if values.shape[1] > 1:
        values[:, :1] = np.nan
    return replace(field, values=values)


@pytest.mark.parametrize("kind", ["fifty-one", "gaps", "lost", "one member"])
def test_every_set_opens_what_it_opens_when_it_is_judged_alone(kind):
    random = np.random.default_rng(7)
    outlook = make_outlook(lawn(front={"neighbours": ()}), weather(kind, random), RULES, (), NOW)
    explainer, opened = outlook.explainer, 0
    for task in range(len(outlook.tasks)):
        starts = np.flatnonzero(explainer.lead_hours >= 0)[:150:3]
        relaxing = Relaxing(explainer, task, starts)
        sets = random.random((40, len(relaxing.at))) < random.choice([0.05, 0.2, 0.6], (40, 1))
        found = relaxing.opens(sets)
        for relaxed, row in zip(sets, found, strict=True):
            given = {relaxing.at[rule] for rule in np.flatnonzero(relaxed)}
            judged = judge_starts(
                [
                    replace(one, outcome=Kleene(one.complete, one.complete)) if at in given else one
                    for at, one in enumerate(explainer.findings)
                ],
                explainer.nominal, explainer.lead_hours, explainer.floors, explainer.horizon_hours,
                explainer.verdicts.everything_floor,
            )  # fmt: skip
            np.testing.assert_array_equal(row, judged.verdict[task, starts] == GO)
        opened += int(found.sum())
        for start in (0, len(starts) // 2):
            np.testing.assert_array_equal(relaxing.opens(sets, start)[:, 0], found[:, start])
    assert 0 < opened < found.size * len(outlook.tasks), "some sets open a start, and some do not"
