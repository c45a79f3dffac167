"""Statements laid over a household: what counts, and what an older look leaves as it was. Our own behaviour."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, time, timedelta

import pytest

from advisor.statements import IRRIGATED, SOIL, Statement, with_statements
from tests.demo_lawn import NOW, lawn

SEEN = date(2026, 9, 20)


def look(state: str, on: date, at: datetime = NOW) -> Statement:
    return Statement(SOIL, "front", on, at, {"state": state})


def watered(on: date, at: datetime = NOW, depth: object = 10.0, area: str = "front") -> Statement:
    return Statement(IRRIGATED, area, on, at, {"depth": depth, "at": "06:00"})


def test_no_statement_changes_nothing():
    household = lawn()
    assert with_statements(household, []) is household


@pytest.mark.parametrize(
    ("on", "state"), [(SEEN, "dry"), (SEEN + timedelta(days=1), "dry"), (SEEN - timedelta(days=1), "moist")]
)
def test_the_newest_look_at_the_soil_counts(on, state):
    assert with_statements(lawn(), [look("dry", on)]).areas["front"].soil_state == state


def test_of_two_looks_on_one_day_the_later_said_counts():
    told = [look("wet", SEEN, NOW), look("dry", SEEN, NOW + timedelta(hours=1))]
    assert with_statements(lawn(), told).areas["front"].soil_state == "dry"
    assert with_statements(lawn(), told[::-1]).areas["front"].soil_state == "dry"


def test_a_look_holds_for_the_time_that_was_told_with_it_and_for_no_time_without():
    timed = Statement(SOIL, "front", SEEN, NOW, {"state": "dry", "at": "06:45"})
    for told, at in ((timed, time(6, 45)), (look("dry", SEEN), None)):
        area = with_statements(lawn(front={"soil_seen_at": time(5)}), [told]).areas["front"]
        assert (area.soil_state, area.soil_seen, area.soil_seen_at) == ("dry", SEEN, at)


def test_of_two_looks_with_times_the_later_look_counts_and_not_the_later_word():
    noon, morning = (
        Statement(SOIL, "front", SEEN, NOW + timedelta(hours=said), {"state": state, "at": at})
        for said, state, at in ((0, "wet", "12:00"), (1, "moist", "07:00"))
    )
    assert with_statements(lawn(), [noon, morning]).areas["front"].soil_state == "wet"


def test_a_later_look_of_the_same_day_in_the_file_counts_for_more():
    household = lawn(front={"soil_state": "wet", "soil_seen_at": time(16)})
    for at, state in (("08:00", "wet"), ("17:00", "moist")):
        told = Statement(SOIL, "front", SEEN, NOW, {"state": "moist", "at": at})
        assert with_statements(household, [told]).areas["front"].soil_state == state


@pytest.mark.parametrize(("seen_at", "counts"), [(time(5), 1), (time(7), 0)])
def test_a_watering_before_the_time_of_the_look_was_seen_by_it(seen_at, counts):
    area = with_statements(lawn(front={"soil_seen_at": seen_at}), [watered(SEEN)]).areas["front"]
    assert len(area.irrigation) == counts, "it began at 06:00"


def test_a_watering_counts_on_its_day_only_and_after_the_look():
    area = with_statements(lawn(), [watered(SEEN), watered(SEEN - timedelta(days=1))]).areas["front"]
    assert [(one.on, one.depth) for one in area.irrigation] == [(SEEN, 10.0)]
    morning, evening = NOW, NOW + timedelta(hours=9)
    told = [watered(SEEN, morning), look("dry", SEEN, evening)]
    assert with_statements(lawn(), told).areas["front"].irrigation == (), "the look has seen that water"
    told = [look("dry", SEEN, morning), watered(SEEN, evening)]
    assert len(with_statements(lawn(), told).areas["front"].irrigation) == 1


def test_one_watering_does_not_state_a_timetable():
    household = lawn(front={"irrigation": None})
    assert with_statements(household, [watered(SEEN)]).areas["front"].irrigation is None


@pytest.mark.parametrize("depth", [None, "much", -1.0, 0.0, float("nan"), 1e6])
def test_an_impossible_depth_is_no_watering(depth):
    assert with_statements(lawn(), [watered(SEEN, depth=depth)]).areas["front"].irrigation == ()


def test_a_watering_told_of_falls_in_its_hour_and_in_no_other():
    import numpy as np

    from advisor.area_conditions.clock import sprinkled

    household = with_statements(lawn(), [watered(SEEN)])
    axis = np.datetime64("2026-09-18T00", "h") + np.arange(24 * 20)
    water = sprinkled(axis, household.areas["front"].irrigation, household.site.zone)
    # 06:00 in Chicago in September is 11:00 UTC
    assert water.sum() == pytest.approx(10.0) and water[
        axis == np.datetime64("2026-09-20T11")
    ] == pytest.approx(10.0)


def test_an_unknown_area_or_kind_is_passed_over():
    household = lawn()
    told = [
        watered(SEEN, area="nowhere"),
        Statement("other", "front", SEEN, NOW),
        replace(look("soggy", SEEN), id="x"),
    ]
    assert with_statements(household, told).areas == household.areas
