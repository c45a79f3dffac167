"""Every formula of soil, drift, rain, growth, verification and mixing: missing values, shapes, float32.

``CASES`` lists each elementwise function with an ordinary value for each of its array arguments; a test
makes sure that no public function is left out of it or of ``ALONG_AN_AXIS``, whose members have tests of
their own beside their subject.
"""

from __future__ import annotations

import importlib
import inspect
import warnings

import numpy as np
import pytest

from advisor.growth.weeds import find_weed

SOIL, DRIFT, RAIN, GROWTH = "advisor.soil.", "advisor.drift.", "advisor.rain.", "advisor.growth."
VERIFICATION, MIX = "advisor.verification.", "advisor.mix.arithmetic."

# function -> (array arguments, other arguments, float32 error allowed relative to the value)
CASES: dict[str, tuple[dict, dict, float]] = {
    SOIL + "water.total_available_water": (
        {"field_capacity": 0.3, "wilting_point": 0.15, "rooting_depth": 0.3},
        {},
        2e-6,
    ),
    SOIL + "water.readily_available_water": ({"total_available_water": 42.0, "p": 0.4}, {}, 1e-6),
    SOIL + "water.depletion_fraction": ({"p_table": 0.4, "crop_evapotranspiration": 6.0}, {}, 1e-6),
    SOIL + "water.stress_coefficient": (
        {"depletion": 30.0, "total_available_water": 42.0, "p": 0.4},
        {},
        1e-5,
    ),
    SOIL + "runoff.potential_retention": ({"curve_number": 74.0}, {}, 1e-5),
    SOIL + "runoff.initial_abstraction": ({"curve_number": 74.0}, {}, 1e-5),
    SOIL + "runoff.curve_number_runoff": ({"rain_mm": 60.0, "curve_number": 74.0}, {}, 1e-5),
    SOIL + "runoff.adjust_curve_number": ({"curve_number": 74.0}, {"antecedent": "wet"}, 1e-6),
    SOIL + "runoff.antecedent_curve_number": ({"curve_number": 74.0, "rain_five_days": 60.0}, {}, 1e-6),
    SOIL + "temperature.damping_depth": ({"diffusivity": 0.5e-6, "period": 86400.0}, {}, 1e-6),
    SOIL + "temperature.amplitude_at_depth": (
        {"surface_amplitude": 7.0, "depth": 0.1, "damping_depth": 0.12},
        {},
        1e-6,
    ),
    SOIL + "temperature.lag_at_depth": ({"depth": 0.1, "damping_depth": 0.12, "period": 86400.0}, {}, 1e-6),
    DRIFT + "deposit.deposit_percent": ({"distance": 5.0}, {}, 1e-6),
    DRIFT + "deposit.strip_mean": ({"near": 1.0, "far": 2.0}, {}, 2e-5),
    DRIFT + "deposit.angle_off_wind": (
        {"bearing": 80.0, "wind_from_direction": 300.0, "arc": 10.0},
        {},
        1e-5,
    ),
    DRIFT + "droplets.stokes_velocity": (
        {"diameter_um": 60.0, "air_density": 1.2, "air_viscosity": 1.8e-5},
        {},
        1e-5,
    ),
    DRIFT + "droplets.terminal_velocity": (
        {"diameter_um": 200.0, "air_density": 1.2, "air_viscosity": 1.8e-5},
        {},
        1e-5,
    ),
    DRIFT + "droplets.simmel_velocity": ({"diameter_um": 200.0}, {}, 1e-5),
    DRIFT + "droplets.evaporation_lifetime": ({"diameter_um": 200.0, "delta_t": 6.0}, {}, 1e-6),
    DRIFT + "droplets.droplet_flight": (
        {"diameter_um": 150.0, "release_height": 0.5, "wind_speed": 2.0, "delta_t": 6.0},
        {},
        1e-4,
    ),
    DRIFT + "droplets.drift_distance": (
        {"diameter_um": 150.0, "release_height": 0.5, "wind_speed": 2.0, "delta_t": 6.0},
        {},
        1e-4,
    ),
    RAIN + "chance.is_measurable": ({"rain_mm": 2.0}, {}, 0.0),
    RAIN + "washoff.remaining_power": ({"rain_mm": 5.0}, {}, 1e-6),
    RAIN + "washoff.remaining_exponential": ({"rain_mm": 5.0}, {}, 1e-6),
    RAIN + "washoff.washoff": ({"rain_mm": 5.0, "hours_since_treatment": 20.0}, {}, 1e-6),
    GROWTH + "degree_days.degree_days": (
        {"daily_maximum": 25.0, "daily_minimum": 12.0, "base": 10.0},
        {},
        1e-6,
    ),
    GROWTH + "emergence.crabgrass_degree_days": ({"soil_maximum": 22.0, "soil_minimum": 12.0}, {}, 1e-6),
    GROWTH + "emergence.crabgrass_stage": ({"accumulated": 60.0}, {}, 0.0),
    GROWTH + "emergence.preemergence_stage": ({"soil_five_day_mean": 11.0}, {}, 0.0),
    GROWTH + "emergence.winter_annual_stage": ({"soil_five_day_mean": 11.0}, {}, 0.0),
    GROWTH + "weeds.active_from": ({"month": 5.0}, {"life_cycle": "perennial"}, 1e-6),
    GROWTH + "weeds.is_young_and_active": (
        {"month": 10.0, "daily_maximum": 18.0},
        {"weed": find_weed("dandelion")},
        0.0,
    ),
    VERIFICATION + "distributions.normal_pdf": ({"z": 0.7}, {}, 1e-6),
    VERIFICATION + "distributions.normal_cdf": ({"z": 0.7}, {}, 1e-6),
    VERIFICATION + "distributions.student_t_pdf": ({"t": 0.7, "degrees_of_freedom": 5.0}, {}, 1e-6),
    VERIFICATION + "distributions.student_t_cdf": ({"t": 0.7, "degrees_of_freedom": 5.0}, {}, 1e-6),
    VERIFICATION + "crps.crps_gaussian": (
        {"mean": 1.0, "standard_deviation": 2.0, "observed": 3.0},
        {},
        1e-5,
    ),
    VERIFICATION + "crps.crps_student_t": (
        {"location": 1.0, "scale": 2.0, "degrees_of_freedom": 5.0, "observed": 3.0},
        {},
        1e-5,
    ),
    VERIFICATION + "cost_loss.should_protect": ({"probability": 0.5, "cost": 1.0, "loss": 4.0}, {}, 0.0),
    VERIFICATION + "cost_loss.chance_floor": ({"cost_of_waiting": 1.0, "cost_of_failure": 4.0}, {}, 1e-6),
    VERIFICATION + "cost_loss.relative_value": (
        {"hit_rate": 0.8, "false_alarm_rate": 0.2, "base_rate": 0.3, "cost_loss_ratio": 0.2},
        {},
        1e-5,
    ),
    MIX + "carrier_from_catch": ({"caught_fluid_ounces": 40.0, "area_ft2": 340.0}, {}, 1e-6),
    MIX + "carrier_from_known_area": ({"volume_used_l": 4.0, "area_m2": 90.0}, {}, 1e-6),
    MIX + "carrier_from_nozzles": (
        {"flow_gallons_per_minute": 0.3, "speed_mph": 3.0, "width_inches": 20.0},
        {},
        1e-6,
    ),
    MIX + "course_length": ({"area_ft2": 340.0, "swath_ft": 6.0}, {}, 1e-6),
    MIX + "product_on_area": ({"rate": 0.3, "area": 90.0}, {}, 1e-6),
    MIX + "product_in_carrier": ({"rate": 32.0, "carrier_rate": 40.0}, {}, 1e-6),
    MIX + "area_covered": ({"volume": 4.0, "carrier_rate": 0.04}, {}, 1e-6),
    MIX + "product_for_active_ingredient": ({"active_rate": 1.0, "concentration": 4.0}, {}, 1e-6),
    MIX + "adjuvant_volume": ({"percent_by_volume": 0.25, "mix_volume": 4.0}, {}, 1e-6),
    **{
        "advisor.mix.conversions." + name: ({"rate": 1.5}, {}, 1e-6)
        for name in (
            "per_thousand_ft2_to_per_acre",
            "gallons_per_acre_to_litres_per_m2",
            "gallons_per_acre_to_litres_per_hectare",
            "fluid_ounces_per_thousand_ft2_to_litres_per_hectare",
            "fluid_ounces_per_acre_to_litres_per_hectare",
            "pounds_per_acre_to_kilograms_per_hectare",
            "ounces_per_acre_to_grams_per_hectare",
        )
    },
}

