"""What the rows show is what the verdict rests on: values, limits and answers of the rules. Checks of our own
behaviour; the values are held against the evaluation itself and against the stored answer."""

from __future__ import annotations

import json

import numpy as np
import pytest

from advisor.figures import panels_of, week_frame
from advisor.figures.frame import runs_of
from advisor.figures.panels import states
from advisor.forecast import Field, Reason
from advisor.verdict import GO, NO_GO, UNKNOWN
from tests.demo_lawn import FIXTURES
from tests.figures.scene import LAST, MONDAY, ZONE, demo_outlook, forecast, outlook_of, with_members


@pytest.fixture(scope="module")
def drawn():
    outlook = demo_outlook()
    frame = week_frame(outlook, [0, 1], MONDAY, LAST)
    panels, fixed = panels_of(outlook, [0, 1], frame)
    return outlook, frame, panels, fixed


def test_the_frame_is_the_local_days_that_were_asked_for(drawn):
    _, frame, _, _ = drawn
    assert [day for day, _, _ in frame.days] == [MONDAY.replace(day=day) for day in range(21, 29)]
    assert frame.days[0][1:] == (0, 24)
    # midnight in Chicago in September is 05:00 UTC
    assert str(frame.hours[0]) == "2026-09-21T05"
    assert frame.now == pytest.approx(7.0)


def test_states_are_those_of_the_reasons(drawn):
    outlook, frame, _, _ = drawn
    explainer = outlook.explainer
    hours = range(frame.first, frame.first + len(frame), 7)
    for at in range(len(explainer.findings)):
        for task in (0, 1):
            found = states(explainer, at, task)
            assert [int(found[hour]) for hour in hours] == [explainer.code(at, task, hour) for hour in hours]


def test_wind_is_the_larger_of_the_two_instants_that_bound_the_work(drawn):
    """Held against the stored answer by hand: 10 m wind in m/s, brought to 2 m by FAO-56 eq. 47, in mph (NIST SP 811).

    A job of 21 minutes touches one hour, which its two instants bound.
    """
    _, frame, panels, _ = drawn
    panel = next(one for one in panels if one.rule == "wind-strong")
    answer = json.loads((FIXTURES / "weather" / "prairie-open-meteo.json").read_bytes())
    assert answer["hourly_units"]["wind_speed_10m"] == "m/s"
    first = answer["hourly"]["time"].index("2026-09-21T05:00")
    factor = 4.87 / np.log(67.8 * 10.0 - 5.42)
    for at in range(0, 150, 5):
        both = answer["hourly"]["wind_speed_10m"][first + at : first + at + 2]
        assert panel.values[at] == pytest.approx(max(both) * factor / 0.44704, abs=1e-6)
    assert panel.unit == "mph" and panel.limit_words == "at most 10.0 mph"


def test_areas_that_see_the_same_share_a_row(drawn):
    _, _, panels, _ = drawn
    by_rule = {}
    for panel in panels:
        by_rule.setdefault(panel.rule, []).append(panel.areas)
    assert by_rule["gusts"] == [("front lawn", "back lawn")]
    # only the back lawn is watered and lies beside the vegetable bed
    assert by_rule["rainfast"] == [("front lawn",), ("back lawn",)]
    assert by_rule["drift-deposit-sensitive"] == [("back lawn",)]


def test_what_stands_most_against_the_persons_hours_comes_first(drawn):
    _, _, panels, _ = drawn
    against = [panel.against for panel in panels]
    assert against == sorted(against, reverse=True) and against[0] > 0
    for panel in panels:
        assert panel.against == int(((panel.state == NO_GO) & panel.mine).sum())


def test_rules_that_never_change_need_no_row(drawn):
    _, _, panels, fixed = drawn
    assert {one.rule for one in fixed} >= {"turf", "place", "passes", "rate"}
    assert all(one.verdict == "go" for one in fixed if one.rule in ("turf", "place"))
    assert not {panel.rule for panel in panels} & {"turf", "place", "passes", "availability"}


def test_a_row_in_words(drawn):
    _, frame, panels, _ = drawn
    panel = next(one for one in panels if one.rule == "nights-autumn")
    day, first, stop = next(one for one in frame.days if (panel.state[one[1] : one[2]] == NO_GO).all())
    words = panel.day_words(first, stop, frame.hours, ZONE)
    coldest = f"{np.nanmin(panel.values[first:stop]):.0f} °F"
    assert coldest in words and "against every start" in words and day.isoformat() >= "2026-09-22"
    assert panel.limit_words == "at least 32 °F"
    assert panel.standing_words.startswith("against ")


def test_missing_weather_is_a_gap_and_never_kept():
    weather = forecast()
    hole = slice(weather.index(np.datetime64("2026-09-24T00")), weather.index(np.datetime64("2026-09-26T00")))
    field = weather.fields["wind_speed_10m"]
    values, reason = field.values.copy(), field.reason.copy()
    values[..., hole], reason[..., hole] = np.nan, Reason.NULL
    outlook = outlook_of(weather.with_fields({"wind_speed_10m": Field(values, reason)}))
    frame = week_frame(outlook, [0], MONDAY, LAST)
    panel = next(one for one in panels_of(outlook, [0], frame)[0] if one.rule == "wind-strong")
    inside = slice(
        *[
            outlook.forecast.index(np.datetime64(text)) - frame.first
            for text in ("2026-09-24T06", "2026-09-25T18")
        ]
    )
    assert np.isnan(panel.values[inside]).all()
    assert (panel.state[inside] == UNKNOWN).all() and not (panel.state[inside] == GO).any()
    assert panel.unknown > 0 and "not known" in panel.standing_words


def test_members_make_a_band_around_their_median():
    outlook = outlook_of(with_members(forecast(), 11, "wind_speed_10m", 2.0))
    frame = week_frame(outlook, [0], MONDAY, LAST)
    panel = next(one for one in panels_of(outlook, [0], frame)[0] if one.rule == "wind-strong")
    known = ~np.isnan(panel.values)
    assert panel.low is not None and known.sum() > 100
    assert (panel.low[known] <= panel.values[known] + 1e-9).all()
    assert (panel.values[known] <= panel.high[known] + 1e-9).all()
    assert float(np.median(panel.high[known] - panel.low[known])) > 1.0


def test_metric_readers_see_metric_numbers():
    from dataclasses import replace

    from advisor.outlook import make_outlook
    from tests.demo_lawn import NOW, lawn

    outlook = demo_outlook()
    household = replace(lawn(), units="metric", settings=replace(lawn().settings, assumed_members=0))
    rules = [finding.rule for finding in outlook.explainer.findings if finding.rule.id == "wind-strong"]
    metric = make_outlook(household, forecast(), rules, household.history, NOW)
    frame = week_frame(metric, [0], MONDAY, LAST)
    panel = panels_of(metric, [0], frame)[0][0]
    us = next(one for one in panels_of(outlook, [0], frame)[0] if one.rule == "wind-strong")
    # 1 mph is 0.44704 m/s exactly: NIST SP 811, appendix B.8
    assert panel.unit == "m/s"
    np.testing.assert_allclose(panel.values, us.values * 0.44704, rtol=1e-9)


@pytest.mark.parametrize(
    ("mask", "runs"), [([0, 1, 1, 0, 1], [(1, 3), (4, 5)]), ([1, 1], [(0, 2)]), ([0], []), ([], [])]
)
def test_runs(mask, runs):
    assert runs_of(np.array(mask, dtype=bool)) == runs
