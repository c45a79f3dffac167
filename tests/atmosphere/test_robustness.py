"""Every public function: NaN in gives NaN out, arrays of any shape agree, float32 stays near float64.

Source of these demands: the program's own rule that missing weather never becomes a number.
"""

from __future__ import annotations

import inspect
import warnings

import numpy as np
import pytest

from advisor import sun
from advisor.atmosphere import stability

from .catalogue import CATALOGUE, MODULES, NIGHT, NOT_NUMERIC, TIME

ENTRIES = pytest.mark.parametrize("entry", CATALOGUE, ids=lambda entry: entry.name)


def test_the_catalogue_is_complete():
    entered = {getattr(entry.function, "__name__", "") for entry in CATALOGUE} | NOT_NUMERIC
    named = {entry.name for entry in CATALOGUE}
    for module in MODULES:
        for name, found in vars(module).items():
            ours = inspect.isfunction(found) and found.__module__.startswith("advisor")
            if ours and not name.startswith("_"):
                assert name in entered or name in named, f"{module.__name__}.{name} is not in the catalogue"


@ENTRIES
def test_ordinary_weather_gives_a_number(entry):
    assert np.all(np.isfinite(entry.function(**entry.numbers, **entry.others)))


@ENTRIES
def test_nan_in_gives_nan_out(entry):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for name in entry.numbers:
            for shape in ((), (3,)):
                numbers = {key: np.full(shape, value) for key, value in entry.numbers.items()}
                numbers[name] = np.full(shape, np.nan)
                result = entry.function(**numbers, **entry.others)
                if entry.name == "leaf_water":
                    continue  # an unknown hour may not matter, see test_leaves
                assert np.all(np.isnan(result)), f"{name} unknown gave {result}"


@ENTRIES
def test_nan_stays_in_its_own_place(entry):
    along_hours = (
        "carry_ratio",
        "leaf_wetness_from_depression",
        "leaf_water",
        "reference_et_hourly_from_weather",
    )
    if entry.name in along_hours:
        pytest.skip("a function along the hour axis, tested by itself")
    first = next(iter(entry.numbers))
    numbers = {name: np.full((2, 4), value) for name, value in entry.numbers.items()}
    numbers[first][1, 2] = np.nan
    result = entry.function(**numbers, **entry.others)
    assert np.isnan(result).sum() == 1 and np.isnan(result[1, 2])


@ENTRIES
def test_scalar_and_arrays_agree(entry):
    alone = entry.function(**entry.numbers, **entry.others)
    assert np.ndim(alone) == 0
    for shape in ((5,), (2, 3, 4)):
        numbers = {name: np.full(shape, value) for name, value in entry.numbers.items()}
        result = entry.function(**numbers, **entry.others)
        assert result.shape == shape
        if entry.alone:
            np.testing.assert_allclose(result, alone, rtol=1e-13)


@ENTRIES
def test_axes_broadcast(entry):
    names = list(entry.numbers)
    numbers = {name: np.full((1, 1, 4), value) for name, value in entry.numbers.items()}
    numbers[names[0]] = np.full((3, 1, 1), entry.numbers[names[0]])
    wanted = (3, 1, 4) if len(names) > 1 else (3, 1, 1)
    assert entry.function(**numbers, **entry.others).shape == wanted


@ENTRIES
def test_float32_stays_float32_and_near_float64(entry):
    random = np.random.default_rng(32)
    double = {
        name: value * (1 + 0.1 * random.uniform(-1, 1, 200)) if value else np.zeros(200)
        for name, value in entry.numbers.items()
    }
    for whole in {"stability_class", "index"} & set(double):
        double[whole] = np.full(200, entry.numbers[whole])
    single = {name: values.astype(np.float32) for name, values in double.items()}
    double = {name: values.astype(np.float64) for name, values in single.items()}
    exact = entry.function(**double, **entry.others)
    rough = entry.function(**single, **entry.others)
    assert rough.dtype == (np.float64 if entry.always_double else np.float32)
    error = np.abs(rough - exact) / np.maximum(np.abs(exact), 1.0)
    assert np.nanmax(error) <= entry.single, f"relative error of float32 {np.nanmax(error):.3g}"


@pytest.mark.parametrize("hollow", [np.datetime64("NaT"), np.array(["NaT", "NaT"], dtype="datetime64[s]")])
def test_an_unknown_time_is_night_and_closed_and_has_no_sun(hollow):
    assert np.all(stability.is_night(hollow, **NIGHT))
    assert np.all(stability.inversion_closed(hollow, **NIGHT))
    assert np.all(np.isnan(stability.inversion_likelihood(hollow, **NIGHT)))
    assert np.all(np.isnan(sun.solar_elevation(hollow, 45.0, -93.0)))
    assert np.all(np.isnan(sun.solar_declination(hollow)))


def test_unknown_nights_are_night_and_closed():
    hollow = {key: np.full(3, np.datetime64("NaT", "s")) for key in NIGHT}
    assert stability.is_night(TIME, **hollow)
    assert stability.inversion_closed(TIME, **hollow)
    assert np.isnan(stability.inversion_likelihood(TIME, **hollow))


def test_unknown_coordinates_give_no_event():
    events = sun.sun_events(np.datetime64("2024-06-05"), np.nan, -93.0)
    assert all(np.isnat(part) for part in events)
    sunset, sunrise = sun.nights(TIME, TIME, [np.nan, 45.0], [-93.0, -93.0])
    assert np.isnat(sunset[0]).all() and np.isnat(sunrise[0]).all() and not np.isnat(sunset[1]).any()


def test_unknown_words_are_refused_by_name():
    from advisor.atmosphere import evapotranspiration, moisture, radiation, wind

    with pytest.raises(ValueError, match="magnus"):
        moisture.dew_point(20.0, 50.0, method="magnus")
    with pytest.raises(ValueError, match="suburb"):
        wind.power_law_exponent(4.0, terrain="suburb")
    with pytest.raises(ValueError, match="medium"):
        evapotranspiration.asce_et_hourly(20.0, 1.0, 2.0, 1.0, 100.0, True, surface="medium")
    with pytest.raises(ValueError, match="who"):
        radiation.net_longwave_hourly(20.0, 1.0, 0.8, method="who")
