"""Pitfalls of Open-Meteo answers, each shown by a real answer where there is one."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import payloads
import pytest

from advisor.clock import local_dates
from advisor.errors import WeatherError
from advisor.forecast import Reason
from advisor.quality import control
from advisor.sources import SOURCES, openmeteo, read_answer
from advisor.sources.openmeteo_keys import promised

TORONTO = "openmeteo/forecast_Toronto_imperial_DST_20260304.json"
NJ = "openmeteo/forecast_NJ_14day_utc_20251228.json"
NULL_TAIL = "openmeteo/forecast_16day_nulltail_20261018.json"
AMSTERDAM = "openmeteo/archive_Amsterdam_wrongoffset_1953.json"
HRRR = "openmeteo/forecast_hrrr_forecasthours_20260720.json"


def forecast(name: str, **options):
    return read_answer(payloads.body(name), **options)


# 14


def test_labels_under_a_fixed_offset_become_utc_across_the_change_of_clocks():
    data = payloads.data(TORONTO)
    labels = data["hourly"]["time"]
    assert sum(label.startswith("2026-03-08") for label in labels) == 24  # the local day has 23 hours
    assert "2026-03-08T02:00" in labels  # an hour that does not exist there
    read = forecast(TORONTO)
    for label, value in zip(labels, data["hourly"]["temperature_2m"], strict=True):
        at = read.index(np.datetime64(label, "h") + np.timedelta64(5, "h"))
        assert read.values("air_temperature")[0, 0, at] == pytest.approx((value - 32.0) / 1.8)


def test_local_days_are_built_here_and_have_23_hours_when_clocks_change():
    read = forecast(TORONTO)
    days = local_dates(read.axis, ZoneInfo("America/Toronto"))
    assert (days == np.datetime64("2026-03-08")).sum() == 23


def test_a_past_date_labelled_with_the_offset_of_the_day_of_asking():
    # January 1953 under +2 h: the answer states the offset that it used, and that one is taken off
    read = forecast(AMSTERDAM)
    assert read.axis[1] == np.datetime64("1953-01-30T22", "h")
    stated = payloads.data(AMSTERDAM)["hourly"]["temperature_2m"][0]
    assert read.values("air_temperature")[0, 0, 1] == pytest.approx(stated)


def test_gmt_is_asked_for():
    params = openmeteo.forecast_request(41.6, -93.6).params
    assert params["timezone"] == "GMT"
    assert params["timeformat"] == "iso8601"


# 15


def test_sums_maxima_means_and_chances_move_to_the_hour_before_their_label_and_instants_stay():
    data = payloads.data(NJ)
    read = forecast(NJ)
    labels = [np.datetime64(label, "h") for label in data["hourly"]["time"]]
    for theirs, ours, factor, shift in (
        ("precipitation", "precipitation", 1.0, 1),
        ("wind_gusts_10m", "wind_gust", 1 / 3.6, 1),
        ("precipitation_probability", "precipitation_probability", 1.0, 1),
        ("temperature_2m", "air_temperature", 1.0, 0),
        ("relative_humidity_2m", "relative_humidity", 1.0, 0),
        ("wind_speed_10m", "wind_speed_10m", 1 / 3.6, 0),
    ):
        at = np.array([read.index(label) - shift for label in labels])
        stated = np.array(data["hourly"][theirs], dtype=float) * factor
        assert read.values(ours)[0, 0, at] == pytest.approx(stated, nan_ok=True), theirs


def test_rain_between_nine_and_ten_is_the_value_labelled_ten():
    body = small_answer(precipitation=[0.0, 0.0, 1.2, 0.0])
    read = read_answer(body)
    assert read.values("precipitation")[0, 0, read.index(np.datetime64("2026-06-01T09"))] == 1.2
    assert np.isnan(read.values("precipitation")[0, 0, -1])  # the hour after the last label is not known


def test_mean_radiation_moves_to_the_hour_before_its_label():
    data = payloads.data(HRRR)
    read = forecast(HRRR)
    first = read.index(np.datetime64(data["hourly"]["time"][0], "h") + np.timedelta64(5, "h"))
    assert read.values("shortwave_radiation")[0, 0, first - 1] == data["hourly"]["shortwave_radiation"][0]


# 16


def test_a_tail_of_nulls_is_unknown_and_never_zero():
    read = forecast(NULL_TAIL)
    assert np.isnan(read.values("air_temperature")).all()
    assert (read.reason("air_temperature")[0, 0, 1:] == Reason.NULL).all()


def test_nulls_inside_and_at_the_end_stay_nulls_for_sums_too():
    read = read_answer(small_answer(precipitation=[0.3, None, 0.1, None]))
    values = read.values("precipitation")[0, 0]
    assert np.isnan(values).tolist() == [False, True, False, True, True]
    assert read.reason("precipitation")[0, 0].tolist() == [
        Reason.KNOWN, Reason.NULL, Reason.KNOWN, Reason.NULL, Reason.AFTER_END,
    ]  # fmt: skip


# 17


def test_a_gust_below_the_wind_is_raised_and_flagged():
    data = payloads.data(NJ)["hourly"]
    wind, gust = np.array(data["wind_speed_10m"]), np.array(data["wind_gusts_10m"])
    assert (gust < wind).sum() == 16
    read = forecast(NJ, fetched_at=datetime(2025, 12, 28, 23, 30, tzinfo=UTC))
    checked = control(read, datetime(2025, 12, 28, 23, 45, tzinfo=UTC))
    after, mean = checked.values("wind_gust")[0, 0], checked.values("wind_speed_10m")[0, 0]
    both = ~np.isnan(after) & ~np.isnan(mean)
    assert (after[both] >= mean[both] - 1e-9).all()
    ends = ~np.isnan(after[:-1]) & ~np.isnan(mean[1:])
    assert (after[:-1][ends] >= mean[1:][ends] - 1e-9).all()  # also the wind at the end of the hour
    (flag,) = (flag for flag in checked.flags if flag.check == "gust-below-wind")
    assert "20 hours" in flag.says  # 16 at the labels' end, and 4 more at the start of the hour
    raised = after != read.values("wind_gust")[0, 0]
    assert (raised & ~np.isnan(after)).sum() == 20


# 18


def test_a_six_hour_chance_shown_six_times_is_one_block():
    read = forecast(TORONTO)
    one = read.fields["precipitation_probability"]
    first = read.index(np.datetime64("2026-03-07T12", "h"))  # label 2026-03-07 08:00 local, about 35 h ahead
    lengths = (one.block_last - one.block_first + 1)[0, 0]
    assert (lengths[:first] == 1).all()
    assert (lengths[first : first + 6] == 6).all()
    assert one.block_first[0, 0, first + 5] == first
    chances = one.values[0, 0]
    assert len(set(chances[first : first + 6])) == 1
    assert not np.isnan(chances[first:-1]).any()


def test_hourly_chances_are_left_hourly():
    # Melbourne has hourly chances throughout, with long equal runs of 0
    one = forecast("openmeteo/forecast_Melbourne_utc_20251025.json").fields["precipitation_probability"]
    assert one.block_first is None


def test_blocks_of_six_end_where_chances_become_hourly_again():
    one = forecast(NJ).fields["precipitation_probability"]
    read = forecast(NJ)
    lengths = (one.block_last - one.block_first + 1)[0, 0]
    blocked = read.axis[lengths == 6]
    assert blocked[0] == np.datetime64("2025-12-30T12", "h")
    assert blocked[-1] == np.datetime64("2026-01-08T11", "h")


def test_no_rain_with_a_chance_of_30_percent_is_kept_as_it_is_said():
    read = forecast(TORONTO)
    rain, chance = read.values("precipitation")[0, 0], read.values("precipitation_probability")[0, 0]
    assert ((rain == 0.0) & (chance >= 30.0)).sum() == 32


def test_an_amount_in_three_equal_parts_is_one_block_and_its_sum_stays_right():
    read = forecast(NJ)
    one = read.fields["precipitation"]
    lengths = (one.block_last - one.block_first + 1)[0, 0]
    at = read.index(np.datetime64("2026-01-10T18", "h"))
    assert (lengths[at : at + 3] == 3).all()
    assert lengths[0] == 1
    assert np.nansum(one.values) == pytest.approx(sum(payloads.data(NJ)["hourly"]["precipitation"]))


# 19


def test_units_are_taken_from_the_answer_miles_and_inches():
    data = payloads.data(TORONTO)
    assert (data["hourly_units"]["wind_speed_10m"], data["hourly_units"]["precipitation"]) == ("mp/h", "inch")
    read = forecast(TORONTO)
    wind = read.values("wind_speed_10m")[0, 0]
    assert wind[1:] == pytest.approx(np.array(data["hourly"]["wind_speed_10m"]) * 0.44704)
    total = np.nansum(read.values("precipitation"))
    assert total == pytest.approx(sum(data["hourly"]["precipitation"]) * 25.4)


def test_undefined_as_a_unit_means_not_served():
    body = json.loads(small_answer(precipitation=[0.0] * 4))
    body["hourly"]["precipitation_probability"] = [None] * 4
    body["hourly_units"]["precipitation_probability"] = "undefined"
    read = read_answer(json.dumps(body).encode())
    assert "precipitation_probability" not in read.fields
    assert (read.reason("precipitation_probability") == Reason.NOT_CARRIED).all()
    assert [(flag.check, flag.variable) for flag in read.flags] == [
        ("not-served", "precipitation_probability")
    ]


@pytest.mark.parametrize("unit", ["furlong/h", "", None, "wmo code", "mph?", 5])
def test_an_unknown_unit_makes_only_its_variable_unknown(unit):
    body = json.loads(small_answer(precipitation=[0.0] * 4))
    body["hourly_units"]["precipitation"] = unit
    body["hourly"]["temperature_2m"] = [10.0] * 4
    body["hourly_units"]["temperature_2m"] = "°C"
    read = read_answer(json.dumps(body).encode())
    assert np.isnan(read.values("precipitation")).all()
    assert (read.reason("precipitation") == Reason.UNIT).all()
    assert read.values("air_temperature")[0, 0, 1] == 10.0
    (flag,) = read.flags
    assert flag.makes_unknown == ("precipitation",)


def test_a_metre_per_second_asked_in_kilometres_is_not_taken_for_metres():
    body = json.loads(small_answer(wind_speed_10m=[36.0] * 4))
    body["hourly_units"]["wind_speed_10m"] = "km/h"
    assert read_answer(json.dumps(body).encode()).values("wind_speed_10m")[0, 0, 1] == pytest.approx(10.0)


# 20


def test_members_of_two_models_are_pooled_and_the_control_is_one_of_them():
    read = forecast("openmeteo/ensemble_multimodel_icon40_ecmwf51_20261003.json")
    data = payloads.data("openmeteo/ensemble_multimodel_icon40_ecmwf51_20261003.json")["hourly"]
    assert read.members == 91
    assert read.provenance.spread == "ensemble"
    assert read.nominal_members.tolist() == [91, 91]
    got = sorted(read.values("air_temperature")[0, :, 1])
    stated = sorted(values[0] for key, values in data.items() if key.startswith("temperature_2m"))
    assert got == pytest.approx(stated)


def test_one_model_has_a_control_without_a_suffix():
    read = forecast("openmeteo/ensemble_members_onestep_20260711.json")
    data = payloads.data("openmeteo/ensemble_members_onestep_20260711.json")["hourly"]
    assert read.members == len(data) - 1 == 31
    assert read.values("air_temperature")[0, 0, 1] == data["temperature_2m"][0]
    assert read.values("air_temperature")[0, 30, 1] == data["temperature_2m_member30"][0]


def test_members_that_are_null_do_not_lower_the_promised_number():
    name = "openmeteo/ensemble_multimodel_icon40_ecmwf51_20261003.json"
    body = payloads.data(name)
    for member in range(3, 11):
        body["hourly"][f"temperature_2m_member{member:02}_icon_seamless_eps"] = [None]
    del body["hourly"]["temperature_2m_member39_icon_seamless_eps"]
    read = read_answer(json.dumps(body).encode(), fetched_at=datetime(2026, 10, 3, 18, tzinfo=UTC))
    assert read.nominal_members[1] == 91
    assert read.fields["air_temperature"].known[0, :, 1].sum() == 91 - 8 - 1
    flags = control(read, datetime(2026, 10, 3, 18, 30, tzinfo=UTC)).flags
    assert any(flag.check == "members" and "only 82 of 91" in flag.says for flag in flags)


def test_several_deterministic_models_are_no_ensemble_and_the_first_is_read():
    name = "openmeteo/forecast_multimodel_suffixes_Zurich_20261003.json"
    read = forecast(name)
    assert read.members == 1
    assert read.provenance.spread == "none"
    stated = payloads.data(name)["hourly"]["temperature_2m_icon_seamless"]
    assert read.values("air_temperature")[0, 0, 1:] == pytest.approx(stated)
    assert any(flag.check == "several-models" and "gfs_seamless" in flag.says for flag in read.flags)


@pytest.mark.parametrize(
    ("model", "members"),
    # Open-Meteo's ensemble page, August 2026; new and old names of one model
    [("icon_seamless_eps", 40), ("dwd_icon_eps", 40), ("icon_d2", 20), ("ecmwf_ifs025", 51),
     ("ecmwf_ifs025_ensemble", 51), ("gfs025", 31), ("ncep_gefs025", 31), ("gfs_seamless", 31),
     ("gem_global", 21), ("bom_access_global_ensemble", 18), ("ukmo_global_ensemble_20km", 18)],
)  # fmt: skip
def test_the_promised_number_of_members_comes_from_the_table_of_models(model, members):
    assert promised(model, 5)[0] == members


# 21


def test_the_cost_of_an_ensemble_is_variables_times_members():
    # 6 variables of ICON 40 + GEFS 31 + ECMWF 51 members over a week: 73 calls (the provider's own formula)
    assert openmeteo.call_weight(6, 40 + 31 + 51, 7) == pytest.approx(73.2)
    assert openmeteo.call_weight(6, 1, 7) == 1.0
    assert openmeteo.call_weight(20, 1, 28) == pytest.approx(4.0)


def test_the_free_service_says_that_it_is_not_for_paid_work():
    assert SOURCES["open-meteo"].commercial_restricted
    assert not SOURCES["nws"].commercial_restricted
    request = openmeteo.forecast_request(41.6, -93.6, api_key="secret")
    assert request.url.startswith("https://customer-api.open-meteo.com/")
    assert "apikey=secret" in request.address
    assert "secret" not in request.shown


# 22


def test_several_places_in_one_answer_are_refused():
    with pytest.raises(WeatherError, match="2 places"):
        forecast("openmeteo/archive_multilocation_list_20250615.json")


def test_a_list_of_one_place_is_read():
    one = payloads.data("openmeteo/archive_multilocation_list_20250615.json")[:1]
    read = read_answer(json.dumps(one).encode())
    # knots: 1852 m an hour
    assert read.values("wind_speed_10m")[0, 0, 1] == pytest.approx(
        one[0]["hourly"]["wind_speed_10m"][0] * 1852 / 3600
    )


def test_the_soil_layer_is_asked_by_the_name_that_the_place_has():
    assert "soil_temperature_0_to_10cm" in openmeteo.forecast_request(41.6, -93.6).params["hourly"]
    assert "soil_temperature_6cm" in openmeteo.forecast_request(47.3, 11.4).params["hourly"]


# 23


def test_unix_times_are_utc_without_the_offset():
    body = json.loads(small_answer(temperature_2m=[1.0, 2.0, 3.0, 4.0]))
    body["utc_offset_seconds"] = 7200
    body["hourly_units"]["time"] = "unixtime"
    body["hourly"]["time"] = [
        int(datetime(2026, 6, 1, 8 + hour, tzinfo=UTC).timestamp()) for hour in range(4)
    ]
    read = read_answer(json.dumps(body).encode())
    assert read.axis[1] == np.datetime64("2026-06-01T08", "h")


def test_age_is_counted_from_the_fetch_because_the_answer_does_not_say_when_it_was_issued():
    fetched = datetime(2025, 12, 28, 23, tzinfo=UTC)
    read = forecast(NJ, fetched_at=fetched)
    assert read.provenance.issued_at is None
    assert control(read, fetched + timedelta(hours=11)).fields["air_temperature"].known.any()
    assert not control(read, fetched + timedelta(hours=13)).fields["air_temperature"].known.any()
    unknown = control(forecast(NJ), fetched)
    assert not unknown.fields["air_temperature"].known.any()
    assert "age is not known" in unknown.flags[-1].says


# further shapes


def test_legacy_names_are_read():
    name = "openmeteo/forecast_onestep_legacynames_20260711.json"
    read = forecast(name)
    hourly = payloads.data(name)["hourly"]
    assert read.values("wind_speed_10m")[0, 0, 1] == pytest.approx(hourly["windspeed_10m"][0] / 3.6)
    assert read.values("wind_from_direction")[0, 0, 1] == hourly["winddirection_10m"][0]


def test_a_half_hour_zone_is_refused_with_the_remedy():
    body = json.loads(small_answer(temperature_2m=[1.0] * 4))
    body["utc_offset_seconds"] = 19800
    with pytest.raises(WeatherError, match="not full hours") as raised:
        read_answer(json.dumps(body).encode())
    assert "timezone=GMT" in raised.value.hint


def test_labels_that_are_not_one_hour_apart_are_refused():
    body = json.loads(small_answer(temperature_2m=[1.0] * 4))
    body["hourly"]["time"][3] = "2026-06-01T14:00"
    with pytest.raises(WeatherError, match="not one hour apart"):
        read_answer(json.dumps(body).encode())


def test_daily_values_alone_are_refused():
    with pytest.raises(WeatherError, match="no hourly forecast"):
        forecast("openmeteo/archive_Brasilia_daily_20221229.json")


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("openmeteo/error_400_latitude.json", "Latitude must be in range"),
        ("openmeteo/error_400_unknown_variable.json", "Cannot initialize"),
    ],
)
def test_an_error_gives_the_providers_own_reason(name, says):
    with pytest.raises(WeatherError, match=says):
        forecast(name)


def small_answer(**hourly) -> bytes:
    """Four hours from 2026-06-01 08:00 UTC, our own invention, in SI units."""
    units = {"precipitation": "mm", "temperature_2m": "°C", "wind_speed_10m": "m/s"}
    labels = [f"2026-06-01T{hour:02}:00" for hour in range(8, 12)]
    return json.dumps(
        {
            "latitude": 41.6, "longitude": -93.6, "generationtime_ms": 0.1, "utc_offset_seconds": 0,
            "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 262.0,
            "hourly_units": {"time": "iso8601", **{name: units[name] for name in hourly}},
            "hourly": {"time": labels, **hourly},
        }
    ).encode()  # fmt: skip


def test_days_of_the_provider_are_not_read():
    # days of UTC put the sunrise of Melbourne on the date before; hours alone are read, and days built here
    name = "openmeteo/forecast_Melbourne_utc_20251025.json"
    data = payloads.data(name)
    assert data["daily"]["time"][0] == "2025-10-25"
    assert data["daily"]["sunrise"][0].startswith("2025-10-24")
    without = {key: value for key, value in data.items() if not key.startswith("daily")}
    first, second = forecast(name), read_answer(json.dumps(without).encode())
    assert first.fields.keys() == second.fields.keys()
    for variable, one in first.fields.items():
        np.testing.assert_array_equal(one.values, second.fields[variable].values)