# A missing bearing or direction means "toward" there, so this one has its own test beside its subject.
TOWARD = {DRIFT + "deposit.deposit_at_neighbour"}
ALONG_AN_AXIS = {
    SOIL + "water.run_balance", SOIL + "temperature.soil_temperature",
    SOIL + "temperature.fit_soil_temperature",
    RAIN + "chance.chance_of_any", RAIN + "chance.frechet_bounds", RAIN + "chance.chance_dry_over_span",
    RAIN + "chance.chance_dry_from_members", GROWTH + "degree_days.accumulated_degree_days",
    GROWTH + "emergence.five_day_mean", VERIFICATION + "crps.crps_ensemble",
    VERIFICATION + "brier.brier_score",
    VERIFICATION + "brier.murphy_decomposition", VERIFICATION + "brier.reliability_table",
}  # fmt: skip
LOOKED_UP_BY_WORD = {
    SOIL + "texture.soil_texture", SOIL + "water.turf_coefficient", SOIL + "runoff.turf_curve_number",
    GROWTH + "weeds.find_weed",
}  # fmt: skip
MODULES = (
    "advisor.soil.water", "advisor.soil.texture", "advisor.soil.runoff", "advisor.soil.temperature",
    "advisor.drift.deposit", "advisor.drift.droplets", "advisor.rain.chance", "advisor.rain.washoff",
    "advisor.growth.degree_days", "advisor.growth.emergence", "advisor.growth.weeds",
    "advisor.verification.brier", "advisor.verification.crps", "advisor.verification.cost_loss",
    "advisor.verification.distributions", "advisor.mix.arithmetic", "advisor.mix.conversions",
)  # fmt: skip


