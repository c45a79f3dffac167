"""Ensembles: which key is which member, and how many members are promised. Shapes as in the real answers."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from advisor.quality import control
from advisor.sources import openmeteo, read_answer
from advisor.sources.openmeteo_keys import MODELS, layout

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def answer(
    hours: int, models: dict[str, int], variables=("temperature_2m", "precipitation"), null=lambda *_: False
) -> bytes:
    """Members of several models; `null(model, member, hour)` empties a value. Our own invention."""
    units = {"temperature_2m": "°C", "precipitation": "mm", "wind_speed_10m": "m/s"}
    hourly: dict[str, list] = {
        "time": [
            str(np.datetime64("2026-06-01T00:00", "m") + np.timedelta64(hour, "h")) for hour in range(hours)
        ]
    }
    stated = {"time": "iso8601"}
    for variable in variables:
        for model, count in models.items():
            for member in range(count):
                key = variable + (f"_member{member:02}" if member else "") + (f"_{model}" if model else "")
                hourly[key] = [None if null(model, member, hour) else member / 10.0 for hour in range(hours)]
                stated[key] = units[variable]
    return json.dumps(
        {"latitude": 41.6, "longitude": -93.6, "generationtime_ms": 1.0, "utc_offset_seconds": 0, "elevation": 262.0,
         "hourly_units": stated, "hourly": hourly}
    ).encode()  # fmt: skip


def test_a_member_is_the_same_row_in_every_variable():
    read = read_answer(answer(4, {"icon_seamless_eps": 40, "ecmwf_ifs025_ensemble": 51}))
    assert read.members == 91
    expected = [member / 10.0 for member in range(40)] + [member / 10.0 for member in range(51)]
    assert read.values("air_temperature")[0, :, 1].tolist() == expected
    assert read.values("precipitation")[0, :, 1].tolist() == expected


def test_a_member_that_a_variable_lacks_is_unknown_there_and_shifts_nobody():
    body = json.loads(answer(4, {"": 31}))
    del body["hourly"]["precipitation_member07"]
    read = read_answer(json.dumps(body).encode())
    rain = read.values("precipitation")[0, :, 1]
    assert np.isnan(rain).nonzero()[0].tolist() == [7]
    assert rain[8] == 0.8
    assert read.values("air_temperature")[0, 7, 1] == 0.7


def test_the_promised_number_falls_where_a_model_ends():
    # ICON ends after 7.5 days, ECMWF goes on
    def ended(model, member, hour):
        return model.startswith("icon") and hour > 180

    read = read_answer(
        answer(240, {"icon_seamless_eps": 40, "ecmwf_ifs025_ensemble": 51}, null=ended), fetched_at=NOW
    )
    assert read.nominal_members[100] == 91
    assert read.nominal_members[-2] == 51
    assert read.fields["air_temperature"].known[0, :, 200].sum() == 51


def test_within_its_horizon_a_model_is_promised_whole_even_when_none_of_it_arrived():
    def absent(model, member, hour):
        return model.startswith("icon") and hour > 48

    read = read_answer(
        answer(120, {"icon_seamless_eps": 40, "ecmwf_ifs025_ensemble": 51}, null=absent), fetched_at=NOW
    )
    assert read.nominal_members[100] == 91
    flags = control(read, NOW).flags
    assert any(flag.check == "members" and "only 51 of 91" in flag.says for flag in flags)


@pytest.mark.parametrize(
    ("arrived", "promised"), [(31, 31), (30, 31), (39, 40), (40, 40), (51, 51), (20, 20), (19, 20)]
)
def test_without_a_name_the_smallest_model_that_fits_is_promised(arrived, promised):
    read = read_answer(answer(3, {"": arrived}))
    assert read.members == arrived
    assert (read.nominal_members == promised).all()


def test_chances_are_not_asked_of_ensembles():
    request = openmeteo.ensemble_request(41.6, -93.6, ["gfs025", "icon_seamless"])
    assert "precipitation_probability" not in request.params["hourly"]
    assert request.params["models"] == "gfs025,icon_seamless"
    assert request.url == "https://ensemble-api.open-meteo.com/v1/ensemble"
    paid = openmeteo.ensemble_request(41.6, -93.6, api_key="k")
    assert paid.url == "https://customer-ensemble-api.open-meteo.com/v1/ensemble"


def test_a_chance_that_the_ensemble_does_not_serve_is_unknown():
    body = json.loads(answer(3, {"": 31}))
    body["hourly"]["precipitation_probability"] = [None] * 3
    body["hourly_units"]["precipitation_probability"] = "undefined"
    read = read_answer(json.dumps(body).encode())
    assert "precipitation_probability" not in read.fields
    assert any(flag.check == "not-served" for flag in read.flags)


@pytest.mark.parametrize(
    ("keys", "found"),
    [
        (["temperature_2m"], {("temperature_2m", "", 0)}),
        (["temperature_2m_member01"], {("temperature_2m", "", 1)}),
        (["cloud_cover", "cloud_cover_low", "cloud_cover_mean"], {("cloud_cover", "", 0)}),
        (["cloud_cover_low"], set()),
        (["precipitation_probability"], {("precipitation_probability", "", 0)}),
        (
            ["precipitation_member01_x", "precipitation_x"],
            {("precipitation", "x", 0), ("precipitation", "x", 1)},
        ),
        (["temperature_2m_previous_day1"], set()),
        (["temperature_80m", "is_day", "time"], set()),
    ],
)
def test_keys_are_matched_by_pattern(keys, found):
    got = layout(keys, openmeteo.VARIABLE_MAP)
    assert {(name, *member) for name, held in got.keys.items() for member in held} == found


def test_three_hour_sums_of_members_are_blocks_where_every_member_has_them():
    body = json.loads(answer(25, {"": 3}, variables=("precipitation",)))
    for member, key in enumerate(key for key in list(body["hourly"]) if key != "time"):
        # label 00 is the hour before; from 00 UTC on groups of three equal hours
        body["hourly"][key] = [0.0] + [round(0.1 * (hour // 3) + member, 2) for hour in range(24)]
    read = read_answer(json.dumps(body).encode())
    one = read.fields["precipitation"]
    assert (one.block_last - one.block_first + 1)[0, 0, 1:25].tolist() == [3] * 24
    assert one.values[0, 1, 1] == pytest.approx(1.0)


def test_the_table_of_models_promises_whole_models():
    assert all(members > 0 and days > 0 for _, members, days in MODELS)


def test_the_archive_is_asked_and_read_like_a_forecast():
    request = openmeteo.archive_request(41.6, -93.6, "2025-05-01", "2025-05-31")
    assert request.url == "https://archive-api.open-meteo.com/v1/archive"
    assert (request.params["start_date"], request.params["end_date"]) == ("2025-05-01", "2025-05-31")
    assert "precipitation_probability" not in request.params["hourly"]
    assert "soil_temperature_0_to_7cm" in request.params["hourly"]
