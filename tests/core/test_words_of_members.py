"""What is said of members: no distance where there is none, and a day too early to decide.

Checks of our own behaviour.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from strategies import HOURS, forecast, household, outlook

from advisor.messages.outlook_text import why_text

MEMBERS = 20


def reasons_at(found, local_day: str) -> dict:
    day = next(one for one in found.tasks[0].days if one.day.isoformat() == local_day)
    return {reason.rule: reason for reason in day.reasons}


def in_some(usual: float, other: float, count: int) -> np.ndarray:
    """Members, of which the first `count` have another value throughout."""
    values = np.full((MEMBERS, HOURS), usual)
    values[:count] = other
    return values


def test_an_answer_of_yes_or_no_has_no_headroom_among_members_either():
    """A tenth of the members with a humidity of 95 % are wet: the rule keeps its floor and has no distance."""
    wet = {"relative_humidity": in_some(49.0, 95.0, 2), "dew_point": in_some(9.0, 19.0, 2)}
    told = reasons_at(outlook(household(), forecast(wet, members=MEMBERS)), "2026-06-15")["leaves-wet"]
    assert told.verdict == "go" and told.chance == pytest.approx(0.9)
    assert told.headroom is None and np.isfinite(told.standing)


def test_a_sum_that_five_members_in_six_share_has_no_headroom_and_ranks_by_its_chance():
    rain = {"precipitation": in_some(0.0, 2.0, 1)}
    told = reasons_at(outlook(household(), forecast(rain, members=MEMBERS)), "2026-06-15")["rainfast"]
    assert told.verdict == "go" and told.chance == pytest.approx(0.95)
    assert told.headroom is None and 0.0 < told.standing < 1.0


def test_a_sum_of_which_the_members_differ_has_one():
    """From 0 to 9.5 mm of rain in the next two days, a limit of 0.99 in: the margin that four in five members keep."""
    hourly = np.repeat(np.arange(MEMBERS)[:, None] * 0.5 / 48.0, HOURS, axis=1)
    found = outlook(household(), forecast({"precipitation": hourly}, members=MEMBERS))
    told = reasons_at(found, "2026-06-15")["runoff-two-days"]
    assert told.headroom == pytest.approx(0.99 * 25.4 - 15 * 0.5, abs=1e-6)


def test_wind_that_only_counts_as_enough_has_no_distance_to_the_limit():
    """1.5 m/s at 10 m are below 3 mph at 2 m, and count as 3 mph under a heating sun."""
    found = outlook(household(), forecast({"wind_speed_10m": 1.5, "wind_gust": 2.5}))
    told = reasons_at(found, "2026-06-15")["wind-calm"]
    assert told.verdict == "go" and told.headroom is None


def test_a_single_run_on_the_limit_itself_keeps_its_distance_of_nothing():
    """36 degF is 2.2222 degC: a temperature on the limit is no answer of yes or no."""
    limit = (36.0 - 32.0) / 1.8
    cold = {"air_temperature": limit, "dew_point": -5.0, "relative_humidity": 58.0}
    told = reasons_at(outlook(household(), forecast(cold)), "2026-06-15")["frost"]
    assert told.headroom == pytest.approx(0.0, abs=1e-9) and told.standing == pytest.approx(0.0, abs=1e-9)


def test_a_day_too_early_to_decide_says_what_keeps_it_open_and_when_it_is_decided():
    windy = {"wind_speed_10m": in_some(2.5, 8.0, 8), "wind_gust": in_some(4.0, 12.0, 8)}
    asked = household()
    asked = replace(asked, settings=replace(asked.settings, horizon_hours=24.0))
    found = outlook(asked, forecast(windy, members=MEMBERS))
    day = next(one for one in found.tasks[0].days if one.too_early)
    # half of the members and more keep everything, and safety wants 0.95
    assert day.verdict == "unknown" and 0.25 <= day.chance < 0.95
    words = re.sub(r"\s+", " ", why_text(found, found.tasks[0], day))
    assert f"the chance that everything holds is {day.chance:.0%}" in words
    assert "What keeps it open:" in words and "Against it" not in words
    decided = r"A later forecast: this day is decided 24 h before the start, from \w{3} \d+ Jun \d\d:00 on\."
    assert re.search(decided, words)
    assert "Only these together" not in words


def test_the_change_of_a_sole_blocker_is_one_of_every_member_and_only_then_says_so():
    nights = np.full((MEMBERS, HOURS), 20.0)
    nights[:, 22:30] = np.linspace(0.0, 4.0, MEMBERS)[:, None]
    cold = {"air_temperature": nights, "dew_point": -3.0, "relative_humidity": 30.0}
    for weather, among in ((forecast(cold, members=MEMBERS), True), (forecast(_first(cold)), False)):
        found = outlook(household(), weather)
        sole = found.tasks[0].days[0].blocked.sole
        assert [one.rule for one in sole] == ["nights"]
        assert ("in every member" in sole[0].text) == among


def _first(values: dict) -> dict:
    return {name: one[0] if isinstance(one, np.ndarray) else one for name, one in values.items()}
