"""Water in the root zone: FAO-56 chapter 8 beyond its printed examples, missing days, properties."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.soil.texture import TEXTURES, UnknownTexture, soil_texture
from advisor.soil.water import (
    Season,
    depletion_fraction,
    readily_available_water,
    run_balance,
    stress_coefficient,
    total_available_water,
    turf_coefficient,
)

LAWN = {"crop_coefficient": 0.95, "total_available_water": 42.0, "p_table": 0.4}


def season(days=40, seed=1, shape=()):
    random = np.random.default_rng(seed)
    rain = np.where(random.random((*shape, days)) < 0.25, random.gamma(1.0, 10.0, (*shape, days)), 0.0)
    return {
        "rain": rain,
        "runoff": 0.1 * rain,
        "irrigation": np.zeros(days),
        "reference_et": random.uniform(1, 8, (*shape, days)),
    }


def test_p_follows_the_day_and_stays_within_its_range():
    # FAO-56 Table 22 footnote, from memory: p + 0.04 (5 - ETc), 0.1 to 0.8.
    assert depletion_fraction(0.4, 5.0) == pytest.approx(0.4)
    assert depletion_fraction(0.4, 8.0) == pytest.approx(0.28)
    assert depletion_fraction(0.4, 2.0) == pytest.approx(0.52)
    assert depletion_fraction(0.15, 9.0) == 0.1
    assert depletion_fraction(0.7, 0.0) == 0.8


def test_stress_begins_where_the_readily_available_water_ends():
    # FAO-56 eq. 84: 1 up to RAW, falling in a straight line to 0 at TAW.
    available, p = 50.0, 0.4
    edge = readily_available_water(available, p)
    assert stress_coefficient([0.0, edge, 35.0, available], available, p) == pytest.approx(
        [1.0, 1.0, 0.5, 0.0]
    )


def test_water_is_conserved_on_every_day():
    # FAO-56 eq. 85 rearranged: what came in is what went out plus what is stored.
    inputs = season(200, shape=(5,))
    balance = run_balance(20.0, **inputs, **LAWN)
    before = np.concatenate([np.full((5, 1), 20.0), balance.depletion_end[:, :-1]], axis=1)
    came = inputs["rain"] - inputs["runoff"]
    went = balance.actual_et + balance.deep_percolation
    assert before - balance.depletion_end == pytest.approx(came - went, abs=1e-9)


def test_stress_of_a_day_rests_on_the_evening_before():
    # FAO-56 Example 37 reproduces only so: rain on the day itself does not lift that day's Ks.
    kwargs = {"runoff": 0.0, "irrigation": 0.0, "reference_et": [5.0, 5.0], **LAWN}
    wet = run_balance(40.0, [30.0, 0.0], **kwargs)
    dry = run_balance(40.0, [0.0, 0.0], **kwargs)
    assert wet.stress[0] == dry.stress[0]
    assert wet.stress[1] > dry.stress[1]


def test_irrigation_counts_like_rain():
    inputs = season()
    swapped = {**inputs, "rain": np.zeros(40), "runoff": np.zeros(40), "irrigation": inputs["rain"] * 0.9}
    for ours, other in zip(
        run_balance(10.0, **inputs, **LAWN), run_balance(10.0, **swapped, **LAWN), strict=True
    ):
        assert ours == pytest.approx(other)


@pytest.mark.parametrize("name", ["rain", "runoff", "irrigation", "reference_et"])
def test_a_missing_day_makes_it_and_the_rest_unknown(name):
    inputs = {key: np.array(value) for key, value in season(10, seed=3).items()}
    inputs["rain"] = np.minimum(inputs["rain"], 5.0)
    inputs["runoff"] = np.zeros(10)
    inputs[name][4] = np.nan
    balance = run_balance(10.0, **inputs, **LAWN)
    for part in balance:
        assert np.isfinite(part[:4]).all()
        assert np.isnan(part[4:]).all()


def test_only_a_rain_that_fills_any_profile_makes_the_depletion_known_again():
    # Whatever the depletion was, 42 mm of space and the day's full uptake are covered: the profile ends full.
    rain = np.array([0.0, np.nan, 42.0 + 0.95 * 5 - 0.01, 42.0 + 0.95 * 5, 0.0])
    balance = run_balance(10.0, rain, 0.0, 0.0, np.full(5, 5.0), **LAWN)
    assert np.isnan(balance.depletion_end[1:3]).all()
    assert balance.depletion_end[3] == 0
    assert (
        np.isnan(balance.stress[3])
        and np.isnan(balance.actual_et[3])
        and np.isnan(balance.deep_percolation[3])
    )
    assert balance.depletion_end[4] == pytest.approx(0.95 * 5)
    for start in np.linspace(0, 42, 20):
        known = run_balance(start, rain[3:4], 0.0, 0.0, 5.0, **LAWN)
        assert known.depletion_end[0] == 0


@pytest.mark.parametrize(
    "wrong",
    [
        {"rain": [-1.0]}, {"runoff": [-1.0]}, {"irrigation": [-0.1]}, {"rain": [1.0], "runoff": [2.0]},
        {"total_available_water": 0.0}, {"total_available_water": -5.0}, {"crop_coefficient": -1.0},
        {"initial_depletion": -1.0}, {"initial_depletion": 43.0}, {"initial_depletion": np.nan},
        {"crop_coefficient": np.nan}, {"total_available_water": np.nan}, {"p_table": np.nan},
    ],
    ids=str,
)  # fmt: skip
def test_an_impossible_input_gives_unknown(wrong):
    inputs = {
        "initial_depletion": 10.0, "rain": [0.0], "runoff": [0.0], "irrigation": [0.0],
        "reference_et": [4.0], **LAWN,
    }  # fmt: skip
    assert np.isfinite(np.concatenate(run_balance(**inputs))).all()
    for part in run_balance(**inputs | wrong):
        assert np.isnan(part).all()


def test_scalars_days_and_site_member_days_agree():
    inputs = season(30, shape=(3, 4))
    available = np.array([30.0, 42.0, 80.0])[:, None, None]
    start = np.array([[5.0], [10.0], [20.0]])
    balance = run_balance(
        start, **inputs, crop_coefficient=0.95, total_available_water=available, p_table=0.4
    )
    for site in range(3):
        for member in range(4):
            one = run_balance(
                start[site, 0], inputs["rain"][site, member], inputs["runoff"][site, member], 0.0,
                inputs["reference_et"][site, member], 0.95, available[site, 0, 0], 0.4,
            )  # fmt: skip
            for whole, single in zip(balance, one, strict=True):
                assert whole[site, member] == pytest.approx(single, abs=1e-12)


def test_float32_stays_float32_and_close():
    inputs = season(365, shape=(4,))
    wide = run_balance(10.0, **inputs, **LAWN)
    narrow = run_balance(np.float32(10), **{key: value.astype("f4") for key, value in inputs.items()}, **LAWN)
    assert all(part.dtype == np.float32 for part in narrow)
    # A year of float32 sums in a profile of 42 mm: within 0.001 mm, as uptake damps what is carried on.
    assert np.abs(narrow.depletion_end - wide.depletion_end).max() < 1e-3


def test_a_balance_needs_days():
    with pytest.raises(ValueError, match="day axis"):
        run_balance(0.0, 1.0, 0.0, 0.0, 4.0, **LAWN)


def test_negative_evapotranspiration_counts_as_none():
    assert run_balance(10.0, 0.0, 0.0, 0.0, [-0.2], **LAWN).depletion_end[0] == 10.0


@settings(max_examples=60, deadline=None)
@given(
    start=st.floats(0, 1), seed=st.integers(0, 1000), more=st.floats(0, 50), day=st.integers(0, 9),
    available=st.floats(15, 150),
)  # fmt: skip
def test_more_rain_never_leaves_a_drier_soil(start, seed, more, day, available):
    # Up to 8 mm of uptake a day from at least 15 mm: a wetter evening then never ends drier than a drier one.
    inputs = season(10, seed=seed)
    wetter = {**inputs, "rain": inputs["rain"] + more * (np.arange(10) == day)}
    settings_ = {"crop_coefficient": 0.95, "total_available_water": available, "p_table": 0.4}
    less = run_balance(start * available, **inputs, **settings_)
    extra = run_balance(start * available, **wetter, **settings_)
    assert (extra.depletion_end <= less.depletion_end + 1e-9).all()


@settings(max_examples=60, deadline=None)
@given(start=st.floats(0, 1), seed=st.integers(0, 1000), available=st.floats(1, 200))
def test_everything_stays_within_its_range(start, seed, available):
    inputs = season(20, seed=seed)
    balance = run_balance(
        start * available, **inputs, crop_coefficient=0.95, total_available_water=available, p_table=0.4
    )
    assert (balance.stress >= 0).all() and (balance.stress <= 1).all()
    assert (balance.depletion_end >= 0).all() and (balance.depletion_end <= available * (1 + 1e-12)).all()
    assert (balance.deep_percolation >= 0).all()
    assert (balance.actual_et <= 0.95 * inputs["reference_et"] + 1e-9).all()
    assert (balance.actual_et >= -1e-9).all()


@pytest.mark.parametrize(
    "capacity, wilting, depth",
    [(0.1, 0.1, 0.3), (0.1, 0.2, 0.3), (1.1, 0.2, 0.3), (0.3, -0.1, 0.3), (0.3, 0.1, 0.0), (0.3, 0.1, -1.0)],
)
def test_an_impossible_soil_holds_unknown_water(capacity, wilting, depth):
    assert np.isnan(total_available_water(capacity, wilting, depth))


def test_stress_is_unknown_without_a_profile():
    assert np.isnan(stress_coefficient(1.0, 0.0, 0.4))
    assert np.isnan(stress_coefficient(1.0, 10.0, 1.0))
    assert np.isnan(stress_coefficient(1.0, 10.0, -0.1))


@pytest.mark.parametrize("spelling", ["silt loam", "Silt-Loam", "SILT_LOAM", "  silt   loam "])
def test_a_texture_is_found_however_it_is_spelt(spelling):
    assert soil_texture(spelling).name == "silt loam"


def test_an_unknown_texture_proposes_near_ones_and_lists_all():
    with pytest.raises(UnknownTexture, match="silt loam"):
        soil_texture("silt lome")
    with pytest.raises(ValueError, match="field capacity"):
        soil_texture("gravel of the moon")


def test_every_texture_has_a_source_a_group_and_water():
    assert len(TEXTURES) == 12
    for texture in TEXTURES.values():
        assert texture.source and texture.hydrologic_group in "ABCD"
        assert total_available_water(texture.field_capacity, texture.wilting_point, 0.3) > 15
        if texture.field_capacity_range:
            # FAO-56 Table 19 (ranges from memory).
            assert (
                texture.field_capacity_range[0] <= texture.field_capacity <= texture.field_capacity_range[1]
            )
            assert texture.wilting_point_range[0] <= texture.wilting_point <= texture.wilting_point_range[1]


def test_unknown_turf_names_what_is_known():
    with pytest.raises(ValueError, match="cool-season, warm-season"):
        turf_coefficient("tropical")
    with pytest.raises(ValueError, match="initial, mid, end"):
        turf_coefficient("cool-season", "late")


def test_rain_that_all_members_share_goes_with_an_evapotranspiration_by_member():
    rain, et = np.full((1, 3), 2.0), np.array([[3.0, 4.0, 5.0], [2.0, 2.0, 2.0]])
    season = Season(
        *(part.T for part in (rain, 0.0 * rain, 0.0 * rain, et)),
        *(np.full((1, 1), x) for x in (0.9, 20.0, 0.4)),
    )
    depletion = np.full(2, 5.0)
    for day in range(3):
        depletion = season.after(depletion, day).depletion_end
    for member, alone in enumerate(depletion):
        whole = run_balance(
            5.0, rain[0], 0.0, 0.0, et[member], crop_coefficient=0.9, total_available_water=20.0, p_table=0.4
        )
        assert alone == whole.depletion_end[-1]
