"""Whether the weather kept its word. Our own behaviour; the wash-off is that of Carroll et al. (1993)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.review.observed import MEASURED, PAST_HOURS, Part, merge, part_of_readings, with_coming
from advisor.review.pass_made import axis_of
from advisor.review.weather import AT_RISK, BROKEN, KEPT, UNKNOWN
from tests.review.weather import START, a_pass, fair, household, review, status


def test_fair_weather_keeps_everything():
    found = review()
    assert found.status == KEPT, [(one.rule, one.text) for one in found.limits if one.status != KEPT]
    assert found.rain.amount == 0.0 and found.rain.first_after is None and found.rain.complete
    assert [night.kept for night in found.nights] == [True, True]
    assert {one.seen_as for one in found.limits} == {"measured"}


def test_rain_within_the_rainfast_time_breaks_it_and_is_told_with_its_wash_off():
    # the work ends an hour after the start; the label wants 6 h
    found = review([("precipitation", 3, 4, 2.0), ("precipitation", 5, 6, 8.0)])
    assert status(found, "rainfast") == BROKEN
    assert found.rain.amount == pytest.approx(10.0) and found.rain.first_after == pytest.approx(2.0)
    # Carroll et al. (1993) Weed Technology 7: 0.4755 of dicamba left after 10 mm
    assert float(found.rain.washed.remaining) == pytest.approx(0.4755, abs=0.0005)
    assert "at least this much lost" in str(found.rain.washed.words)


def test_rain_after_the_rainfast_time_is_nothing():
    found = review([("precipitation", 7, 10, 5.0)])
    assert status(found, "rainfast") == KEPT and found.rain.amount == 0.0
    assert status(found, "rain-during") == KEPT


def test_the_hour_that_holds_the_end_of_the_work_counts_as_after_it():
    late = a_pass(ended_at=START + timedelta(minutes=75))
    found = review([("precipitation", 1, 2, 1.0)], record=late)
    assert status(found, "rainfast") == BROKEN and found.rain.first_after == 0.0
    # and the rainfast time runs six hours on from 75 minutes after the start
    assert status(review([("precipitation", 7, 8, 1.0)], record=late), "rainfast") == BROKEN


def test_irrigation_by_the_timetable_counts_as_rain():
    home = household()
    record = a_pass(area="back")
    assert status(review(record=record, home=home), "rainfast") == KEPT  # Tuesdays and Fridays at 05:30
    from datetime import time

    from advisor.model import Watering

    watered = replace(home.areas["back"], irrigation=(Watering(frozenset({4}), time(14, 0), 4.0, 1.0),))
    home = replace(home, areas={**home.areas, "back": watered})
    found = review(record=record, home=home)
    assert status(found, "rainfast") == BROKEN and found.rain.amount == pytest.approx(4.0)


def test_a_cold_night_is_named_with_its_temperature():
    found = review([("air_temperature", 30, 40, -2.0)])
    assert status(found, "nights-autumn") == BROKEN
    assert [night.kept for night in found.nights] == [True, False]
    assert found.nights[1].lowest == pytest.approx(-2.0)


def test_what_was_not_seen_is_unknown_and_never_kept():
    found = review(until_hour=4)
    assert status(found, "rainfast") == UNKNOWN and status(found, "nights-autumn") == UNKNOWN
    assert status(found, "wind-strong") == KEPT
    assert not found.rain.complete and found.rain.amount == 0.0
    assert [night.kept for night in found.nights] == [None, None]


def test_what_broke_is_broken_although_the_rest_is_not_seen():
    found = review([("precipitation", 2, 3, 3.0)], until_hour=4)
    assert status(found, "rainfast") == BROKEN


def test_what_is_not_over_is_at_risk_where_the_forecast_breaks_it():
    now = START + timedelta(hours=4)
    wet = fair(a_pass(), [("precipitation", 5, 6, 4.0)])
    found = review(until_hour=4, coming=wet, now=now)
    assert status(found, "rainfast") == AT_RISK
    dry = review(until_hour=4, coming=fair(a_pass()), now=now)
    rain = next(one for one in dry.limits if one.rule == "rainfast")
    assert (rain.status, rain.over, rain.chance) == (UNKNOWN, False, 1.0)


def test_the_past_hours_of_a_forecast_are_not_trusted_nearer_than_they_err():
    # frost limit of the autumn nights is 0 degC; such a forecast errs by 1.4 K
    for lowest, measured, modelled in ((0.5, KEPT, AT_RISK), (-0.5, BROKEN, AT_RISK), (-3.0, BROKEN, BROKEN)):
        changes = [("air_temperature", 30, 40, lowest)]
        assert status(review(changes), "nights-autumn") == measured
        assert status(review(changes, kind=PAST_HOURS), "nights-autumn") == modelled


def test_wind_that_rose_only_after_the_end_within_the_same_hour_is_at_risk():
    short = a_pass(ended_at=START + timedelta(minutes=20))
    changes = [("wind_speed_10m", 1, 2, 9.0)]
    assert status(review(changes, record=short), "wind-strong") == AT_RISK
    assert status(review(changes), "wind-strong") == BROKEN


def test_soil_worked_out_from_a_dry_beginning_is_never_called_broken():
    found = review([("precipitation", -200, 0, 0.0)])
    assert status(found, "moisture-stress") == AT_RISK


def test_without_any_weather_nothing_is_kept():
    record = a_pass()
    first, hours = axis_of(record)
    from advisor.review.pass_made import task_of
    from advisor.review.weather import review_weather
    from tests.review.weather import RULES

    task = task_of(household(), record, ())
    found = review_weather(task, record, RULES, (), merge([], first, hours), None, START + timedelta(days=9))
    # the clock of the sun is known without weather; at noon it closes nothing
    assert {one.status for one in found.limits} <= {UNKNOWN, KEPT} and found.weather == ""
    assert [one.rule for one in found.limits if one.status == KEPT] in ([], ["inversion"])


RULE_SPANS = {"rainfast": ("precipitation", range(1, 7)), "rain-during": ("precipitation", range(0, 1)),
              "wind-strong": ("wind_speed_10m", range(0, 2)), "air-hot": ("air_temperature", range(0, 26))}  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(rule=st.sampled_from(sorted(RULE_SPANS)), data=st.data())
def test_one_unknown_hour_in_a_span_is_enough_to_keep_nothing(rule, data):
    name, span = RULE_SPANS[rule]
    hour = data.draw(st.sampled_from(list(span)))
    found = review([(name, hour, hour + 1, np.nan)])
    assert status(found, rule) == UNKNOWN


# -- putting past weather together


def test_measurements_win_over_past_hours_and_newer_over_older():
    record = a_pass()
    first, hours = axis_of(record)
    station = fair(record, [("air_temperature", 0, 400, np.nan), ("wind_speed_10m", -400, 400, 1.0)])
    model = fair(record, [("air_temperature", -400, 400, 20.0), ("wind_speed_10m", -400, 400, 9.0)])
    seen = merge([Part(station, MEASURED), Part(model, PAST_HOURS)], first, hours)
    start = seen.forecast.index(np.datetime64("2026-09-25T17", "h"))
    assert seen.forecast.values("wind_speed_10m")[0, 0, start] == 1.0
    assert seen.forecast.values("air_temperature")[0, 0, start] == 20.0
    assert seen.kind(["wind_speed_10m"], start, start + 2) == MEASURED
    assert seen.kind(["wind_speed_10m", "air_temperature"], start, start + 2) == PAST_HOURS
    assert seen.kind(["thunder_probability"], start, start + 2) == ""


def test_hours_that_had_not_happened_are_cut_off():
    record = a_pass()
    first, hours = axis_of(record)
    seen = merge([Part(fair(record), PAST_HOURS, START + timedelta(hours=2))], first, hours)
    start = seen.forecast.index(np.datetime64("2026-09-25T17", "h"))
    # an instant at 19:00 had been reached, the rain of 19:00 to 20:00 had not fallen
    assert np.isnan(seen.forecast.values("air_temperature")[0, 0, start : start + 4]).tolist() == [
        False,
        False,
        False,
        True,
    ]
    assert np.isnan(seen.forecast.values("precipitation")[0, 0, start : start + 4]).tolist() == [
        False,
        False,
        True,
        True,
    ]


def test_a_block_that_had_not_ended_is_cut_off_whole():
    from advisor.forecast import ForecastBuilder, Provenance

    begin = np.datetime64("2026-09-25T12", "h")
    builder = ForecastBuilder(begin, begin + np.timedelta64(12, "h"))
    builder.blocks("precipitation", np.array([begin, begin + 6]), np.array([6, 6]), np.array([6.0, 3.0]))
    part = Part(
        builder.build(Provenance("blocks")), PAST_HOURS, datetime.fromisoformat("2026-09-25T20:00+00:00")
    )
    seen = merge([part], begin - 3, 18)
    rain = seen.forecast.values("precipitation")[0, 0]
    assert rain[3:9].tolist() == [1.0] * 6 and np.isnan(rain[9:15]).all()
    one = seen.forecast.fields["precipitation"]
    assert (one.block_first[0, 0, 5], one.block_last[0, 0, 5]) == (3, 8)


def test_readings_of_the_start_are_measured_weather_of_that_hour():
    part = part_of_readings({"wind_speed_2m": 2.0, "air_temperature": 19.0, "wind_gust": 4.0}, START)
    assert part.kind == MEASURED and part.forecast.hours == 1
    # FAO-56 eq. 47, so that the wind at 2 m is the reading again
    assert part.forecast.values("wind_speed_10m")[0, 0, 0] * 4.87 / np.log(67.8 * 10 - 5.42) == pytest.approx(
        2.0
    )
    assert part_of_readings({}, START) is None


def test_a_forecast_takes_over_where_nothing_was_seen():
    record = a_pass()
    first, hours = axis_of(record)
    seen = merge([Part(fair(record, until_hour=2), MEASURED)], first, hours)
    ahead = fair(record, [("air_temperature", -400, 400, 30.0)])
    both = with_coming(seen, ahead)
    start = both.index(np.datetime64("2026-09-25T17", "h"))
    temperature = both.values("air_temperature")[0, 0]
    assert temperature[start + 1] < 25.0 and temperature[start + 2] == 30.0
    assert with_coming(seen, None) is seen.forecast
