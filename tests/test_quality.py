"""Quality control: each check fires on what it is for, leaves alone what it must, and never fills anything
in."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import payloads
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from weather_server import PROVIDERS, forecast_body

from advisor.clock import from_numpy
from advisor.errors import WeatherError
from advisor.forecast import Field, Forecast, Provenance, Reason
from advisor.quality import age_limit, control
from advisor.quality_checks import STUCK_HOURS, run_lengths
from advisor.sources import SOURCES, read_answer
from advisor.variables import VARIABLES

NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
START = np.datetime64("2026-06-01T06", "h")
HOURS = 72


def forecast(members: int = 1, source: str = "open-meteo", **series) -> Forecast:
    """Constant or given hourly series, our own invention; fetched at noon, issued an hour before."""
    base = {
        "air_temperature": 15.0 + np.sin(np.arange(HOURS) / 4.0),
        "wind_speed_10m": 2.0 + np.arange(HOURS) % 3,
    }
    fields = {}
    for name, given_values in (base | series).items():
        values = np.array(np.broadcast_to(np.asarray(given_values, dtype=float), (members, HOURS)))[None]
        reason = np.where(np.isnan(values).all(axis=1, keepdims=True), Reason.NULL, Reason.KNOWN).astype(
            np.uint8
        )
        fields[name] = Field(values, reason)
    provenance = Provenance(source, fetched_at=NOON,
        issued_at=None if source == "open-meteo" else NOON - timedelta(hours=1),
                            latitude=41.6, longitude=-93.6)  # fmt: skip
    return Forecast(START, HOURS, fields, provenance, np.full(HOURS, members))


def checks(read: Forecast) -> list[tuple[str, str]]:
    return [(flag.check, flag.variable) for flag in read.flags]


def with_values(at, value, *, fill=None, **options) -> np.ndarray:
    values = np.array(fill, dtype=float) if fill is not None else 15.0 + np.sin(np.arange(HOURS) / 4.0)
    values[at] = value
    return values


def known_at(read: Forecast, name: str) -> list[int]:
    return np.flatnonzero(read.fields[name].known.all(axis=(0, 1))).tolist()


def test_a_sound_forecast_passes_untouched():
    read = forecast(dew_point=9.0 + np.sin(np.arange(HOURS) / 4.0), wind_gust=6.0 + np.arange(HOURS) % 3)
    after = control(read, NOON)
    assert after.flags == ()
    for name, one in read.fields.items():
        np.testing.assert_array_equal(after.fields[name].values, one.values)
        np.testing.assert_array_equal(after.fields[name].reason, one.reason)


@pytest.mark.parametrize("provider", PROVIDERS)
def test_the_invented_answers_of_the_loopback_provider_are_sound(provider):
    read = read_answer(json.dumps(forecast_body(provider, 41.6, -93.6, NOON)).encode(), fetched_at=NOON)
    after = control(read, NOON)
    assert {flag.check for flag in after.flags} <= {"gap", "ends-early"}
    for name in ("air_temperature", "wind_speed_10m", "precipitation"):
        np.testing.assert_array_equal(after.fields[name].values, read.fields[name].values)


# age


@pytest.mark.parametrize(
    ("source", "limit"), [("nws", 18.0), ("open-meteo", 12.0), ("met-norway", 18.0), ("own", 12.0)]
)
def test_every_source_has_its_age_limit(source, limit):
    assert age_limit(source) == limit
    read = forecast(source=source)
    read = replace(read, provenance=replace(read.provenance, issued_at=NOON, fetched_at=NOON))
    assert control(read, NOON + timedelta(hours=limit)).fields["air_temperature"].known.any()
    late = control(read, NOON + timedelta(hours=limit, minutes=1))
    assert not any(one.known.any() for one in late.fields.values())
    for name in late.fields:
        assert (late.reason(name) == Reason.STALE).all()
    assert late.flags[-1].makes_unknown == tuple(read.fields)


def test_the_limit_can_be_set():
    read = forecast()
    assert (
        not control(read, NOON + timedelta(hours=3), age_limit_hours=2.0)
        .fields["air_temperature"]
        .known.any()
    )
    assert (
        control(read, NOON + timedelta(hours=20), age_limit_hours=24.0).fields["air_temperature"].known.any()
    )


def test_weather_of_the_past_has_no_age():
    read = forecast()
    assert (
        control(read, NOON + timedelta(days=900), age_limit_hours=math.inf)
        .fields["air_temperature"]
        .known.all()
    )


@pytest.mark.parametrize(("minutes", "stale"), [(59, False), (61, True), (6000, True)])
def test_a_forecast_from_the_future_is_not_believed(minutes, stale):
    read = forecast(source="nws")
    read = replace(read, provenance=replace(read.provenance, issued_at=NOON + timedelta(minutes=minutes)))
    after = control(read, NOON)
    assert after.fields["air_temperature"].known.any() != stale
    assert any("in the future" in flag.says for flag in after.flags) == stale


def test_an_answer_fetched_in_the_future_is_not_believed():
    read = forecast()
    read = replace(read, provenance=replace(read.provenance, fetched_at=NOON + timedelta(hours=2)))
    assert not control(read, NOON).fields["air_temperature"].known.any()


def test_without_a_time_of_issue_a_source_that_states_it_is_stale():
    read = forecast(source="nws")
    read = replace(read, provenance=replace(read.provenance, issued_at=None))
    after = control(read, NOON)
    assert not after.fields["air_temperature"].known.any()
    assert "does not say when it was issued" in after.flags[-1].says


def test_a_forecast_that_begins_with_the_next_hour_is_not_stale_and_one_that_begins_later_is():
    read = forecast()
    began = from_numpy(START)
    read = replace(read, provenance=replace(read.provenance, fetched_at=began - timedelta(hours=3)))
    assert control(read, began - timedelta(minutes=40)).fields["air_temperature"].known.any()
    assert not control(read, began - timedelta(minutes=70)).fields["air_temperature"].known.any()


def test_a_forecast_that_has_ended_is_stale():
    read = forecast()
    end = from_numpy(START + np.timedelta64(HOURS, "h"))
    read = replace(read, provenance=replace(read.provenance, fetched_at=end - timedelta(hours=2)))
    assert control(read, end - timedelta(minutes=1)).fields["air_temperature"].known.any()
    assert not control(read, end).fields["air_temperature"].known.any()


# bounds


@pytest.mark.parametrize(
    ("name", "value"),
    [("air_temperature", 60.0), ("air_temperature", -273.15), ("wind_speed_10m", -0.1), ("wind_speed_10m", 99.0),
     ("relative_humidity", 0.0), ("relative_humidity", 110.0), ("precipitation", -0.2), ("precipitation", 250.0),
     ("precipitation_probability", 140.0), ("cloud_cover", -9.0), ("shortwave_radiation", 1500.0),
     ("surface_pressure", 1013.0), ("wind_from_direction", 361.0), ("dew_point", 40.0)],
)  # fmt: skip
def test_an_impossible_value_is_unknown_and_its_neighbours_are_not(name, value):
    middle = (VARIABLES[name].low + VARIABLES[name].high) / 2.0
    ordinary = {"air_temperature": 15.0, "dew_point": 9.0, "relative_humidity": 68.0, "wind_speed_10m": 2.0,
                "shortwave_radiation": 0.0}  # fmt: skip
    fill = ordinary.get(name, middle) + 0.001 * np.arange(HOURS)
    series = {name: with_values(20, value, fill=fill)}
    read = forecast(**series)
    after = control(read, NOON)
    if name != "dew_point":
        assert ("bounds", name) in checks(after)
    assert np.isnan(after.values(name)[0, 0, 20])
    assert after.reason(name)[0, 0, 20] in (Reason.IMPLAUSIBLE, Reason.CONTRADICTION)
    assert after.fields[name].known[0, 0, [19, 21]].all()
    (flag,) = (flag for flag in after.flags if flag.variable == name)
    assert flag.first_hour == flag.last_hour == START + np.timedelta64(20, "h")
    assert name in flag.makes_unknown


def test_a_percentage_beyond_its_bound_by_rounding_is_the_bound():
    after = control(
        forecast(relative_humidity=with_values(5, 100.3, fill=60.0 + np.arange(HOURS) / 10.0)), NOON
    )
    assert after.values("relative_humidity")[0, 0, 5] == 100.0
    assert after.flags == ()


def test_one_impossible_member_leaves_the_others_known():
    values = np.tile(15.0 + np.sin(np.arange(HOURS) / 4.0), (3, 1))
    values[1, 8] = 99.0
    after = control(forecast(members=3, air_temperature=values), NOON)
    assert np.isnan(after.values("air_temperature")[0, :, 8]).tolist() == [False, True, False]
    assert after.reason("air_temperature")[0, 0, 8] == Reason.KNOWN
    assert any(flag.check == "members" and "only 2 of 3" in flag.says for flag in after.flags)


# stuck


@pytest.mark.parametrize("name", STUCK_HOURS)
def test_a_value_that_stands_too_long_is_unknown(name):
    limit = STUCK_HOURS[name]
    fill = {"shortwave_radiation": 0.0}.get(name)
    moving = np.arange(HOURS) * 0.01 + {"relative_humidity": 60.0, "dew_point": 9.0, "wind_gust": 9.0}.get(
        name, 12.0
    )
    moving = np.full(HOURS, fill) if fill is not None else moving
    value = {"shortwave_radiation": 5.0}.get(name, moving[0] + 0.505)
    after = control(forecast(**{name: with_values(slice(2, 2 + limit), value, fill=moving)}), NOON)
    assert ("stuck", name) not in checks(after)
    after = control(forecast(**{name: with_values(slice(2, 3 + limit), value, fill=moving)}), NOON)
    assert ("stuck", name) in checks(after)
    assert not after.fields[name].known[0, 0, 2 : 3 + limit].any()
    assert after.fields[name].known[0, 0, 3 + limit]
    assert (after.reason(name)[0, 0, 2 : 3 + limit] == Reason.STUCK).all()


@pytest.mark.parametrize(
    ("name", "value"),
    [("wind_speed_10m", 0.0), ("wind_gust", 0.0), ("relative_humidity", 100.0), ("shortwave_radiation", 0.0),
     ("precipitation", 0.0), ("precipitation_probability", 100.0), ("precipitation_probability", 0.0),
     ("cloud_cover", 100.0), ("cloud_cover", 0.0), ("wind_from_direction", 200.0)],
)  # fmt: skip
def test_calm_saturated_overcast_and_dry_may_stand(name, value):
    series = {name: value}
    if name == "wind_gust":
        series["wind_speed_10m"] = 0.0
    after = control(forecast(**series), NOON)
    assert not any(check == "stuck" for check, _ in checks(after))
    assert after.fields[name].known.all()


ANSWERS = [
    *payloads.names("nws/gridpoints_*.json"), *payloads.names("metno/*.json"),
    *payloads.names("openmeteo/forecast_*.json")
]  # fmt: skip


@pytest.mark.parametrize("name", ANSWERS)
def test_no_real_answer_is_called_stuck_impossible_or_contradictory(name):
    read = read_answer(payloads.body(name))
    after = control(read, NOON, age_limit_hours=math.inf)
    found = {flag.check for flag in after.flags}
    assert found <= {"gust-below-wind", "gap", "ends-early", "unit", "several-models", "rain-without-chance"}
    for variable, one in read.fields.items():
        np.testing.assert_array_equal(after.fields[variable].known, one.known)


def brute_runs(values) -> list[int]:
    out = []
    for index, value in enumerate(values):
        if math.isnan(value):
            out.append(0)
            continue
        low = high = index
        while low > 0 and values[low - 1] == value:
            low -= 1
        while high + 1 < len(values) and values[high + 1] == value:
            high += 1
        out.append(high - low + 1)
    return out


@given(st.lists(st.sampled_from([0.0, 1.0, math.nan]), min_size=1, max_size=30))
def test_runs_are_those_that_one_counts_by_hand(values):
    assert run_lengths(np.array(values)[None]).tolist() == [brute_runs(values)]


# contradictions


def test_a_dew_point_above_the_air_makes_both_and_the_humidity_unknown():
    air = 15.0 + 0.1 * np.arange(HOURS)
    dew = air - 6.0
    dew[30] = air[30] + 0.7
    humidity = np.full(HOURS, 66.0) + 0.01 * np.arange(HOURS)
    after = control(forecast(air_temperature=air, dew_point=dew, relative_humidity=humidity), NOON)
    for name in ("air_temperature", "dew_point", "relative_humidity"):
        assert known_at(after, name) == [hour for hour in range(HOURS) if hour != 30]
        assert after.reason(name)[0, 0, 30] == Reason.CONTRADICTION
    (flag,) = after.flags
    assert flag.check == "dew-point-above-air"
    assert "0.7 K" in flag.says


def test_a_dew_point_above_the_air_by_rounding_is_the_air_temperature():
    # both in whole degrees Fahrenheit: half a degree each is 0.56 K
    air = 15.0 + 0.1 * np.arange(HOURS)
    dew = air - 6.0
    dew[30] = air[30] + 0.55
    after = control(forecast(air_temperature=air, dew_point=dew), NOON)
    assert after.flags == ()
    assert after.values("dew_point")[0, 0, 30] == air[30]


def test_humidity_of_other_air_than_the_dew_point_is_unknown_with_it_and_the_temperature_stays():
    # 20 and 10 degC give 52.5 % (Magnus form of FAO-56 eq. 11: e(10)/e(20) = 1.2280/2.3383)
    humidity = np.full(HOURS, 52.5) + 0.001 * np.arange(HOURS)
    humidity[10] = 90.0
    air, dew = 20.0 + 0.0001 * np.arange(HOURS), 10.0 + 0.0001 * np.arange(HOURS)
    after = control(forecast(air_temperature=air, dew_point=dew, relative_humidity=humidity), NOON)
    assert [flag.check for flag in after.flags] == ["humidity-disagrees"]
    assert np.isnan(after.values("dew_point")[0, 0, 10]) and np.isnan(
        after.values("relative_humidity")[0, 0, 10]
    )
    assert after.fields["air_temperature"].known.all()


@pytest.mark.parametrize(("wind", "gust", "told"), [(4.0, 0.0, True), (4.0, 1.9, True), (4.0, 2.1, False),
                                                    (1.9, 0.0, False)])  # fmt: skip
def test_a_gust_that_is_no_gust_beside_the_wind_is_not_known(wind, gust, told):
    """Where a source writes nothing as 0, the mean wind would pass for the gust."""
    mean = np.full(HOURS, wind) + 0.01 * (np.arange(HOURS) % 2)
    gusts = 1.4 * mean
    gusts[10] = gust
    after = control(forecast(source="nws", wind_speed_10m=mean, wind_gust=gusts), NOON)
    assert np.isnan(after.values("wind_gust")[0, 0, 10]) == told
    assert ("no-gust" in [flag.check for flag in after.flags]) == told
    assert np.isnan(after.values("wind_gust")).sum() == int(told)


def test_a_gust_below_the_wind_is_raised_to_it_and_an_unknown_gust_stays_unknown():
    wind = np.full(HOURS, 5.0) + np.arange(HOURS) % 2
    gust = np.full(HOURS, 9.0) + np.arange(HOURS) % 2
    gust[10], gust[11] = 3.0, np.nan
    after = control(forecast(source="nws", wind_speed_10m=wind, wind_gust=gust), NOON)
    assert after.values("wind_gust")[0, 0, 10] == wind[10]
    assert np.isnan(after.values("wind_gust")[0, 0, 11])
    assert [flag.check for flag in after.flags if flag.check != "gap"] == ["gust-below-wind"]


def test_sunshine_at_night_means_shifted_hours_and_no_radiation_is_believed():
    hours = START + np.arange(HOURS)
    noon = 18.24  # solar noon at 93.6 W in UTC hours
    sun = np.maximum(0.0, 700.0 * np.cos((hours.astype(int) % 24 + 0.5 - noon) / 24.0 * 2.0 * np.pi))
    assert control(forecast(shortwave_radiation=sun), NOON).fields["shortwave_radiation"].known.all()
    shifted = np.roll(sun, 5)  # an answer in local time taken for UTC
    after = control(forecast(shortwave_radiation=shifted), NOON)
    assert ("sun-at-night", "shortwave_radiation") in checks(after)
    assert not after.fields["shortwave_radiation"].known.any()


def test_rain_at_a_chance_of_nothing_is_flagged_and_kept():
    rain = np.zeros(HOURS)
    rain[9] = 0.3
    after = control(forecast(precipitation=rain, precipitation_probability=0.0), NOON)
    assert checks(after) == [("rain-without-chance", "precipitation_probability")]
    assert after.values("precipitation")[0, 0, 9] == 0.3
    rain[9] = 0.2  # below 0.01 in, which is not measurable
    assert control(forecast(precipitation=rain, precipitation_probability=0.0), NOON).flags == ()


# completeness


def test_a_gap_and_an_early_end_are_flagged_and_not_filled():
    series = with_values([20, 21], np.nan)
    series[60:] = np.nan
    after = control(forecast(air_temperature=series), NOON)
    assert checks(after) == [("gap", "air_temperature"), ("ends-early", "air_temperature")]
    gap, end = after.flags
    assert "2 hours" in gap.says and gap.first_hour == START + np.timedelta64(20, "h")
    assert "12 h before" in end.says
    np.testing.assert_array_equal(after.values("air_temperature"), series[None, None])


def test_single_precision_stays_single_precision():
    read = forecast(wind_gust=0.1)
    fields = {name: replace(one, values=one.values.astype(np.float32)) for name, one in read.fields.items()}
    after = control(replace(read, fields=fields), NOON)
    assert {one.values.dtype for one in after.fields.values()} == {np.dtype(np.float32)}


_NAMES = sorted(VARIABLES)


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_control_never_makes_an_unknown_value_known(data):
    members = data.draw(st.integers(1, 3))
    numbers = st.one_of(st.just(math.nan), st.floats(-120.0, 2000.0), st.floats(0.0, 30.0), st.just(0.0))
    series = {}
    for name in data.draw(st.lists(st.sampled_from(_NAMES), min_size=1, max_size=6, unique=True)):
        cells = data.draw(st.lists(numbers, min_size=members * 6, max_size=members * 6))
        series[name] = np.repeat(np.array(cells).reshape(members, 6), HOURS // 6, axis=1)
    read = forecast(members=members, **series)
    after = control(read, NOON, age_limit_hours=math.inf)
    for name, one in read.fields.items():
        checked = after.fields[name]
        assert not (checked.known & ~one.known).any()
        assert not np.isinf(checked.values).any()
        np.testing.assert_array_equal(checked.known.any(axis=1), checked.reason[:, 0] == Reason.KNOWN)


def test_a_source_that_is_not_known_is_an_error_only_where_a_place_is_checked():
    from advisor.sources import source

    with pytest.raises(WeatherError):
        source("own")
    assert "own" not in SOURCES
