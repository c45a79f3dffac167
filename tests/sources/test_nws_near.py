"""Stations, observations and warnings of the National Weather Service, and layers that contradict
themselves."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import payloads
import pytest
from weather_server import forecast_body

from advisor.errors import WeatherError
from advisor.forecast import Reason
from advisor.sources import distance_km, read_answer
from advisor.sources.nws_alerts import SUBJECTS, alerts_request, in_force, read_alerts, subject_of
from advisor.sources.nws_observations import (
    hourly,
    newest,
    observations_request,
    read_observations,
    read_stations,
    stations_request,
)
from advisor.sources.reading import Document, read_document

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)


def report(at: datetime, **quantities) -> dict:
    """A report of an invented station; a quantity is (value, unit) or (value, unit, mark)."""
    said = {"timestamp": at.isoformat(), "stationId": "KTST"}
    for name, (value, unit, *mark) in quantities.items():
        said[name] = {"value": value, "unitCode": f"wmoUnit:{unit}", "qualityControl": (mark or ["V"])[0]}
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [-93.6, 41.6]},
        "properties": said,
    }


def reports(*features: dict):
    return read_observations(Document({"type": "FeatureCollection", "features": list(features)}))


# stations


def test_stations_come_with_place_and_height_in_the_order_of_the_answer():
    stations = read_stations(read_document(payloads.body("nws/stations_BMX_32_69.json")))
    assert [one.identifier for one in stations[:2]] == ["KTCL", "KEKY"]
    assert stations[0].elevation == pytest.approx(46.9392)
    # the cell's own middle; the nearest stands first
    off = [distance_km(33.2072, -87.5685, one.latitude, one.longitude) for one in stations[:3]]
    assert off == sorted(off)


def test_stations_and_observations_are_asked_where_the_provider_has_them():
    points = read_document(payloads.body("nws/points_MPX_45.176_-93.43_20260720.json"))
    assert stations_request(points).address == "https://api.weather.gov/gridpoints/MPX/103,81/stations"
    request = observations_request("KMIC", base="http://127.0.0.1:1")
    assert request.address == "http://127.0.0.1:1/stations/KMIC/observations?limit=24"
    assert alerts_request(45.176, -93.43).address == (
        "https://api.weather.gov/alerts/active?point=45.176,-93.43&status=actual"
    )


# observations


def test_several_reports_fill_each_others_holes_and_the_newest_value_wins():
    found = newest(
        reports(
            report(NOON - timedelta(minutes=62), temperature=(20.0, "degC"), windSpeed=(18.0, "km_h-1")),
            report(NOON - timedelta(minutes=5), temperature=(22.0, "degC"), windSpeed=(None, "km_h-1")),
        ),
        NOON,
    )
    assert found["air_temperature"] == (22.0, NOON - timedelta(minutes=5))
    assert found["wind_speed_10m"] == (pytest.approx(5.0), NOON - timedelta(minutes=62))


def test_a_report_from_the_future_or_too_old_is_not_used():
    late = reports(report(NOON + timedelta(minutes=11), temperature=(20.0, "degC")))
    old = reports(report(NOON - timedelta(minutes=91), temperature=(20.0, "degC")))
    assert newest(late, NOON) == {}
    assert newest(old, NOON) == {}


@pytest.mark.parametrize(("mark", "used"), [("V", True), ("Z", True), ("C", True), ("S", True), ("X", False),
                                            ("B", False), ("Q", False), ("qc:X", False)])  # fmt: skip
def test_a_value_that_their_own_control_rejects_is_not_used(mark, used):
    (one,) = reports(report(NOON, temperature=(20.0, "degC", mark)))
    assert ("air_temperature" in one.values) == used


def test_an_unknown_unit_is_no_value():
    (one,) = reports(report(NOON, temperature=(68.0, "degRankine"), windSpeed=(10.0, "kt")))
    assert "air_temperature" not in one.values
    assert one.values["wind_speed_10m"] == pytest.approx(10 * 1852 / 3600)


def test_routine_reports_become_the_full_hour_they_are_made_for():
    read = hourly(
        reports(
            report(
                NOON + timedelta(minutes=-7), temperature=(20.0, "degC"), precipitationLastHour=(1.5, "mm")
            ),
            report(NOON + timedelta(minutes=-2), temperature=(20.5, "degC")),
            report(NOON + timedelta(minutes=25), temperature=(25.0, "degC")),  # no full hour near
            report(NOON + timedelta(minutes=53), temperature=(21.0, "degC"), windGust=(40.0, "km_h-1")),
        )
    )
    at = read.index(np.datetime64("2026-06-01T12", "h"))
    assert read.values("air_temperature")[0, 0, at : at + 2].tolist() == [20.5, 21.0]  # the nearest report
    assert read.values("precipitation")[0, 0, at - 1] == 1.5  # the hour that ends at noon
    assert np.isnan(read.values("precipitation")[0, 0, at:]).all()  # not stated is not dry
    assert "wind_gust" not in read.fields  # ten minutes say nothing of an hour
    assert read.provenance.notes == ("measured at KTST",)


def test_a_list_of_something_else_is_refused():
    with pytest.raises(WeatherError, match="no list of observations"):
        read_observations(read_document(payloads.body("nws/stations_BMX_32_69.json")))
    with pytest.raises(WeatherError, match="no list of stations"):
        read_stations(read_document(payloads.body("nws/alerts_active_point_MPX_20260719.json")))


# warnings


def alert(**said) -> dict:
    ordinary = {"event": "Wind Advisory", "status": "Actual", "messageType": "Alert", "onset": NOON.isoformat(),
                "ends": (NOON + timedelta(hours=6)).isoformat(), "expires": NOON.isoformat()}  # fmt: skip
    return {"type": "Feature", "geometry": None, "properties": ordinary | said}


def alerts(*features: dict):
    return read_alerts(
        Document({"type": "FeatureCollection", "features": list(features), "title": "", "updated": ""})
    )


def test_no_warning_is_an_answer_and_something_else_is_none():
    assert alerts() == ()
    with pytest.raises(WeatherError, match="no list of warnings"):
        read_alerts(read_document(payloads.body("nws/stations_BMX_32_69.json")))
    with pytest.raises(WeatherError, match="no list of warnings"):
        read_alerts(Document({"features": None}))  # null is not "there are none"


@pytest.mark.parametrize("said", [{"status": "Test"}, {"status": "Exercise"}, {"messageType": "Cancel"}])
def test_tests_and_cancellations_are_no_warnings(said):
    assert alerts(alert(**said)) == ()


def test_a_warning_without_an_onset_counts_from_when_it_takes_effect():
    (one,) = alerts(alert(onset=None, effective=(NOON - timedelta(hours=1)).isoformat()))
    assert one.onset == NOON - timedelta(hours=1)
    (one,) = alerts(alert(onset=None))
    assert one.onset is None
    assert one.touches(NOON - timedelta(days=3), NOON - timedelta(days=2))  # not known when: in force


def test_the_end_may_stand_among_the_parameters():
    end = NOON + timedelta(hours=4)
    (one,) = alerts(alert(ends=None, parameters={"eventEndingTime": [end.isoformat()]}))
    assert one.ends == end


def test_in_force_is_half_open():
    found = alerts(alert())
    assert in_force(found, NOON - timedelta(hours=1), NOON) == ()
    assert in_force(found, NOON, NOON + timedelta(hours=1)) == found
    assert in_force(found, NOON + timedelta(hours=6), NOON + timedelta(hours=7)) == ()


@pytest.mark.parametrize(
    ("event", "subject"),
    # names from the provider's list of event types, from memory
    [("Severe Thunderstorm Watch", "thunder"), ("Tornado Warning", "thunder"), ("High Wind Warning", "wind"),
     ("Wind Advisory", "wind"), ("Hurricane Watch", "wind"), ("Flash Flood Warning", "flood"),
     ("Flood Watch", "flood"), ("Heat Advisory", "heat"), ("Extreme Heat Warning", "heat"),
     ("Freeze Warning", "frost"), ("Frost Advisory", "frost"), ("Red Flag Warning", "fire"),
     ("Air Quality Alert", "other")],
)  # fmt: skip
def test_the_subject_of_a_warning(event, subject):
    assert subject_of(event) == subject
    assert subject in SUBJECTS


def test_real_watches_of_2019():
    found = read_alerts(read_document(payloads.body("nws/alerts_active_zone_second_pynws_2019.json")))
    assert [one.subject for one in found] == ["flood", "flood"]
    assert all(one.ends > one.expires for one in found)


# layers


def test_intervals_that_overlap_are_unknown_and_the_others_are_not():
    body = forecast_body("nws", 41.6, -93.6, NOON)
    values = body["properties"]["temperature"]["values"]
    start = values[5]["validTime"].split("/")[0]
    values[5]["validTime"] = f"{start}/PT2H"
    read = read_answer(json.dumps(body).encode())
    one = read.fields["air_temperature"]
    assert not one.known[0, 0, 5:7].any()
    assert one.known[0, 0, [4, 7]].all()
    assert (one.reason[0, 0, 5:7] == Reason.NULL).all()
    assert [(flag.check, flag.variable) for flag in read.flags] == [("overlap", "air_temperature")]


def test_an_entry_that_cannot_be_placed_is_flagged_and_the_others_are_used():
    body = forecast_body("nws", 41.6, -93.6, NOON)
    body["properties"]["windSpeed"]["values"][3]["validTime"] = "NOW/PT1H"
    read = read_answer(json.dumps(body).encode())
    assert np.flatnonzero(~read.fields["wind_speed_10m"].known[0, 0]).tolist() == [3]
    assert [(flag.check, flag.makes_unknown) for flag in read.flags] == [("interval", ("wind_speed_10m",))]


def test_a_chance_of_thunder_without_a_unit_is_percent_as_in_every_real_answer():
    layer = payloads.data("nws/gridpoints_FGZ_74_89_20240220.json")["properties"]["probabilityOfThunder"]
    assert "uom" not in layer
    read = read_answer(payloads.body("nws/gridpoints_FGZ_74_89_20240220.json"))
    assert np.nanmax(read.values("thunder_probability")) == max(entry["value"] for entry in layer["values"])


def test_a_pressure_without_a_unit_is_unknown():
    read = read_answer(payloads.body("nws/gridpoints_serverexpress_20190123.json"))  # 29.92 of something
    assert not read.fields["surface_pressure"].known.any()
    assert (read.reason("surface_pressure") == Reason.UNIT).all()
