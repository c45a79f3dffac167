"""Losing a value never gains a go: what the campaign of changed forecasts found, one by one. Our own behaviour."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import time, timedelta

import numpy as np
import pytest
from weather_bodies import forecast_body

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions, SiteTable
from advisor.errors import WeatherError
from advisor.forecast import Forecast, Reason
from advisor.model import Watering
from advisor.sequence import next_tasks
from advisor.sources import read_answer
from advisor.spread import apply_learned, join, pool
from advisor.task_table import build
from advisor.units import UnitError, conversion
from advisor.weather import Answers, Kept, assemble
from weather.households import NOW, PLACE, household, with_weather

TODAY = np.datetime64("2026-09-21")


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    made = household(tmp_path_factory.mktemp("household"))
    return with_weather(made, sources=("open-meteo", "nws", "met-norway"), warnings=False, observations=False)


def body(provider: str) -> dict:
    return forecast_body(provider, *PLACE, NOW)


def assembled(home, provider: str, changed: dict) -> Forecast:
    asked = NOW - timedelta(minutes=20)
    kept = Kept("forecast", provider, "", asked, asked, "", json.dumps(changed).encode())
    return assemble(home, Answers((kept,)), NOW).forecast


def area(home, forecast: Forecast, now=NOW, **of_area) -> AreaConditions:
    home = replace(home, areas={name: replace(one, **of_area) for name, one in home.areas.items()})
    site = home.site
    values = (site.latitude, site.longitude, site.elevation, site.hollow)
    sites = SiteTable(*(np.array([value]) for value in values))
    return AreaConditions(Conditions(forecast, sites), build(next_tasks(home, [], now, ()), [], now))


def at(changed: dict, text: str) -> int:
    """Row of a label of Open-Meteo."""
    return changed["hourly"]["time"].index(text)


# one meaning ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "dimension"), [("percent", "angle"), ("deg", "percent"), ("deg", "fraction")]
)
def test_an_angle_is_no_share_of_anything(unit, dimension):
    with pytest.raises(UnitError):
        conversion(unit, dimension)


def test_a_direction_in_percent_is_not_known(home):
    changed = body("met-norway")
    changed["properties"]["meta"]["units"]["wind_from_direction"] = "%"
    found = assembled(home, "met-norway", changed)
    assert (found.reason("wind_from_direction") != Reason.KNOWN).all()


def test_a_name_that_stands_twice_in_one_object_means_nothing():
    text = json.dumps(body("open-meteo"))
    again = text.replace('"hourly": {', '"hourly": {"wind_speed_10m": [1.0], ', 1)
    assert again != text
    with pytest.raises(WeatherError, match='"wind_speed_10m" twice'):
        read_answer(again.encode())


@pytest.mark.parametrize("alike", [True, False])
def test_a_time_that_stands_twice_is_known_only_where_both_say_the_same(home, alike):
    changed = body("met-norway")
    steps = changed["properties"]["timeseries"]
    steps.append({"time": steps[5]["time"], "data": steps[5 if alike else 12]["data"]})
    found = assembled(home, "met-norway", changed)
    hour = found.index(np.datetime64(steps[5]["time"][:13]))
    assert bool(found.fields["air_temperature"].known[0, 0, hour]) is alike
    assert found.fields["air_temperature"].known[0, 0, hour + 1]


def test_every_interval_under_a_long_one_is_not_known():
    changed = body("nws")
    values = changed["properties"]["windSpeed"]["values"]
    start = values[10]["validTime"].split("/")[0]
    values.append({"validTime": f"{start}/PT6H", "value": 9.0})
    found = read_answer(json.dumps(changed).encode(), fetched_at=NOW)
    first = found.index(np.datetime64(start[:13]))
    known = found.fields["wind_speed_10m"].known[0, 0]
    assert not known[first : first + 6].any()
    assert known[first - 1] and known[first + 6]


# what is lost is not estimated ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("provider", "gone", "ours"),
    [
        ("open-meteo", "wind_gusts_10m", "wind_gust"),
        ("open-meteo", "precipitation_probability", "precipitation_probability"),
        ("open-meteo", "dew_point_2m", "dew_point"),
        ("nws", "relativeHumidity", "relative_humidity"),
        ("nws", "windGust", "wind_gust"),
        ("nws", "probabilityOfPrecipitation", "precipitation_probability"),
    ],
)
def test_a_variable_that_a_source_always_has_is_lost_where_it_is_not_there(home, provider, gone, ours):
    changed = body(provider)
    del changed["hourly" if provider == "open-meteo" else "properties"][gone]
    found = assembled(home, provider, changed)
    assert set(np.unique(found.reason(ours)[..., :24])) == {Reason.NOT_FETCHED}
    assert not found.fields[ours].known.any()


def test_where_a_source_does_not_have_it_everywhere_it_may_be_estimated(home):
    """MET Norway gives gusts and chances in the Nordic countries only."""
    assert "wind_gust" not in assembled(home, "met-norway", body("met-norway")).fields


def test_a_series_of_the_wrong_length_is_lost_and_not_absent(home):
    changed = body("open-meteo")
    del changed["hourly"]["wind_gusts_10m"][-6:]
    found = read_answer(json.dumps(changed).encode(), fetched_at=NOW)
    assert (found.reason("wind_gust") == Reason.NULL).all()


def test_a_lost_dew_point_is_not_worked_out_of_the_humidity_for_the_members(home):
    changed = body("open-meteo")
    changed["hourly"]["dew_point_2m"][at(changed, "2026-09-22T16:00")] = None
    found = apply_learned(assembled(home, "open-meteo", changed), NOW, None, 11, "here")
    hour = found.index(np.datetime64("2026-09-22T16"))
    dew = found.fields["dew_point"]
    assert np.isnan(dew.values[0, :, hour]).all() and dew.reason[0, 0, hour] == Reason.NULL
    assert not np.isnan(dew.values[0, :, [hour - 1, hour + 1]]).any()


def test_a_lost_chance_of_rain_leaves_the_members_rain_unknown(home):
    changed = body("open-meteo")
    changed["hourly"]["precipitation_probability"][at(changed, "2026-09-22T16:00")] = None
    found = apply_learned(assembled(home, "open-meteo", changed), NOW, None, 11, "here")
    hour = found.index(np.datetime64("2026-09-22T15"))
    rain = found.fields["precipitation"]
    assert np.isnan(rain.values[0, :, hour]).all() and rain.reason[0, 0, hour] == Reason.NULL
    assert not np.isnan(rain.values[0, :, [hour - 1, hour + 1]]).any()


def test_members_of_a_source_without_chances_have_rain(home):
    found = apply_learned(assembled(home, "met-norway", body("met-norway")), NOW, None, 11, "here")
    assert not np.isnan(found.values("precipitation")[..., :24]).any()


# what is worked out of many hours ---------------------------------------------------------------------------------


def test_the_maximum_of_a_day_with_a_gap_is_not_known(home):
    changed = body("open-meteo")
    maximum = area(home, assembled(home, "open-meteo", changed)).day_maximum.values
    noon = at(changed, "2026-09-22T18:00")
    changed["hourly"]["temperature_2m"][noon] = None
    found = area(home, assembled(home, "open-meteo", changed))
    hours = found.conditions.axis
    tomorrow = (hours >= np.datetime64("2026-09-22T05")) & (hours < np.datetime64("2026-09-23T05"))
    assert not np.isnan(maximum[0, 0, tomorrow]).any()
    assert np.isnan(found.day_maximum.values[0, 0, tomorrow]).all()
    assert not np.isnan(found.day_maximum.values[0, 0, np.flatnonzero(tomorrow)[-1] + 1])


def test_a_day_that_the_answer_begins_in_has_a_maximum(home):
    found = area(home, assembled(home, "met-norway", body("met-norway")))
    assert not np.isnan(found.day_maximum.values[0, 0, 0])


def test_rain_lost_on_the_day_of_the_look_may_have_waterlogged_the_soil(home):
    """The soil was seen moist this morning; what falls this afternoon is not over."""
    changed = body("open-meteo")
    tomorrow = np.datetime64("2026-09-22T14")
    dry = area(home, assembled(home, "open-meteo", changed), soil_seen=TODAY.item())
    assert not np.isnan(dry.recent_water.values[0, 0, dry.conditions.forecast.index(tomorrow)])
    changed["hourly"]["precipitation"][at(changed, "2026-09-21T23:00")] = None
    lost = area(home, assembled(home, "open-meteo", changed), soil_seen=TODAY.item())
    assert np.isnan(lost.recent_water.values[0, 0, lost.conditions.forecast.index(tomorrow)])


@pytest.mark.parametrize("loss", ["gap", "unit", "nulls", "none"])
def test_a_measured_soil_does_not_count_in_the_place_of_a_layer_that_is_lost(home, loss):
    """The forecast had its soil at 15 degC, too warm; the thermometer said 8 degC."""
    changed = warm_soil(forecast_body("open-meteo", *PLACE, NOW, past_days=7))
    hourly, units = changed["hourly"], changed["hourly_units"]
    if loss == "gap":
        hourly["soil_temperature_6cm"][at(changed, "2026-09-20T12:00")] = None
    if loss == "unit":
        units["soil_temperature_6cm"] = "degrees?"
    if loss == "nulls":
        hourly["soil_temperature_6cm"] = [None] * len(hourly["time"])
    if loss == "none":
        del hourly["soil_temperature_6cm"], units["soil_temperature_6cm"]
    assert np.isnan(five_day_mean(home, assembled(home, "open-meteo", changed), measured=8.0))


def warm_soil(changed: dict) -> dict:
    changed["hourly"]["soil_temperature_6cm"] = [15.0] * len(changed["hourly"]["time"])
    return changed


def five_day_mean(home, weather: Forecast, measured: float) -> float:
    found = area(home, weather, soil_temperature=measured, soil_temperature_seen=TODAY.item())
    return found.soil_five_day_mean[0, 0, weather.index(np.datetime64("2026-09-22T14"))]


@pytest.mark.parametrize(("measured", "expected"), [(8.0, 15.0), (17.0, 17.0)])
def test_the_warmer_of_a_layer_and_a_measured_soil_counts(home, measured, expected):
    changed = warm_soil(forecast_body("open-meteo", *PLACE, NOW, past_days=7))
    assert five_day_mean(home, assembled(home, "open-meteo", changed), measured) == pytest.approx(expected)


def test_a_measured_soil_counts_alone_where_the_source_has_no_layer(home):
    assert five_day_mean(home, assembled(home, "met-norway", body("met-norway")), 8.0) == pytest.approx(8.0)


def begun_at(changed: dict, start: str) -> dict:
    """The answer without what came before a time, of whichever provider."""
    properties = changed["properties"]
    if "timeseries" in properties:
        properties["timeseries"] = [one for one in properties["timeseries"] if one["time"] >= start]
    for layer in properties.values():
        if isinstance(layer, dict) and "values" in layer:
            layer["values"] = [one for one in layer["values"] if one["validTime"] >= start]
    return changed


def test_an_answer_that_lost_the_morning_does_not_make_its_day_milder(home):
    """The soil was seen moist this morning; what the day uses until tomorrow is no less for the hours that are lost."""
    later = np.datetime64("2026-09-22T17")

    def stress(start: str) -> float:
        weather = assembled(home, "nws", begun_at(body("nws"), start))
        return area(home, weather, soil_seen=TODAY.item()).soil_stress[0, 0, weather.index(later)]

    found = [stress(f"2026-09-21T{hour:02d}") for hour in (5, 6, 8, 10, 12)]
    assert not np.isnan(found).any()
    assert (np.diff(found) <= 1e-12).all() and found[-1] < found[0]


@pytest.mark.parametrize(
    ("seen_at", "known"), [(None, False), (time(6, 30), False), (time(7), True), (time(9), False)]
)
def test_rain_before_the_data_counts_as_none_only_until_the_time_of_the_look(home, seen_at, known):
    """The answer has lost what came before 07:00; whether it poured between the look and then nobody says."""
    weather = assembled(home, "nws", begun_at(body("nws"), "2026-09-21T12"))
    found = area(home, weather, soil_seen=TODAY.item(), soil_seen_at=seen_at).recent_water.values[0, 0]
    now = weather.index(np.datetime64("2026-09-21T12"))
    assert bool(np.isnan(found[now])) is not known
    assert not np.isnan(found[now + 24])


#: MET Norway's answers begin with the hour in which they were asked
ASKED_AT = NOW - timedelta(minutes=20)


def met_norway(begins: str) -> dict:
    return begun_at(forecast_body("met-norway", *PLACE, ASKED_AT), f"2026-09-21T{begins}:00:00Z")


@pytest.mark.parametrize(("seen", "begins", "known"), [
    ("2026-09-21", "11", True),
    # the hour in which it was asked, which the answer did hold, is lost
    ("2026-09-21", "12", False),
    # yesterday's look says nothing of this morning
    ("2026-09-20", "11", False),
])  # fmt: skip
def test_of_a_source_without_a_past_the_day_of_the_look_counts_as_dry_before_it_was_asked(home, seen, begins, known):
    """What MET Norway's answers never held cannot be lost."""
    weather = assembled(only("met-norway", home), "met-norway", met_norway(begins))
    found = area(home, weather, soil_seen=np.datetime64(seen).item(), soil_seen_at=None).recent_water.values[0, 0]
    assert bool(np.isnan(found[weather.index(np.datetime64("2026-09-21T14"))])) is not known


