"""Measures in people's own words, and calibrations that cannot be right. Our own behaviour, no outside source."""

from __future__ import annotations

import math

import pytest

from advisor.errors import UsageError
from advisor.mix.calibration import by_catch, by_known_area, with_calibrations
from advisor.mix.conversions import ACRE_M2, FLUID_OUNCE_ML, GALLON_L, SQUARE_FOOT_M2
from advisor.mix.measures import read_measures, to_get


@pytest.mark.parametrize(
    ("text", "step", "dimension", "unit", "capacity"),
    [
        ("measuring cylinder, steps of 0.1 fl oz", 0.1 * FLUID_OUNCE_ML, "volume", "fl oz", None),
        ("syringe, steps of 1 mL", 1.0, "volume", "mL", None),
        ("syringe with steps of 2mL, up to 60 mL", 2.0, "volume", "mL", 60.0),
        ("balance, steps of 10 g", 10.0, "mass", "g", None),
        ("Kitchen-free scale, steps of 0.1 oz", None, None, None, None),
        ("steps of 5 mL", 5.0, "volume", "mL", None),
    ],
)
def test_measures_in_words(text, step, dimension, unit, capacity):
    if step is None:
        with pytest.raises(UsageError, match="kitchen"):
            read_measures(text)
        return
    (measure,) = read_measures(text)
    assert measure.step == pytest.approx(step, rel=1e-9) and measure.dimension == dimension
    assert measure.unit == unit and measure.capacity == capacity


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("measuring cylinder", "does not say its steps"),
        ("cup, steps of one", "does not begin with a number"),
        ("cup, steps of 2", "unit is missing"),
        ("cup, steps of 2 ells", "not a unit"),
        ("cup, steps of 0 mL", "steps of nothing"),
        ("cup, steps of -1 mL", "steps of nothing"),
        ("cup, steps of 10 mL, up to 5 mL", "less than one step"),
        ("cup, steps of 10 mL, up to 1 lb", "mixes volume and weight"),
        ("teaspoon", "kitchen"),
        ("tsp, steps of 5 mL", "kitchen"),
        ("coffee cup, steps of 100 mL", "kitchen"),
    ],
)
def test_measures_that_are_none(text, says):
    with pytest.raises(UsageError, match=says) as caught:
        read_measures(text)
    assert caught.value.hint


def test_the_measure_to_get_would_do():
    from advisor.mix.measures import choose

    for wanted in (2.1, 5.0, 14.8, 142.0, 2700.0):
        hint = to_get(wanted, "volume")
        step = float(hint.split("steps of ")[1].split()[0])
        assert choose(wanted, read_measures(f"new one, steps of {step} mL"), "volume") is not None
    assert "too little" in to_get(1.0, "mass")


def test_a_catch_in_another_time_counts_in_proportion():
    gallons_per_acre = GALLON_L / ACRE_M2
    made = by_catch(20 * FLUID_OUNCE_ML, [50.0, 52.0], caught_for=25.5)
    assert made.carrier_rate == pytest.approx(40 * gallons_per_acre, rel=1e-9)
    assert by_catch(40 * FLUID_OUNCE_ML).carrier_rate == pytest.approx(40 * gallons_per_acre, rel=1e-12)


def test_both_methods_agree_on_the_same_trial():
    by_plot = by_catch(25 * FLUID_OUNCE_ML, [30.0], plot=340.3125 * SQUARE_FOOT_M2)
    by_area = by_known_area(25 * FLUID_OUNCE_ML / 1000, 340.3125 * SQUARE_FOOT_M2)
    assert by_plot.carrier_rate == pytest.approx(by_area.carrier_rate, rel=1e-12)


@pytest.mark.parametrize(
    "trial",
    [
        lambda: by_catch(0.0),
        lambda: by_catch(-5.0),
        lambda: by_catch(math.nan),
        lambda: by_catch(1000.0, [0.0]),
        lambda: by_catch(1000.0, [50.0, 60.0]),  # 18 % apart
        lambda: by_catch(1000.0, (), caught_for=30.0),
        lambda: by_catch(1000.0, [50.0], caught_for=-1.0),
        lambda: by_catch(1000.0, plot=0.0),
        lambda: by_catch(1.0),  # 0.03 gal/acre
        lambda: by_known_area(5.0, 0.0),
        lambda: by_known_area(math.inf, 100.0),
        lambda: by_known_area(400.0, 100.0),  # a watering can
    ],
)
def test_trials_that_cannot_be_right(trial):
    with pytest.raises(UsageError) as caught:
        trial()
    assert caught.value.hint


def test_a_calibration_takes_the_place_of_what_the_file_says():
    from advisor.mix.plan import plan_mix
    from tests.mix.household import household, parts

    home = household()
    assert with_calibrations(home, {}) is home and with_calibrations(home, {"other": 0.1}) is home
    calibrated = with_calibrations(home, {"knapsack": home.sprayers["knapsack"].carrier_rate * 2})
    # twice the water on the same turf, and the same product
    once, twice = plan_mix(*parts(home)), plan_mix(*parts(calibrated))
    assert twice.volume == pytest.approx(2 * once.volume) and twice.product == pytest.approx(once.product)
