"""Measured hours in the place of forecast ones. Our own rule, no outside source."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from spread.forecasts import NOW, START, at, blocks, ensemble, field, plain
from weather_bodies import open_meteo_body

from advisor.forecast import Forecast, Provenance, Reason
from advisor.measured_past import Past, with_past
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer
from weather import households

BEFORE = 48
TODAY = at(plain(), "2026-09-21T12")


def past(measured: bool = True, start=START, hours: int = 200, **fields) -> Past:
    provenance = Provenance("seen", notes=("a station",), attribution="Station")
    seen = Forecast(start, hours, fields, provenance, np.ones(hours, dtype=int))
    return Past(seen, {name: np.full(hours, measured) & one.known[0, 0] for name, one in fields.items()})


def test_measured_hours_replace_what_is_over_and_nothing_else():
    made = with_past(plain(), past(air_temperature=field(np.full(200, 3.0))), NOW)
    values = made.values("air_temperature")[0, 0]
    assert (values[: TODAY + 1] == 3.0).all()  # an instant on the full hour of now has been measured
    assert np.array_equal(values[TODAY + 1 :], plain().values("air_temperature")[0, 0, TODAY + 1 :])
    assert made.provenance.attribution == "Station"
    assert "measured" in made.provenance.notes[-1]


def test_rain_of_the_hour_that_is_not_over_stays_forecast():
    made = with_past(plain(), past(precipitation=field(np.full(200, 2.0))), NOW)
    rain = made.values("precipitation")[0, 0]
    assert (rain[:TODAY] == 2.0).all() and (rain[TODAY:] == 0.0).all()


def test_what_was_not_measured_stays_as_the_forecast_has_it():
    """An empty field of a report is no zero."""
    values = np.full(200, np.nan)
    values[5] = 4.0
    made = with_past(plain(), past(precipitation=field(values)), NOW)
    rain = made.values("precipitation")[0, 0]
    assert rain[5] == 4.0 and rain[:5].sum() == 0.0 and rain[6:].sum() == 0.0


def test_past_hours_of_other_answers_only_fill_gaps():
    mine = np.full(200, 15.0)
    mine[3:6] = np.nan
    made = with_past(plain(air_temperature=field(mine)), past(False, air_temperature=field(np.full(200, 3.0))), NOW)
    values = made.values("air_temperature")[0, 0]
    assert (values[3:6] == 3.0).all() and (np.delete(values, [3, 4, 5]) == 15.0).all()
    assert made.provenance.attribution == plain().provenance.attribution
    assert "measured" not in made.provenance.notes[-1]


def test_the_axis_begins_with_what_is_known():
    earlier = past(start=START - np.timedelta64(BEFORE, "h"), air_temperature=field(np.full(200, 3.0)))
    made = with_past(plain(), earlier, NOW)
    assert made.start == earlier.forecast.start and made.hours == plain().hours + BEFORE
    assert (made.values("air_temperature")[0, 0, :BEFORE] == 3.0).all()
    assert np.isnan(made.values("wind_speed_10m")[0, 0, :BEFORE]).all()
    assert (made.reason("wind_speed_10m")[0, 0, :BEFORE] == Reason.BEFORE_START).all()
    assert (made.nominal_members == 1).all()
    later = made.values("air_temperature")[0, 0, BEFORE + TODAY + 1 :]
    assert np.array_equal(later, plain().values("air_temperature")[0, 0, TODAY + 1 :])


def test_all_members_share_what_has_happened():
    members = ensemble(10)
    made = with_past(members, past(air_temperature=field(np.full(200, 3.0))), NOW)
    assert (made.values("air_temperature")[0, :, :TODAY] == 3.0).all()
    assert made.values("air_temperature").shape == members.values("air_temperature").shape
    assert (made.nominal_members == 10).all()


def test_a_variable_that_the_forecast_lacks_is_not_added():
    """Known of the past alone it would look like a gap of what is to come."""
    made = with_past(plain(cloud_cover=None), past(cloud_cover=field(np.full(200, 50.0))), NOW)
    assert "cloud_cover" not in made.fields


def test_humidity_and_dew_point_follow_from_each_other():
    """20 degC with a dew point of 10 degC is 52.5 % (FAO-56 eq. 11: 1.2280 of 2.3383 kPa)."""
    seen = past(air_temperature=field(np.full(200, 20.0)), dew_point=field(np.full(200, 10.0)))
    made = with_past(plain(dew_point=None), seen, NOW)
    assert made.values("relative_humidity")[0, 0, 3] == pytest.approx(100 * 1.2280 / 2.3383, abs=0.02)
    assert "dew_point" not in made.fields
    back = past(air_temperature=field(np.full(200, 20.0)), relative_humidity=field(np.full(200, 52.517)))
    made = with_past(plain(relative_humidity=None), back, NOW)
    assert made.values("dew_point")[0, 0, 3] == pytest.approx(10.0, abs=0.01)


def test_blocks_of_rain_keep_their_bounds_and_measured_hours_are_their_own():
    blocked = plain(precipitation=field(np.full(200, 0.1), *blocks(200, 6)))
    values = np.full(200, np.nan)
    values[8] = 3.0
    one = with_past(blocked, past(precipitation=field(values)), NOW).fields["precipitation"]
    assert (one.block_first[0, 0, 8], one.block_last[0, 0, 8]) == (8, 8)
    assert (one.block_first[0, 0, 7], one.block_last[0, 0, 7]) == (6, 11)
    shifted = past(False, START - np.timedelta64(12, "h"), precipitation=field(np.full(200, 0.2), *blocks(200, 6)))
    one = with_past(plain(), shifted, NOW).fields["precipitation"]
    assert list(one.block_first[0, 0, :12]) == [0] * 6 + [6] * 6
    assert one.block_first[0, 0, 30] == one.block_last[0, 0, 30] == 30


def test_nothing_known_changes_nothing():
    forecast = plain()
    assert with_past(forecast, past(air_temperature=field(np.full(200, np.nan))), NOW) is forecast
    later = replace(past(air_temperature=field(np.full(200, 3.0))).forecast, start=START + np.timedelta64(100, "h"))
    assert with_past(forecast, Past(later, {"air_temperature": np.ones(200, dtype=bool)}), NOW) is forecast


# the soil's water balance


def stress(measured_rain: float | None, folder) -> float:
    """Ks at noon of the next day, with ten dry past days and perhaps measured rain in them."""
    now = households.NOW
    body = open_meteo_body(*households.PLACE, now, past_days=10)
    body["hourly"]["precipitation"] = [0.0] * len(body["hourly"]["time"])
    forecast = control(read_answer(json.dumps(body).encode(), fetched_at=now), now)
    if measured_rain is not None:
        rain = np.full(forecast.hours, np.nan)
        rain[[60, 120, 180]] = measured_rain
        seen = Forecast(forecast.start, forecast.hours, {"precipitation": field(rain)}, Provenance("seen"),
                        np.ones(forecast.hours, dtype=int))  # fmt: skip
        forecast = with_past(forecast, Past(seen, {"precipitation": ~np.isnan(rain)}), now)
    one = households.household(folder)
    one = replace(one, areas={name: replace(area, soil_state=None, soil_seen=None) for name, area in one.areas.items()})
    made = make_outlook(one, forecast, list(load_rules()), [], now, 1)
    return float(made.explainer.area.soil_stress[0, 0, forecast.index(np.datetime64("2026-09-22T17"))])


def test_measured_rain_feeds_the_soil_water_balance(tmp_path):
    dry, wet = stress(None, tmp_path / "a"), stress(15.0, tmp_path / "b")
    assert 0.0 <= dry < 0.2 and wet > dry + 0.3
