"""Derived series of a site: what is known of an hour, from both its ends, and what is not."""

import numpy as np
import pytest
from strategies import HOURS, forecast

from advisor.conditions import CALM_BELOW, Conditions, SiteTable

MPH = 0.44704
TO_2M = 4.87 / np.log(67.8 * 10 - 5.42)  # FAO-56 eq. 47
NOON = 12  # hours after 06 UTC: 13:00 by the clock of the invented place, sun high
MIDNIGHT = 0


def conditions(values=None, hollow: bool = False, sheltered: bool = False) -> Conditions:
    weather = forecast(values)
    place = (np.array([one]) for one in (41.6, -93.6, 290.0, hollow, sheltered))
    return Conditions(weather, SiteTable(*place))


def at(values: np.ndarray, hour: int) -> float:
    return float(np.broadcast_to(values, (1, 1, HOURS))[0, 0, hour])


def test_an_hour_is_wet_when_either_of_its_ends_is():
    """87 % and more is wet, Sentelhas et al. (2008); the rule looks at the whole hour."""
    humidity = np.full(HOURS, 50.0)
    humidity[10] = 95.0
    wet = conditions({"relative_humidity": humidity}).leaf_wet
    assert [at(wet, hour) for hour in (8, 9, 10, 11)] == [0.0, 1.0, 1.0, 0.0]


def test_one_sign_of_wetness_is_enough_and_dryness_needs_all():
    rain = np.zeros(HOURS)
    rain[5] = 0.2
    humidity = np.full(HOURS, 50.0)
    humidity[[5, 20]] = np.nan
    wet = conditions({"precipitation": rain, "relative_humidity": humidity}).leaf_wet
    assert at(wet, 5) == 1.0, "rain wets a leaf whatever the humidity"
    assert np.isnan(at(wet, 4)) and np.isnan(at(wet, 19)) and np.isnan(at(wet, 20)) and at(wet, 21) == 0.0
    assert np.isnan(at(wet, HOURS - 1)), "the last hour has no end"


def test_humidity_and_dew_point_stand_for_each_other_only_where_one_is_not_carried():
    both, without = conditions(), conditions({"relative_humidity": None})
    assert at(both.relative_humidity, 3) == 49.0
    # 9 degC over 20 degC: FAO-56 eq. 10 and 11, 1.148 / 2.338 kPa
    assert at(without.relative_humidity, 3) == pytest.approx(49.1, abs=0.1)
    gap = np.full(HOURS, 49.0)
    gap[3] = np.nan
    assert np.isnan(at(conditions({"relative_humidity": gap}).relative_humidity, 3))
    assert at(conditions({"dew_point": None}).dew_point, 3) == pytest.approx(9.0, abs=0.1)


def test_a_gust_keeps_its_excess_over_the_mean_on_the_way_down():
    """Mean 4 m/s at 10 m, gust 7 m/s: 4.87 / ln(672.58) x 4 + 3 at 2 m."""
    gust = conditions({"wind_speed_10m": 4.0, "wind_gust": 7.0}).wind_gust_2m
    assert at(gust, 10) == pytest.approx(4.0 * TO_2M + 3.0)
    assert np.isnan(at(gust, HOURS - 1)), "the last hour's mean wind has no second end"
    below = conditions({"wind_speed_10m": 4.0, "wind_gust": 3.0}).wind_gust_2m
    assert at(below, 10) == pytest.approx(4.0 * TO_2M), "never below the mean"


@pytest.mark.parametrize(
    ("mph_at_2m", "cloud", "hour", "expected"),
    [
        (2.0, 0.0, NOON, "3 mph"),  # class A to C by day: a heating sun mixes
        (0.5, 0.0, NOON, "itself"),  # below 1 mph it is still whatever the sun does
        (2.0, 0.0, MIDNIGHT, "itself"),  # stable by night
        (2.0, 100.0, MIDNIGHT, "itself"),
        (5.0, 0.0, NOON, "itself"),
    ],
)
def test_light_wind_counts_only_under_a_heating_sun(mph_at_2m, cloud, hour, expected):
    speed = mph_at_2m * MPH / TO_2M
    found = at(conditions({"wind_speed_10m": speed, "cloud_cover": cloud}).mixing_wind, hour)
    if expected == "3 mph":
        assert found == pytest.approx(CALM_BELOW)
    else:
        assert found <= mph_at_2m * MPH + 1e-9


def test_light_wind_under_a_sky_that_is_not_known():
    """By day 2 mph are mixed under most skies and not under a low overcast (Turner: net radiation index 0, class D); by
    night they are calm under any; 6 mph are enough under any."""
    for mph, hour, expected in ((2.0, NOON, None), (2.0, MIDNIGHT, "calm"), (6.0, NOON, "enough")):
        values = {"wind_speed_10m": mph * MPH / TO_2M, "cloud_cover": None}
        found = at(conditions(values).mixing_wind, hour)
        told = None if np.isnan(found) else "enough" if found >= CALM_BELOW else "calm"
        assert told == expected, (mph, hour)
        skies = [
            at(conditions({**values, "cloud_cover": sky}).mixing_wind, hour) for sky in (0.0, 60.0, 100.0)
        ]
        assert expected is None or found <= min(skies) + 1e-9


def test_the_closed_time_around_the_night_needs_no_weather():
    """Closed from 2 h before sunset to 1 h after sunrise, a label-type rule; in hollows an hour longer each."""
    blind = dict.fromkeys(("wind_speed_10m", "cloud_cover"), np.nan)
    flat, hollow = conditions(blind), conditions(blind, hollow=True)
    sunset, sunrise = (times[0, 1] for times in flat.nights)
    axis = flat.axis.astype("datetime64[s]")
    hour = np.timedelta64(3600, "s")
    for site, before, after in ((flat, 2, 1), (hollow, 3, 2)):
        closed = site.inversion_closed[0, 0]
        inside = (axis >= sunset - before * hour) & (axis < sunrise + after * hour)
        assert closed[inside].all()
        outside = (axis >= sunrise + after * hour) & (axis < sunrise + 6 * hour)
        assert not closed[outside].any() and outside.any()
        sign = site.inversion_sign[0, 0]
        assert (sign[inside] == 1.0).all(), "closed, also where nothing else is known"
        assert np.isnan(sign[outside]).all(), "open by the clock, and the wind is not known"


def test_by_day_no_cloud_makes_the_air_stable():
    assert at(conditions({"cloud_cover": None}).inversion_sign, NOON) == 0.0
    assert at(conditions({"cloud_cover": np.nan}).inversion_sign, NOON) == 0.0


def test_a_missing_chance_is_estimated_only_where_the_amount_is_known():
    rain = np.zeros(HOURS)
    rain[4] = np.nan
    found = conditions({"precipitation": rain}).precipitation_probability_unstated
    assert np.isnan(at(found, 4)) and at(found, 5) == 10.0


@pytest.mark.parametrize("breeze", [2.5, 4.0, 8.0])
def test_half_of_the_wind_is_sure_behind_shelter_and_upper_limits_take_no_credit_for_it(breeze):
    """Common practice, no source."""
    values = {"wind_speed_10m": breeze, "cloud_cover": 100.0}
    open_land, sheltered = conditions(values), conditions(values, sheltered=True)
    # by night, when no sun mixes the air
    assert at(sheltered.mixing_wind, MIDNIGHT) == pytest.approx(0.5 * at(open_land.mixing_wind, MIDNIGHT))
    np.testing.assert_array_equal(sheltered.wind_speed_2m, open_land.wind_speed_2m)
