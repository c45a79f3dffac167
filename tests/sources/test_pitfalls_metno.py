"""Pitfalls of MET Norway answers and across providers, each shown by a real answer where there is one."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import payloads
import pytest

from advisor.errors import WeatherError
from advisor.forecast import Reason
from advisor.quality import control
from advisor.sources import metno, read_answer
from advisor.transport import Archived, decide
from advisor.variables import VARIABLES

INNSBRUCK = "metno/compact_Innsbruck_20220602.json"
LONDON = "metno/complete_London_20200720.json"
NYC = "metno/compact_NYC_20200720.json"
BRISBANE = "metno/vcr_compact_Brisbane_headers_20251029.json"
BMX = "nws/gridpoints_BMX_32_69_20240223.json"
NEW_JERSEY = "openmeteo/forecast_NJ_14day_utc_20251228.json"
ALL = [INNSBRUCK, LONDON, NYC, BRISBANE]


def forecast(name: str):
    return read_answer(payloads.body(name))


def timeseries(name: str) -> list[dict]:
    data = payloads.data(name)
    if "http_interactions" in data:
        data = json.loads(data["http_interactions"][0]["response"]["body"]["string"])
    return data.get("data", data)["properties"]["timeseries"]


# 24


def test_overlapping_six_hour_amounts_are_not_summed_nor_left_out():
    series = timeseries(INNSBRUCK)
    amounts = [
        [entry["data"][part]["details"]["precipitation_amount"] for entry in series if part in entry["data"]]
        for part in ("next_6_hours", "next_1_hours")
    ]
    assert sum(amounts[0]) == pytest.approx(84.6)  # what the two pitfalls give
    assert sum(amounts[1]) == pytest.approx(7.3)
    assert np.nansum(forecast(INNSBRUCK).values("precipitation")) == pytest.approx(57.7)


# 25


@pytest.mark.parametrize("name", ALL)
def test_steps_of_six_hours_after_the_hourly_part(name):
    read = forecast(name)
    hours = np.flatnonzero(read.fields["air_temperature"].known[0, 0])
    steps = np.diff(hours)
    seam = np.flatnonzero(steps == 6)[0]
    assert 51 <= seam <= 65
    assert (steps[:seam] == 1).all()
    assert (steps[seam:] == 6).all()


@pytest.mark.parametrize("name", ALL)
def test_amounts_follow_each_other_without_a_hole_to_the_last_entry(name):
    read = forecast(name)
    rain = read.fields["precipitation"]
    assert rain.known[0, 0, :-1].all()
    assert not rain.known[0, 0, -1]  # the last entry is an instant only
    assert rain.reason[0, 0, -1] == Reason.AFTER_END
    seam = np.flatnonzero(np.diff(np.flatnonzero(read.fields["air_temperature"].known[0, 0])) == 6)[0]
    lengths = (rain.block_last - rain.block_first + 1)[0, 0]
    assert set(lengths[:seam]) == {1}
    assert set(lengths[seam:-1]) == {6}


# 26


@pytest.mark.parametrize("variable", ["air_temperature", "wind_speed_10m", "relative_humidity"])
def test_between_instants_six_hours_apart_nothing_is_known(variable):
    one = forecast(INNSBRUCK).fields[variable]
    values, reason = one.values[0, 0], one.reason[0, 0]
    seam = np.flatnonzero(np.isnan(values))[0] - 1
    between = np.arange(len(values)) > seam
    between &= np.isnan(values)
    assert between.sum() == 5 * ((len(values) - 1 - seam) // 6)
    assert (reason[between] == Reason.COARSE_STEP).all()


# 27


def test_compact_carries_no_gust_chance_or_dew_point():
    for name in (INNSBRUCK, NYC, BRISBANE):
        read = forecast(name)
        for variable in ("wind_gust", "precipitation_probability", "dew_point"):
            assert variable not in read.fields
            assert (read.reason(variable) == Reason.NOT_CARRIED).all()


def test_complete_outside_the_nordic_countries_carries_a_dew_point_and_no_gust_or_chance():
    read = forecast(LONDON)
    assert read.fields["dew_point"].known.any()
    assert not {"wind_gust", "precipitation_probability"} & read.fields.keys()


def test_an_absent_key_in_one_entry_is_unknown_there():
    data = payloads.data(INNSBRUCK)
    del data["properties"]["timeseries"][3]["data"]["instant"]["details"]["wind_speed"]
    read = read_answer(json.dumps(data).encode())
    assert np.isnan(read.values("wind_speed_10m")[0, 0, 3])
    assert read.reason("wind_speed_10m")[0, 0, 3] == Reason.NULL
    assert read.fields["wind_speed_10m"].known[0, 0, 2] and read.fields["wind_speed_10m"].known[0, 0, 4]


def test_gust_and_chance_are_read_where_they_are_carried():
    # shape of the provider's documented example for the Nordic countries; the numbers are our own
    body = payloads.data(INNSBRUCK)
    entry = body["properties"]["timeseries"][0]["data"]
    entry["instant"]["details"]["wind_speed_of_gust"] = 9.5
    entry["next_1_hours"]["details"] |= {"probability_of_precipitation": 35.0, "probability_of_thunder": 2.0}
    body["properties"]["meta"]["units"] |= {"wind_speed_of_gust": "m/s", "probability_of_precipitation": "%",
                                            "probability_of_thunder": "%"}  # fmt: skip
    read = read_answer(json.dumps(body).encode())
    assert read.values("wind_gust")[0, 0, 0] == 9.5
    assert read.values("precipitation_probability")[0, 0, 0] == 35.0
    assert read.values("thunder_probability")[0, 0, 0] == 2.0


# 28


def test_wind_is_metres_per_second_and_amounts_are_of_the_hour_that_follows():
    series = timeseries(INNSBRUCK)
    read = forecast(INNSBRUCK)
    for entry in series[:50]:
        at = read.index(np.datetime64(entry["time"][:13], "h"))
        assert read.values("wind_speed_10m")[0, 0, at] == entry["data"]["instant"]["details"]["wind_speed"]
        following = entry["data"]["next_1_hours"]["details"]["precipitation_amount"]
        assert read.values("precipitation")[0, 0, at] == following


# 29 (what is sent over the wire: tests/test_transport.py)


def archived(name: str) -> Archived:
    data = payloads.data(name)
    response = data["http_interactions"][0]["response"] if "http_interactions" in data else data
    headers = {key.lower(): value for key, value in response["headers"].items()}
    fetched = read_answer(payloads.body(name)).provenance.fetched_at
    return Archived(b"{}", fetched, "https://api.met.no/x", 200, headers)


@pytest.mark.parametrize(("name", "minutes"), [(LONDON, 31.9), (BRISBANE, 31.8)])
def test_it_is_not_asked_before_expires_and_then_with_exactly_the_last_last_modified(name, minutes):
    kept = archived(name)
    until = kept.fetched_at + timedelta(minutes=minutes)
    before = decide(kept, kept.url, until - timedelta(seconds=10))
    assert before.action == "use"
    assert abs((before.fresh_until - until).total_seconds()) < 6
    after = decide(kept, kept.url, until + timedelta(seconds=10))
    assert after.action == "revalidate"
    assert after.headers == {"If-Modified-Since": kept.headers["last-modified"]}


def test_coordinates_have_four_decimals():
    params = metno.forecast_request(59.913868, 10.752245, altitude=23.4).params
    assert params == {"lat": "59.9139", "lon": "10.7522", "altitude": "23"}


def test_an_empty_series_gives_the_providers_own_reason():
    data = {"type": "Feature", "geometry": {"type": "Point", "coordinates": [1, 2]},
            "properties": {"meta": {"error": "no data for this point", "units": {}},
            "timeseries": []}}  # fmt: skip
    with pytest.raises(WeatherError, match="no data for this point"):
        read_answer(json.dumps(data).encode())


def test_a_fresh_answer_may_already_be_ten_hours_old():
    for name in (LONDON, NYC):
        read = forecast(name)
        age = (read.provenance.fetched_at - read.provenance.issued_at).total_seconds() / 3600.0
        assert age == pytest.approx(10.2, abs=0.05)
        checked = control(read, read.provenance.fetched_at + timedelta(minutes=5))
        assert checked.fields["air_temperature"].known.any()


# 30


def test_the_same_hour_has_one_label_whatever_the_provider_calls_it():
    """2.4 mm between 09:00 and 10:00 UTC, as each provider would write it, our own invention."""
    open_meteo = {
        "latitude": 41.6, "longitude": -93.6, "generationtime_ms": 0.1, "utc_offset_seconds": 0,
        "elevation": 262.0, "hourly_units": {"time": "iso8601", "precipitation": "mm"},
        "hourly": {"time": ["2026-06-01T09:00", "2026-06-01T10:00"], "precipitation": [0.0, 2.4]},
    }  # fmt: skip
    layer = {"uom": "wmoUnit:mm", "values": [{"validTime": "2026-06-01T09:00:00+00:00/PT1H", "value": 2.4}]}
    dry = {"uom": "wmoUnit:degC", "values": [{"validTime": "2026-06-01T08:00:00+00:00/PT3H", "value": 15.0}]}
    nws = {
        "id": "https://api.weather.gov/gridpoints/TST/1,1", "geometry": None,
        "properties": {"gridId": "TST", "updateTime": "2026-06-01T07:00:00+00:00",
                       "quantitativePrecipitation": layer, "temperature": dry},
    }  # fmt: skip
    hour = {"instant": {"details": {"air_temperature": 15.0}}}
    met_norway = {
        "type": "Feature", "geometry": {"type": "Point", "coordinates": [-93.6, 41.6, 262]},
        "properties": {
            "meta": {"updated_at": "2026-06-01T07:00:00Z",
                     "units": {"air_temperature": "celsius", "precipitation_amount": "mm"}},
            "timeseries": [
                {"time": "2026-06-01T09:00:00Z",
                 "data": hour | {"next_1_hours": {"details": {"precipitation_amount": 2.4}}}},
                {"time": "2026-06-01T10:00:00Z", "data": hour},
            ],
        },
    }  # fmt: skip
    for answer in (open_meteo, nws, met_norway):
        read = read_answer(json.dumps(answer).encode())
        rain = read.values("precipitation")[0, 0]
        wet = read.axis[np.flatnonzero(rain > 0.0)]
        assert wet.tolist() == [np.datetime64("2026-06-01T09", "h").item()], read.provenance.source
        assert np.nansum(rain) == pytest.approx(2.4)


# 31


def test_wind_is_at_ten_metres_in_one_unit_and_the_source_is_kept_beside_it():
    """Their definitions differ (highest prevailing, instant, ten-minute mean), so the source stays with the
    value."""
    assert VARIABLES["wind_speed_10m"].dimension == "speed"
    seen = set()
    for name in (
        "nws/gridpoints_BMX_32_69_20240223.json",
        "openmeteo/forecast_NJ_14day_utc_20251228.json",
        INNSBRUCK,
    ):
        read = forecast(name)
        assert 0.0 < np.nanmean(read.values("wind_speed_10m")) < 10.0  # metres per second in all three
        seen.add(read.provenance.source)
    assert seen == {"nws", "open-meteo", "met-norway"}


def test_a_first_entry_off_the_full_hour_is_left_out():
    data = payloads.data(INNSBRUCK)
    data["properties"]["timeseries"][0]["time"] = "2022-06-02T13:38:00Z"
    read = read_answer(json.dumps(data).encode())
    assert read.start == np.datetime64("2022-06-02T15", "h")
    assert any(flag.check == "time" for flag in read.flags)


def test_it_is_stale_when_older_than_its_limit():
    read = forecast(INNSBRUCK)
    now = datetime(2022, 6, 3, 9, tzinfo=UTC)
    assert not control(read, now).fields["air_temperature"].known.any()


def test_a_six_hour_amount_in_the_hourly_part_stands_for_none_of_its_hours():
    data = payloads.data(INNSBRUCK)
    entry = data["properties"]["timeseries"][2]["data"]
    assert "next_6_hours" in entry
    del entry["next_1_hours"]
    rain = read_answer(json.dumps(data).encode()).fields["precipitation"]
    assert np.isnan(rain.values[0, 0, 2])
    assert rain.reason[0, 0, 2] == Reason.NULL
    assert rain.known[0, 0, [1, 3]].all()
