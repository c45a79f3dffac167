"""Pitfalls of National Weather Service answers, each shown by a real answer where there is one.

Numbers stated in a test were counted in the named answer by hand-written one-off sums, not by the program.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import payloads
import pytest

from advisor.clock import to_numpy
from advisor.errors import WeatherError
from advisor.forecast import Reason
from advisor.quality import control
from advisor.sources import nws, read_answer, recognise
from advisor.sources.iso8601 import duration_seconds, interval_hours
from advisor.sources.nws_alerts import in_force, read_alerts
from advisor.sources.nws_observations import newest, read_observations
from advisor.sources.reading import read_document

BMX = "nws/gridpoints_BMX_32_69_20240223.json"
OHX = "nws/gridpoints_OHX_14_55_20240108.json"
LZK = "nws/gridpoints_LZK_83_73_20240220.json"
RAH = "nws/gridpoints_serverexpress_20190123.json"
ALY = "nws_templated/gridpoints_ALY_71_67_202607.json"
GRIDPOINTS = payloads.names("nws/gridpoints_*.json")


def forecast(name: str):
    return read_answer(payloads.body(name))


def series(name: str, variable: str) -> np.ndarray:
    return forecast(name).values(variable)[0, 0]


def observations(name: str):
    return read_observations(read_document(payloads.body(name)))


# 1


@pytest.mark.parametrize(("name", "total", "repeated"), [(BMX, 28.2, 169.2), (OHX, 64.5, 387.0)])
def test_a_six_hour_amount_is_divided_among_its_hours_not_repeated(name, total, repeated):
    got = np.nansum(series(name, "precipitation"))
    assert got == pytest.approx(total, abs=0.05)
    layer = payloads.data(name)["properties"]["quantitativePrecipitation"]["values"]
    naive = sum(entry["value"] * interval_hours(entry["validTime"])[1] for entry in layer)
    assert naive == pytest.approx(
        repeated, abs=0.5
    )  # what the pitfall gives, so that the answer does show it


def test_an_amount_remains_one_block_of_its_interval():
    one = forecast(BMX).fields["precipitation"]
    lengths = (one.block_last - one.block_first + 1)[0, 0]
    known = ~np.isnan(one.values[0, 0])
    assert set(lengths[known]) == {6}


# 2


def test_the_end_of_the_amounts_is_unknown_not_dry():
    read = forecast(LZK)
    rain, chance = read.fields["precipitation"], read.fields["precipitation_probability"]
    last_rain = read.axis[np.flatnonzero(rain.known[0, 0])[-1]]
    last_chance = read.axis[np.flatnonzero(chance.known[0, 0])[-1]]
    issue = np.datetime64("2024-02-20T17:36:55")
    assert (last_rain + np.timedelta64(1, "h") - issue) / np.timedelta64(1, "h") == pytest.approx(102, abs=1)
    assert (last_chance + np.timedelta64(1, "h") - issue) / np.timedelta64(1, "h") == pytest.approx(
        187, abs=1
    )
    after = read.axis > last_rain
    assert np.isnan(rain.values[0, 0, after]).all()
    assert (rain.reason[0, 0, after] == Reason.AFTER_END).all()
    flagged = control(read, datetime(2024, 2, 20, 18, tzinfo=UTC)).flags
    assert any(flag.check == "ends-early" and flag.variable == "precipitation" for flag in flagged)


def test_the_end_of_the_amounts_in_the_growing_season_is_unknown_too():
    now = datetime(2026, 7, 15, 12, tzinfo=UTC) + timedelta(seconds=29327)
    read = read_answer(payloads.rendered(ALY, now))
    last = read.axis[np.flatnonzero(read.fields["precipitation"].known[0, 0])[-1]]
    ahead = (last + np.timedelta64(1, "h") - to_numpy(now)) / np.timedelta64(1, "h")
    assert ahead == pytest.approx(76, abs=1)
    assert np.flatnonzero(read.fields["air_temperature"].known[0, 0])[-1] - read.index(last) > 90


# 3


@pytest.mark.parametrize("name", GRIDPOINTS)
def test_layers_are_placed_by_their_own_intervals_not_zipped(name):
    properties = payloads.data(name)["properties"]
    read = forecast(name)
    for theirs, ours in (("temperature", "air_temperature"), ("relativeHumidity", "relative_humidity")):
        for entry in properties[theirs]["values"]:
            start, length = entry["validTime"].split("/")
            begin = np.datetime64(start[:13], "h")
            hours = duration_seconds(length) // 3600
            at = read.index(begin)
            assert read.values(ours)[0, 0, at : at + hours] == pytest.approx(entry["value"])


# 4


@pytest.mark.parametrize(
    ("text", "hours"),
    [("PT1H", 1), ("P1DT6H", 30), ("P4DT12H", 108), ("P7DT21H", 189), ("P7D", 168), ("P1W", 168)],
)
def test_every_iso_8601_duration_is_read(text, hours):
    assert interval_hours(f"2024-02-20T11:00:00+00:00/{text}") == (np.datetime64("2024-02-20T11", "h"), hours)


def test_an_end_in_place_of_a_duration_is_read():
    # the provider's schema allows start/end beside start/duration
    assert interval_hours("2024-02-20T11:00:00+00:00/2024-02-20T17:00:00+00:00") == (
        np.datetime64("2024-02-20T11", "h"),
        6,
    )


@pytest.mark.parametrize("text", ["P1Y/2024", "NOW/PT6H", "2024-02-20T11:00:00+00:00/P1M", "", "2024", None,
                                  "2024-02-20T11:00:00+00:00/PT", "2024-02-20T11:00:00+00:00/PT-6H",
                                  "2024-02-20T11:30:00+00:00/PT1H", "2024-02-20T11:00:00+00:00/PT30M",
                                  "2024-02-20T11:00:00/PT1H"])  # fmt: skip
def test_an_interval_that_is_not_whole_hours_is_no_interval(text):
    assert interval_hours(text) is None


# 5


@pytest.mark.parametrize("name", GRIDPOINTS)
def test_hours_already_gone_lie_before_now_on_the_axis(name):
    read = forecast(name)
    gone = read.index(to_numpy(read.provenance.issued_at, "h"))
    assert 5 <= gone <= 8  # six or seven hours in every answer
    assert read.axis[gone] <= to_numpy(read.provenance.issued_at) < read.axis[gone + 1]


# 6


@pytest.mark.parametrize("name", payloads.names("nws/hourly_*.json") + payloads.names("nws/forecast_*.json"))
def test_the_rounded_wind_of_the_text_forecasts_is_refused(name):
    body = payloads.body(name)
    assert recognise(body) == "nws"
    with pytest.raises(WeatherError, match="wind is rounded to 5 mph"):
        read_answer(body)


def test_ten_mph_in_the_text_stands_for_8_to_11_mph_in_the_layers():
    raw = forecast(BMX)
    found = []
    for period in payloads.data("nws/hourly_BMX_32_69_20240223.json")["properties"]["periods"]:
        at = raw.index(to_numpy(datetime.fromisoformat(period["startTime"]), "h"))
        if period["windSpeed"] == "10 mph":
            found.append(raw.values("wind_speed_10m")[0, 0, at] / 0.44704)
    assert min(found) == pytest.approx(8.1, abs=0.05)
    assert max(found) == pytest.approx(11.5, abs=0.05)


# 7


def test_calm_without_a_direction_breaks_nothing():
    periods = payloads.data("nws/hourly_MPX_103_20260720.json")["properties"]["periods"]
    calm = [period for period in periods if period["windDirection"] == ""]
    assert len(calm) == 11
    with pytest.raises(WeatherError):  # refused as a text forecast, and not by a failed look-up
        read_answer(payloads.body("nws/hourly_MPX_103_20260720.json"))
    reports = observations(payloads.names("nws/observations_latest_*_20260206.json")[0])
    assert reports[0].values["wind_speed_10m"] == 0.0


# 8


def test_units_are_taken_from_the_answer_metres_per_second_in_2019():
    layer = payloads.data(RAH)["properties"]["windSpeed"]
    assert layer["uom"] == "unit:m_s-1"
    assert series(RAH, "wind_speed_10m")[0] == pytest.approx(layer["values"][0]["value"])


def test_units_are_taken_from_the_answer_kilometres_per_hour_since():
    layer = payloads.data(BMX)["properties"]["windSpeed"]
    assert layer["uom"] == "wmoUnit:km_h-1"
    assert series(BMX, "wind_speed_10m")[0] == pytest.approx(layer["values"][0]["value"] / 3.6)


def test_rain_of_observations_in_metres_or_millimetres():
    body = payloads.data("nws/observations_latest_pynws_20220302.json")
    assert body["properties"]["precipitationLastHour"]["unitCode"] == "wmoUnit:m"
    body["properties"]["precipitationLastHour"]["value"] = 0.0021
    report = read_observations(read_document(json.dumps(body).encode()))[0]
    assert report.values["precipitation"] == pytest.approx(2.1)
    body = payloads.data("nws/observations_KTCL_20240223_limit1.json")
    quantity = body["features"][0]["properties"]["precipitationLastHour"]
    assert quantity["unitCode"] == "wmoUnit:mm"
    quantity["value"] = 2.1
    assert read_observations(read_document(json.dumps(body).encode()))[0].values[
        "precipitation"
    ] == pytest.approx(2.1)


def test_an_unknown_unit_makes_its_variable_unknown_and_nothing_else():
    body = payloads.data(BMX)
    body["properties"]["windSpeed"]["uom"] = "wmoUnit:furlong_d-1"
    read = read_answer(json.dumps(body).encode())
    assert np.isnan(read.values("wind_speed_10m")).all()
    assert (read.reason("wind_speed_10m") == Reason.UNIT).all()
    assert read.fields["air_temperature"].known.all()
    assert [(flag.check, flag.variable) for flag in read.flags] == [("unit", "wind_speed_10m")]


# 9


def test_an_empty_layer_is_not_carried():
    assert "surface_pressure" not in forecast(BMX).fields
    assert (forecast(BMX).reason("surface_pressure") == Reason.NOT_CARRIED).all()


def test_a_gust_that_ends_72_hours_early_is_unknown_after_its_end():
    read = forecast(RAH)
    gust, wind = read.fields["wind_gust"].known[0, 0], read.fields["wind_speed_10m"].known[0, 0]
    assert np.flatnonzero(wind)[-1] - np.flatnonzero(gust)[-1] == 72
    after = control(read, datetime(2019, 1, 24, tzinfo=UTC)).fields["wind_gust"]
    assert not after.known[0, 0, np.flatnonzero(gust)[-1] + 1 :].any()  # not replaced by the mean wind


def test_a_null_in_a_layer_is_unknown():
    body = payloads.data(BMX)
    body["properties"]["probabilityOfPrecipitation"]["values"][0]["value"] = None
    read = read_answer(json.dumps(body).encode())
    assert np.isnan(read.values("precipitation_probability")[0, 0, :66]).all()
    assert (read.reason("precipitation_probability")[0, 0, :66] == Reason.NULL).all()


@pytest.mark.parametrize("name", ["nws/observations_no_wind_20240112_limit1.json",
                                  "nws/observations_KTCL_20240223_limit1.json"])  # fmt: skip
def test_a_null_wind_is_not_calm(name):
    assert "wind_speed_10m" not in observations(name)[-1].values


def test_an_absent_rain_of_the_last_hour_is_not_dry():
    assert "precipitation" not in observations("nws/observations_latest_KMIC_20260720.json")[-1].values


def test_a_hole_in_the_newest_report_is_filled_from_an_older_one():
    now = datetime(2024, 1, 12, 20, 30, tzinfo=UTC)
    without = observations("nws/observations_no_wind_20240112_limit1.json")
    older = observations("nws/observations_KMSP_20240112_limit1.json")
    assert "wind_speed_10m" not in newest(without + older, now)  # 4.6 h old: too old to stand in
    value, at = newest(without + older, now, oldest_hours=6.0)["wind_speed_10m"]
    assert (value, at) == (older[-1].values["wind_speed_10m"], older[-1].at)


# 10


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("nws/problem_404_InvalidPoint.json", "InvalidPoint"),
        ("nws/problem_500_UnexpectedProblem.json", "UnexpectedProblem"),
        ("nws/problem_503_ForecastGridExpired.json", "ForecastGridExpired"),
        ("nws/problem_503_UnavailableWebService.json", "UnavailableWebService"),
    ],
)
def test_a_problem_report_gives_the_providers_own_reason(name, says):
    with pytest.raises(WeatherError, match=says) as raised:
        read_answer(payloads.body(name))
    assert payloads.data(name)["detail"] in str(raised.value)
    assert raised.value.hint


def test_a_problem_is_known_by_the_last_segment_of_its_type_whatever_precedes_it():
    # 2020: an address; 2026, in the provider's own interface description: urn:noaa:nws:api:UnexpectedProblem
    for kind in ("https://api.weather.gov/problems/UnexpectedProblem", "urn:noaa:nws:api:UnexpectedProblem"):
        data = {
            "type": kind,
            "title": "Unexpected Problem",
            "status": 500,
            "detail": "x",
            "correlationId": "1",
        }
        assert nws.problem_name(data) == "UnexpectedProblem"


def test_a_gate_page_is_not_an_answer():
    with pytest.raises(WeatherError, match='web page, which says "Access Denied"'):
        read_answer(b"<HTML><HEAD>\n<TITLE>Access Denied</TITLE></HEAD><BODY>Reference #18</BODY></HTML>")


@pytest.mark.parametrize("name", GRIDPOINTS)
def test_a_good_status_with_an_old_forecast_is_stale(name):
    read = forecast(name)
    issued = read.provenance.issued_at
    fresh = control(read, issued + timedelta(hours=17))
    assert fresh.fields["air_temperature"].known.any()
    stale = control(read, issued + timedelta(hours=19))
    assert not any(one.known.any() for one in stale.fields.values())
    assert (stale.reason("air_temperature") == Reason.STALE).all()
    assert "19 h old" in stale.flags[-1].says


def test_a_forecast_without_a_period_for_now_is_stale_however_young():
    body = payloads.data(BMX)
    body["properties"]["updateTime"] = "2024-03-02T13:00:00+00:00"  # an hour after its last period
    read = control(read_answer(json.dumps(body).encode()), datetime(2024, 3, 2, 14, tzinfo=UTC))
    assert not any(one.known.any() for one in read.fields.values())
    assert "holds the present hour" in read.flags[-1].says


# 11: more than four decimals and trailing zeros; no real answer


@pytest.mark.parametrize(
    ("latitude", "longitude", "path"),
    [
        (45.17604999, -119.499044, "/points/45.176,-119.499"),
        (40.0, -90.5, "/points/40,-90.5"),
        (-0.00001, 0.00004, "/points/0,0"),
        (41.58685, -93.62496, "/points/41.5868,-93.625"),
    ],
)
def test_coordinates_have_four_decimals_and_no_trailing_zeros(latitude, longitude, path):
    assert nws.points_request(latitude, longitude).url == "https://api.weather.gov" + path


# 12


@pytest.mark.parametrize(
    ("name", "cell"),
    [
        ("nws/points_MPX_45.176_-93.43_20260720.json", ("MPX", 103, 81)),
        ("nws/points_pynws.json", ("TAE", 58, 65)),
        ("nws/points_serverexpress_2019.json", ("RAH", 67, 53)),  # names no cell, only an address
        ("nws_templated/points_42.745_-73.752_202607.json", ("ALY", 71, 67)),
    ],
)
def test_a_cell_may_be_a_number_or_text_or_only_an_address(name, cell):
    document = read_document(payloads.body(name))
    assert nws.grid_cell(document) == cell
    office, x, y = cell
    assert nws.forecast_request(document).url == f"https://api.weather.gov/gridpoints/{office}/{x},{y}"


def test_a_cell_as_text_is_read_like_a_number():
    body = payloads.data("nws/points_MPX_45.176_-93.43_20260720.json")
    body["properties"] |= {"gridX": "103", "gridY": "81"}
    assert nws.grid_cell(read_document(json.dumps(body).encode())) == ("MPX", 103, 81)


def test_a_place_at_sea_or_without_a_cell_is_said():
    body = payloads.data("nws/points_MPX_45.176_-93.43_20260720.json")
    body["properties"]["type"] = "marine"
    with pytest.raises(WeatherError, match="marine"):
        nws.grid_cell(read_document(json.dumps(body).encode()))
    body["properties"] |= {"type": "land", "gridId": None, "forecastGridData": None}
    with pytest.raises(WeatherError, match="names no grid cell"):
        nws.grid_cell(read_document(json.dumps(body).encode()))


@pytest.mark.parametrize(
    "name",
    ["nws_templated/observations_features_null_status503_PAEI.json",
     "nws_templated/observations_empty_features_PPIZ.json"],
)  # fmt: skip
def test_null_features_are_no_features(name):
    with pytest.raises(WeatherError, match="reported nothing"):
        observations(name)


# 13


def test_a_warning_ends_when_the_event_ends_not_when_its_message_expires():
    (alert,) = read_alerts(read_document(payloads.body("nws/alerts_active_point_MPX_20260719.json")))
    assert (alert.event, alert.subject) == ("Heat Advisory", "heat")
    assert alert.expires == datetime(2026, 7, 20, 14, tzinfo=UTC)  # 09:00 -05:00
    assert alert.ends == datetime(2026, 7, 20, 23, tzinfo=UTC)  # 18:00 -05:00
    assert alert.onset == datetime(2026, 7, 20, 17, tzinfo=UTC)
    afternoon = datetime(2026, 7, 20, 20, tzinfo=UTC)
    assert in_force([alert], afternoon, afternoon + timedelta(hours=1)) == (alert,)
    evening = datetime(2026, 7, 20, 23, tzinfo=UTC)
    assert in_force([alert], evening, evening + timedelta(hours=1)) == ()


def test_a_warning_without_an_end_goes_on():
    body = payloads.data("nws/alerts_active_point_MPX_20260719.json")
    body["features"][0]["properties"] |= {"ends": None, "parameters": {}}
    (alert,) = read_alerts(read_document(json.dumps(body).encode()))
    assert alert.ends is None
    later = datetime(2026, 7, 25, tzinfo=UTC)
    assert alert.touches(later, later + timedelta(hours=1))