def load(dotted: str):
    module, name = dotted.rsplit(".", 1)
    return getattr(importlib.import_module(module), name)


def numbers(result) -> list[np.ndarray]:
    """The numeric parts of a result, one array or a tuple of them; words are left out."""
    parts = result if isinstance(result, tuple) else (result,)
    return [part for part in map(np.asarray, parts) if part.dtype.kind == "f"]


def test_no_public_function_is_left_out():
    public = set()
    for module in MODULES:
        loaded = importlib.import_module(module)
        functions = [name for name in loaded.__all__ if inspect.isfunction(getattr(loaded, name))]
        public |= {f"{module}.{name}" for name in functions}
        # Everything public is named in __all__.
        own = [name for name, item in vars(loaded).items() if getattr(item, "__module__", "") == module]
        named = {name for name in own if inspect.isfunction(getattr(loaded, name)) and name[0] != "_"}
        assert named <= set(loaded.__all__), module
    assert public == set(CASES) | TOWARD | ALONG_AN_AXIS | LOOKED_UP_BY_WORD


@pytest.mark.parametrize("dotted", CASES)
@pytest.mark.parametrize("missing", [np.nan, None], ids=["nan", "none"])
def test_missing_in_is_missing_out_without_a_word(dotted, missing):
    function, (arrays, others, _) = load(dotted), CASES[dotted]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for part in numbers(function(**arrays, **others)):
            assert np.isfinite(part).all()
        for name in arrays:
            for part in numbers(function(**arrays | {name: missing}, **others)):
                assert np.isnan(part).all(), f"{dotted} gave {part} for missing {name}"


@pytest.mark.parametrize("dotted", CASES)
def test_one_missing_value_spoils_no_other(dotted):
    function, (arrays, others, _) = load(dotted), CASES[dotted]
    whole = numbers(function(**arrays, **others))
    for name, value in arrays.items():
        mixed = {**arrays, name: np.array([value, np.nan, value])}
        for part, expected in zip(numbers(function(**mixed, **others)), whole, strict=True):
            assert part == pytest.approx([float(expected), np.nan, float(expected)], nan_ok=True, rel=1e-12)


@pytest.mark.parametrize("dotted", CASES)
def test_number_row_and_site_member_hour_agree(dotted):
    function, (arrays, others, _) = load(dotted), CASES[dotted]
    random = np.random.default_rng(8)
    shapes = [(2, 1, 4), (2, 3, 4), (1, 1, 4), (2, 3, 1)]
    stacked = {}
    for (name, value), shape in zip(arrays.items(), shapes, strict=False):
        steps = np.ones(shape) if name == "month" else random.uniform(0.98, 1.02, shape)
        stacked[name] = value * steps
    result = numbers(function(**stacked, **others))
    shape = np.broadcast_shapes(*(item.shape for item in stacked.values()))
    for part in result:
        assert part.shape == shape
    for index in np.ndindex(*shape):
        single = {name: float(np.broadcast_to(item, shape)[index]) for name, item in stacked.items()}
        row = {name: np.array([value, value]) for name, value in single.items()}
        for part, one, two in zip(
            result, numbers(function(**single, **others)), numbers(function(**row, **others)), strict=True
        ):
            assert one.shape == () and two.shape == (2,)
            assert part[index] == pytest.approx(float(one), rel=1e-12)
            assert two == pytest.approx(np.full(2, float(one)), rel=1e-12)


@pytest.mark.parametrize("dotted", CASES)
def test_float32_stays_float32_within_the_stated_error(dotted):
    function, (arrays, others, allowed) = load(dotted), CASES[dotted]
    narrow = {name: np.full(3, value, np.float32) for name, value in arrays.items()}
    # The float64 value of the same, already rounded inputs: only the arithmetic is judged.
    wide = {name: item.astype(np.float64) for name, item in narrow.items()}
    for part, expected in zip(
        numbers(function(**narrow, **others)), numbers(function(**wide, **others)), strict=True
    ):
        assert part.dtype == np.float32
        assert part == pytest.approx(expected, rel=allowed, abs=allowed)


@pytest.mark.parametrize("dotted", CASES)
def test_inputs_are_left_as_they_were(dotted):
    function, (arrays, others, _) = load(dotted), CASES[dotted]
    given = {name: np.array([value, np.nan]) for name, value in arrays.items()}
    kept = {name: item.copy() for name, item in given.items()}
    function(**given, **others)
    for name, item in given.items():
        assert item.tobytes() == kept[name].tobytes()


@pytest.mark.parametrize("dotted", sorted(set(CASES) | TOWARD | ALONG_AN_AXIS | LOOKED_UP_BY_WORD))
def test_every_function_says_what_it_takes_and_gives(dotted):
    text = inspect.getdoc(load(dotted))
    assert text and text.split("\n")[0].endswith("."), dotted
    assert "Parameters\n---" in text and "Returns\n---" in text
    for name in inspect.signature(load(dotted)).parameters:
        assert name in text, f"{dotted} does not describe {name}"
