"""The demonstration weather: rebuilt byte by byte, in the shape that is asked for, possible."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from advisor.sources import metno, openmeteo, read_answer
from advisor.sun import solar_elevation

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "fixtures" / "weather"
PRAIRIE, SOUTHERN = FOLDER / "prairie-open-meteo.json", FOLDER / "southern-metno.json"


@pytest.fixture(scope="module")
def prairie() -> dict:
    return json.loads(PRAIRIE.read_bytes())


@pytest.fixture(scope="module")
def hourly(prairie) -> dict:
    return {name: np.array(values) for name, values in prairie["hourly"].items() if name != "time"}


@pytest.fixture(scope="module")
def labels(prairie) -> np.ndarray:
    return np.array(prairie["hourly"]["time"], dtype="datetime64[h]")


@pytest.fixture(scope="module")
def series() -> list[dict]:
    return json.loads(SOUTHERN.read_bytes())["properties"]["timeseries"]


def test_the_script_writes_the_same_bytes_again(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "scripts"))
    import build_demo_weather

    built = build_demo_weather.build()
    assert set(built) == {path.name for path in FOLDER.glob("*.json")}
    for name, body in built.items():
        assert body == (FOLDER / name).read_bytes(), f"{name}: run scripts/build_demo_weather.py"


def test_files_say_that_they_are_invented_and_stay_small():
    for path in (PRAIRIE, SOUTHERN):
        assert json.loads(path.read_bytes())["remark"].startswith("Invented for demonstration")
        assert path.stat().st_size < 80_000


# the shape of the providers' answers


def test_prairie_answers_what_our_request_asks(prairie, labels):
    asked = openmeteo.forecast_request(41.6, -93.6)
    assert set(asked.params["hourly"].split(",")) == set(prairie["hourly"]) - {"time"}
    assert (asked.params["timezone"], prairie["utc_offset_seconds"]) == ("GMT", 0)
    past, ahead = int(asked.params["past_days"]), int(asked.params["forecast_days"])
    assert len(labels) == 24 * (past + ahead)
    assert labels[0] == np.datetime64("2026-09-21", "h") - 24 * past
    assert (np.diff(labels) == np.timedelta64(1, "h")).all()
    assert set(prairie["hourly_units"]) == set(prairie["hourly"])
    assert all(unit == "iso8601" or unit in openmeteo.UNITS for unit in prairie["hourly_units"].values())


def test_prairie_is_read_without_complaint():
    from datetime import UTC, datetime

    from advisor.quality import control

    now = datetime(2026, 9, 21, 12, tzinfo=UTC)
    forecast = control(read_answer(PRAIRIE.read_bytes(), fetched_at=now, latitude=41.6, longitude=-93.6), now)
    assert forecast.flags == ()
    carried = set(openmeteo.VARIABLE_MAP.values()) - {"thunder_probability"}
    assert set(forecast.fields) == carried


def test_prairie_chances_and_amounts_turn_into_blocks():
    """Six-hour chances from 36 h on, three-hour amounts from 120 h on: the reader finds them again."""
    forecast = read_answer(PRAIRIE.read_bytes())
    chance, amount = forecast.fields["precipitation_probability"], forecast.fields["precipitation"]
    at = forecast.index(np.datetime64("2026-09-23T14", "h"))
    assert chance.block_last[0, 0, at] - chance.block_first[0, 0, at] + 1 == 6
    at = forecast.index(np.datetime64("2026-09-22T14", "h"))
    assert chance.block_last[0, 0, at] == chance.block_first[0, 0, at] == at
    at = forecast.index(np.datetime64("2026-09-28T01", "h"))
    assert amount.block_last[0, 0, at] - amount.block_first[0, 0, at] + 1 == 3


def test_southern_steps_and_its_known_quirks(series):
    """Hourly, then six-hourly; the quirks are those measured in real answers of the provider."""
    times = np.array([entry["time"].rstrip("Z") for entry in series], dtype="datetime64[h]")
    steps = np.diff(times).astype(int)
    seam = int(np.argmax(steps == 6))
    assert set(steps[:seam]) == {1} and set(steps[seam:]) == {6}
    coarse = seam  # the first entry that stands for six hours
    assert all(int(str(at)[-2:]) % 6 == 0 for at in times[coarse:])
    data = [entry["data"] for entry in series]
    assert all("next_1_hours" in one for one in data[:coarse])
    assert not any("next_1_hours" in one for one in data[coarse:])
    assert ["next_6_hours" in one for one in data[:coarse]] == [True] * (coarse - 5) + [False] * 5
    assert list(data[-1]) == ["instant"]


def test_southern_is_read_with_its_hours_between_unknown():
    forecast = read_answer(SOUTHERN.read_bytes(), latitude=-37.8, longitude=145.0)
    assert forecast.flags == ()
    assert set(metno.INSTANTS.values()) - {"wind_gust"} <= set(forecast.fields)
    wind = forecast.values("wind_speed_10m")[0, 0]
    assert not np.isnan(wind[: forecast.index(np.datetime64("2026-09-24T13", "h"))]).any()
    assert np.isnan(wind[forecast.index(np.datetime64("2026-09-25T02", "h"))])


# physics


def test_dew_point_lies_below_the_air_and_humidity_follows_from_both(hourly):
    """Alduchov and Eskridge (1996), another formula than the one the weather was made with."""
    air, dew = hourly["temperature_2m"], hourly["dew_point_2m"]
    assert (dew < air).all()

    def pressure(temperature):
        return 6.1094 * np.exp(17.625 * temperature / (243.04 + temperature))

    assert np.abs(100.0 * pressure(dew) / pressure(air) - hourly["relative_humidity_2m"]).max() < 1.0


def test_gusts_are_no_less_than_the_wind_at_either_end_of_the_hour(hourly):
    wind = hourly["wind_speed_10m"]
    assert (hourly["wind_gusts_10m"][1:] >= np.maximum(wind[1:], wind[:-1])).all()
    assert (wind > 0.0).all()
    assert ((hourly["wind_direction_10m"] >= 0) & (hourly["wind_direction_10m"] < 360)).all()


def test_sun_shines_by_day_and_less_through_cloud(hourly, labels):
    """0 at night; never above a clear sky by FAO-56 eq. 37, (0.75 + 2e-5 z) Ra, beyond rounding."""
    from advisor.atmosphere.extraterrestrial import extraterrestrial_hourly

    sun = hourly["shortwave_radiation"]
    minutes = labels.astype("datetime64[m]")[:, None] - np.arange(0, 61, 10).astype("timedelta64[m]")
    highest = np.asarray(solar_elevation(minutes, 41.604, -93.597)).max(axis=1)
    assert (sun[highest < -0.5] == 0).all()
    assert (sun[highest > 10.0] > 0).all()
    starts = labels - np.timedelta64(1, "h")
    clear = 0.7554 * extraterrestrial_hourly(starts, 41.604, -93.597) * 1e6 / 3600.0
    assert (sun <= clear + 1.0).all()
    noon = highest > 40.0
    cloud = hourly["cloud_cover"]
    assert sun[noon & (cloud > 90)].max() < sun[noon & (cloud < 30)].min()


def test_days_warm_up_and_nights_cool_down(hourly, labels):
    air = hourly["temperature_2m"]
    local = (labels - np.timedelta64(5, "h")).astype("int64") % 24
    assert air[local == 16].mean() - air[local == 7].mean() > 8.0
    dry = hourly["precipitation"] == 0.0
    settled = dry[1:] & dry[:-1] & np.append(dry[2:], True)
    assert np.abs(np.diff(air))[settled].max() < 3.5
    soil = hourly["soil_temperature_0_to_10cm"]
    assert soil.std() < air.std() and abs(soil.mean() - air.mean()) < 3.0


def test_rain_has_its_chance_its_cloud_and_its_moist_air(hourly):
    wet = hourly["precipitation"] > 0.0
    assert wet.sum() > 20
    assert hourly["precipitation_probability"][wet].min() >= 50
    assert hourly["cloud_cover"][wet].min() >= 70
    assert hourly["relative_humidity_2m"][wet].mean() > 85
    assert hourly["precipitation_probability"].max() <= 100


def test_southern_six_hour_values_fit_the_hourly_ones(series):
    rain = np.array([entry["data"].get("next_1_hours", {}).get("details", {}).get("precipitation_amount", np.nan)
                     for entry in series])  # fmt: skip
    air = np.array([entry["data"]["instant"]["details"]["air_temperature"] for entry in series])
    checked = 0
    for at, entry in enumerate(series):
        six = entry["data"].get("next_6_hours")
        if six is None or "next_1_hours" not in entry["data"]:
            continue
        details = six["details"]
        assert details["precipitation_amount"] == pytest.approx(rain[at : at + 6].sum(), abs=0.051)
        within = air[at : at + 7] if at + 6 < len(series) else air[at:]
        assert (
            details["air_temperature_max"] == within.max() and details["air_temperature_min"] == within.min()
        )
        checked += 1
    assert checked > 50
    assert all(
        entry["data"]["instant"]["details"]["dew_point_temperature"] < air[at]
        for at, entry in enumerate(series)
    )