def only(source: str, home):
    return replace(home, settings=replace(home.settings, sources=(source,)))


def test_water_of_the_timetable_before_the_data_is_not_vouched_for(home):
    weather = assembled(only("met-norway", home), "met-norway", met_norway("11"))
    watered = (Watering(frozenset(range(7)), time(3), 30.0),)
    found = area(home, weather, soil_seen=TODAY.item(), soil_seen_at=None, irrigation=watered).recent_water.values[0, 0]
    assert np.isnan(found[weather.index(np.datetime64("2026-09-21T14"))])


def test_a_source_that_stands_in_for_one_with_a_past_has_lost_it(home):
    weather = assembled(home, "met-norway", met_norway("11"))
    assert home.settings.sources[0] != "met-norway" and weather.provenance.no_past_before is None


def test_an_answer_that_was_confirmed_later_still_begins_when_it_came(home):
    came, confirmed = NOW - timedelta(hours=5), NOW - timedelta(minutes=20)
    kept = Kept("forecast", "met-norway", "", came, confirmed, "", json.dumps(met_norway("11")).encode())
    found = assemble(only("met-norway", home), Answers((kept,)), NOW).forecast
    assert found.provenance.no_past_before == np.datetime64("2026-09-21T07", "h")


def test_members_of_a_source_with_a_past_may_have_lost_it(home):
    base = assembled(only("met-norway", home), "met-norway", met_norway("11"))
    with_past = assembled(home, "open-meteo", body("open-meteo"))
    assert base.provenance.no_past_before is not None
    assert join(with_past, base).provenance.no_past_before is None
    assert pool([with_past, base]).provenance.no_past_before is None
    assert pool([base, base]).provenance.no_past_before == base.provenance.no_past_before


