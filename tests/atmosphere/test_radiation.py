"""Radiation and evapotranspiration beyond the published values in tests/literature."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.atmosphere import evapotranspiration, moisture, radiation


def test_the_hours_of_a_day_add_up_to_the_day():
    # Source: FAO-56 eq. 28 is eq. 21 cut into hours; the day changes at solar midnight, hence a little apart.
    for latitude in (-40.0, 0.0, 36.0, 60.0):
        for month in ("03", "06", "09", "12"):
            hours = np.datetime64(f"2023-{month}-15T00", "s") + np.arange(24) * np.timedelta64(3600, "s")
            total = radiation.extraterrestrial_hourly(hours, latitude, 0.0).sum()
            day = (np.datetime64(f"2023-{month}-15") - np.datetime64("2023-01-01")).astype(int) + 1
            # Near the horizon only the part of an hour with the sun up counts, as in the day's integral.
            assert total == pytest.approx(radiation.extraterrestrial_daily(latitude, day), rel=0.01)


def test_midnight_sun_and_polar_night():
    # Source: FAO-56 eq. 25 with the argument limited to -1..1.
    assert radiation.daylight_hours(70.0, 172) == pytest.approx(24.0)
    assert radiation.daylight_hours(70.0, 355) == 0.0
    assert radiation.extraterrestrial_daily(70.0, 355) == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(radiation.shortwave_from_sunshine(0.0, 0.0, 0.0))
    assert np.isnan(radiation.clear_sky_ratio(0.0, 0.0))


def test_the_ratio_is_carried_through_the_night():
    # Source: FAO-56 chapter 3: at night the ratio of the last hours before sunset is taken.
    sun = np.array([-10.0, 5.0, 30.0, 50.0, 20.0, 3.0, -5.0, -20.0])
    ratio = np.array([np.nan, 0.4, 0.5, 0.6, 0.7, 0.3, np.nan, np.nan])
    carried = radiation.carry_ratio(ratio, sun, initial=0.55)
    assert carried.tolist() == [0.55, 0.55, 0.5, 0.6, 0.7, 0.7, 0.7, 0.7]


def test_an_unknown_afternoon_makes_the_night_unknown():
    # Source: missing weather must not be replaced by older weather.
    sun = np.array([50.0, 20.0, -5.0, -20.0])
    carried = radiation.carry_ratio(np.array([0.6, np.nan, np.nan, np.nan]), sun)
    assert carried[0] == 0.6 and np.isnan(carried[1:]).all()
    carried = radiation.carry_ratio(np.array([0.6, 0.7, 0.7]), np.array([50.0, np.nan, -5.0]))
    assert carried[0] == 0.6 and np.isnan(carried[1:]).all()
    assert np.isnan(radiation.carry_ratio(0.6, np.nan))


def test_clouds_and_impossible_ones():
    # Source: Kasten and Czeplak (1980): 25 % of the clear sky under full cloud; above 100 % is no cover.
    cover = np.array([0.0, 50.0, 100.0, 101.0, -1.0])
    share = radiation.shortwave_from_cloud(cover, 1.0)
    assert share[:3].tolist() == pytest.approx([1.0, 1 - 0.75 * 0.5**3.4, 0.25])
    assert np.isnan(share[3:]).all()
    assert np.all(np.diff(radiation.shortwave_from_cloud(np.arange(101.0), 1.0)) <= 0)


def test_a_maximum_below_the_minimum_is_unknown():
    # Source: implausible input must not become a number.
    assert np.isnan(radiation.shortwave_from_temperature_range(10.0, 12.0, 30.0))
    assert np.isnan(evapotranspiration.hargreaves_et(11.0, 10.0, 12.0, 30.0))


def test_more_wind_and_drier_air_evaporate_more():
    # Source: FAO-56 Example 20: -7 % at 1 m/s, +6 % at 3 m/s; here the direction only, over a grid.
    wind, vapour = np.meshgrid(np.arange(0.5, 8.0, 0.5), np.arange(0.5, 1.7, 0.1), indexing="ij")
    result = evapotranspiration.reference_et_daily(30.0, 18.0, vapour, wind, 14.0, 100.0)
    assert np.all(np.diff(result, axis=0) > 0) and np.all(np.diff(result, axis=1) < 0)


def test_sites_and_members_at_once():
    # Source: the sum of the parts: each site and member alone gives the same.
    random = np.random.default_rng(7)
    time = np.datetime64("2024-06-01T00", "h") + np.arange(48)
    latitude, longitude = np.array([36.0, 45.0])[:, None, None], np.array([-80.0, -93.0])[:, None, None]
    temperature = random.uniform(10, 30, (2, 3, 48))
    vapour = moisture.saturation_vapour_pressure(temperature) * random.uniform(0.4, 0.9, (2, 3, 48))
    shortwave = random.uniform(0, 500, (2, 3, 48))
    together = evapotranspiration.reference_et_hourly_from_weather(
        time, temperature, vapour, 2.0, shortwave, latitude, longitude, 200.0
    )
    assert together.shape == (2, 3, 48)
    for site in range(2):
        for member in range(3):
            alone = evapotranspiration.reference_et_hourly_from_weather(
                time, temperature[site, member], vapour[site, member], 2.0, shortwave[site, member],
                latitude[site, 0, 0], longitude[site, 0, 0], 200.0,
            )  # fmt: skip
            np.testing.assert_allclose(together[site, member], alone, rtol=1e-12)
