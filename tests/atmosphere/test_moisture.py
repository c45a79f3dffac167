"""Properties of the moisture formulas over their whole range; published values stand in tests/literature."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.atmosphere import moisture

TEMPERATURE = st.floats(-20.0, 50.0)
HUMIDITY = st.floats(1.0, 100.0)
PRESSURE = st.floats(55.0, 107.0)


@given(TEMPERATURE, HUMIDITY, PRESSURE)
def test_wet_bulb_solves_its_equation_between_dew_point_and_dry_bulb(temperature, humidity, pressure):
    # Source: FAO-56 eq. 15; dew point <= wet bulb <= dry bulb holds for any psychrometer.
    wet = moisture.wet_bulb(temperature, humidity, pressure)
    assert wet <= temperature + 1e-9
    assert wet >= moisture.dew_point(temperature, humidity) - 1e-9
    vapour = moisture.vapour_pressure_from_psychrometer(temperature, wet, pressure)
    wanted = moisture.vapour_pressure_from_relative_humidity(temperature, humidity)
    assert vapour == pytest.approx(wanted, abs=1e-9)


@given(TEMPERATURE, st.floats(1.0, 99.0), PRESSURE)
def test_moister_air_has_a_smaller_delta_t(temperature, humidity, pressure):
    # Source: physics; the psychrometer equation is monotone.
    drier = moisture.delta_t(temperature, humidity, pressure)
    assert drier > moisture.delta_t(temperature, humidity + 1.0, pressure) >= -1e-9


def test_saturated_air_has_no_depression():
    # Source: definition of saturation.
    temperature = np.arange(-20.0, 51.0)
    assert np.abs(moisture.delta_t(temperature, 100.0)).max() < 1e-9
    assert np.abs(moisture.dew_point(temperature, 100.0) - temperature).max() < 1e-9
    assert np.abs(moisture.vapour_pressure_deficit(temperature, 100.0)).max() < 1e-12


@given(TEMPERATURE, HUMIDITY)
def test_humidity_and_dew_point_round_trip(temperature, humidity):
    # Source: one equation read in both directions, FAO-56 eq. 10 and 11.
    dew = moisture.dew_point(temperature, humidity)
    assert moisture.relative_humidity(temperature, dew) == pytest.approx(humidity, rel=1e-9)
    vapour = moisture.vapour_pressure_from_dew_point(dew)
    assert moisture.dew_point_from_vapour_pressure(vapour) == pytest.approx(dew, abs=1e-9)


@given(TEMPERATURE)
def test_slope_is_the_derivative(temperature):
    # Source: calculus; FAO-56 rounds 17.27 x 237.3 = 4098.17 to 4098, 4e-5.
    step = 1e-4
    high, low = (moisture.saturation_vapour_pressure(temperature + sign * step) for sign in (1, -1))
    assert moisture.saturation_slope(temperature) == pytest.approx((high - low) / (2 * step), rel=1e-4)


def test_the_two_dew_points_agree():
    # Source: two published fits of the same curve; above 0 degC each is within 0.06 K of psychrolib's dew
    # point.
    temperature, humidity = np.meshgrid(np.arange(0.0, 51.0), np.arange(1.0, 101.0))
    ours = moisture.dew_point(temperature, humidity)
    other = moisture.dew_point(temperature, humidity, method="alduchov-eskridge")
    assert np.abs(ours - other)[ours > 0].max() < 0.08


@pytest.mark.parametrize("humidity", [0.0, -5.0])
def test_impossible_humidity_has_no_dew_point(humidity):
    # Source: a logarithm of nothing; missing must not become a number.
    assert np.isnan(moisture.dew_point(20.0, humidity))
    assert np.isnan(moisture.dew_point_from_vapour_pressure(0.0))


def test_negative_humidity_has_no_wet_bulb():
    assert np.isnan(moisture.wet_bulb(20.0, -1.0)) and np.isfinite(moisture.wet_bulb(20.0, 0.0))


def test_wet_bulb_of_a_whole_forecast_is_fast():
    # Source: own demand of speed: 100 sites, 50 members, 240 hours in cache-sized pieces within seconds.
    import time

    random = np.random.default_rng(1)
    temperature = random.uniform(-5, 35, (16, 50, 240)).astype(np.float32)
    humidity = random.uniform(15, 100, temperature.shape).astype(np.float32)
    begin = time.perf_counter()
    moisture.delta_t(temperature, humidity)
    assert time.perf_counter() - begin < 1.0