def test_a_source_without_a_past_still_sees_tomorrow(home):
    """Asked in the morning of a mild day with the soil just seen moist, it does not call tomorrow's turf dry."""
    weather = assembled(only("met-norway", home), "met-norway", met_norway("11"))
    found = area(home, weather, soil_seen=TODAY.item())
    assert found.soil_stress[0, 0, weather.index(np.datetime64("2026-09-22T14"))] >= 0.9


@pytest.mark.parametrize(("seen_at", "water"), [(None, 38.0), (time(4), 38.0), (time(8), 0.0), (time(19), 38.0)])
def test_a_look_in_the_future_vouches_for_nothing(home, seen_at, water):
    """38 mm fell at 05:00; it is 09:00. Somebody wrote 19:00."""
    changed = body("open-meteo")
    changed["hourly"]["precipitation"][at(changed, "2026-09-21T11:00")] = 38.0
    weather = assembled(home, "open-meteo", changed)
    later = NOW + timedelta(hours=2)
    found = area(home, weather, later, soil_seen=TODAY.item(), soil_seen_at=seen_at).recent_water.values[0, 0]
    assert found[weather.index(np.datetime64("2026-09-21T16"))] == pytest.approx(water, abs=1.0)


def test_what_fell_before_the_look_counts_as_none_known_or_lost(home):
    """An inch and a half last night, and seen moist at seven: it has drained, whether or not the rain is known."""
    changed = body("open-meteo")
    night, noon = "2026-09-21T09:00", np.datetime64("2026-09-21T17")
    changed["hourly"]["precipitation"][at(changed, night)] = 38.0

    def water(seen_at) -> float:
        weather = assembled(home, "open-meteo", changed)
        found = area(home, weather, soil_seen=TODAY.item(), soil_seen_at=seen_at)
        return found.recent_water.values[0, 0, weather.index(noon)]

    assert water(None) >= 38.0 and water(time(7)) < 1.0
    changed["hourly"]["precipitation"][at(changed, night)] = None
    assert np.isnan(water(None)) and water(time(7)) < 1.0


def test_rain_lost_on_the_day_of_the_look_leaves_the_soil_unknown_and_not_milder(home):
    changed = body("open-meteo")
    tomorrow = np.datetime64("2026-09-22T14")
    whole = area(home, assembled(home, "open-meteo", changed), soil_seen=TODAY.item())
    assert not np.isnan(whole.soil_stress[0, 0, whole.conditions.forecast.index(tomorrow)])
    changed["hourly"]["precipitation"][at(changed, "2026-09-21T14:00")] = None
    lost = area(home, assembled(home, "open-meteo", changed), soil_seen=TODAY.item())
    assert np.isnan(lost.soil_stress[0, 0, lost.conditions.forecast.index(tomorrow)])
