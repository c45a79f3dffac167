"""The planner: worked examples of extension services, the practitioners' spoon rules, and never above the label."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.mix import conversions as unit
from advisor.mix.allowed import label_rate
from advisor.mix.calibration import by_catch, by_known_area
from advisor.mix.loads import split, split_evenly
from advisor.mix.measures import choose, read_measures
from advisor.mix.plan import MixRefused, plan_mix
from advisor.model import ActiveIngredient
from advisor.season import SeasonUse
from tests.mix.household import AREA, FLOZ, FT2, GAL, KFT2, household, parts

SYRINGE = read_measures("syringe, steps of 0.5 mL")
ACRE = unit.ACRE_M2


def rated(rate: float, **changes):
    """A household whose label allows exactly this rate, with no limit on the year."""
    limits = {"rate": rate, "maximum_per_application": rate, "maximum_per_year": rate * 99}
    return household(limits={**limits, **changes.pop("limits", {})}, **changes)


# -- worked examples, through calibration and planner


def test_forty_ounces_on_a_128th_of_an_acre_are_forty_gallons_an_acre_and_24_ml_a_gallon():
    """slidegur.com copy of an extension talk: 51 s, 40 fl oz -> 40 gal/acre; 32 fl oz/acre -> 0.8 fl oz/gal; 1 gal
    covers 1,089 ft2; 24 mL with 30 mL to the ounce, exactly 23.66."""
    made = by_catch(40 * FLOZ, [51.0])
    assert made.carrier_rate == pytest.approx(40 * GAL / 1000 / ACRE, rel=1e-12)
    home = rated(32 * FLOZ / ACRE, sprayer={"tank": 1.0 * GAL}, area={"size": 1089.0 * FT2})
    plan = plan_mix(*parts(home), measures=SYRINGE, carrier_rate=made.carrier_rate)
    assert len(plan.loads) == 1 and plan.volume == pytest.approx(GAL, rel=1e-9)
    assert plan.product / FLOZ == pytest.approx(0.8, abs=1e-6)
    assert plan.loads[0].product.shown == pytest.approx(23.66, abs=0.5)


def test_the_christmas_tree_growers_tank():
    """christmastrees.ces.ncsu.edu: 16 and 18 s, mean 17 s; 7.5 fl oz -> 7.5 gal/acre; 8 fl oz/acre -> 1.07 fl oz/gal,
    3.2 fl oz (96 mL by 30 mL to the ounce) in 3 gal."""
    made = by_catch(7.5 * FLOZ, [16.0, 18.0])
    assert made.carrier_rate * ACRE / (GAL / 1000) == pytest.approx(7.5, rel=1e-9)
    area = 3.0 / 7.5 * ACRE
    home = rated(8 * FLOZ / ACRE, sprayer={"tank": 3.0 * GAL}, area={"size": area})
    plan = plan_mix(*parts(home), measures=SYRINGE, carrier_rate=made.carrier_rate)
    assert plan.product / FLOZ == pytest.approx(3.2, abs=0.005)
    assert plan.product / FLOZ / 3.0 == pytest.approx(1.07, abs=0.005)
    assert plan.product == pytest.approx(96.0, abs=1.5)


def test_the_hand_can_of_virginia_tech():
    """ibiblio copy of VT 456-502: 1.5 gal on 1,000 ft2 -> 65 gal/acre; 3 pt/acre -> 0.74 fl oz a gallon."""
    made = by_known_area(1.5 * GAL / 1000, KFT2)
    assert made.carrier_rate * ACRE / (GAL / 1000) == pytest.approx(65.34, abs=0.001)
    # the publication goes on with 65 gal/acre
    home = rated(48 * FLOZ / ACRE, sprayer={"tank": 1.0 * GAL}, area={"size": ACRE / 65})
    plan = plan_mix(*parts(home), measures=SYRINGE, carrier_rate=65 * GAL / 1000 / ACRE)
    assert plan.product / FLOZ == pytest.approx(0.738, abs=0.001)


def test_a_gallon_a_thousand_square_feet_and_a_quart_an_acre():
    """A supplier's page: 1 gal/1000 ft2 and 32 fl oz/acre -> 0.73 fl oz/gal."""
    home = rated(32 * FLOZ / ACRE, sprayer={"tank": 1.0 * GAL}, area={"size": KFT2})
    plan = plan_mix(*parts(home), measures=SYRINGE)
    assert plan.product / FLOZ == pytest.approx(0.73, abs=0.005)


@pytest.mark.parametrize(
    ("pounds_per_gallon", "area", "printed"),
    [(4, KFT2, 22.0), (1, KFT2, 87.0), (4, ACRE / 160, 6.0), (1, ACRE / 160, 24.0)],
)
def test_small_areas_of_the_pacific_northwest_handbook(pounds_per_gallon, area, printed):
    """PNW Weed Management Handbook: 1 lb ai/acre at 4 and 1 lb/gal, on 1,000 ft2 and on a square rod (acre/160)."""
    home = rated(GAL / pounds_per_gallon / ACRE, area={"size": area})
    plan = plan_mix(*parts(home), measures=read_measures("syringe, steps of 0.1 mL"))
    assert plan.product == pytest.approx(printed, abs=0.5)


@pytest.mark.parametrize(("share", "printed_floz"), [(0.25, 0.32), (0.5, 0.64)])
def test_surfactant_by_volume(share, printed_floz):
    """Extension tables: 0.25 % of a gallon is 0.32 fl oz or 9.46 mL, 0.5 % is 0.64 fl oz."""
    home = rated(1.5 * FLOZ / KFT2, label={"adjuvant": "required"}, limits={"adjuvant_share": share},
                 area={"size": KFT2}, sprayer={"tank": GAL})  # fmt: skip
    plan = plan_mix(*parts(home), measures=SYRINGE)
    assert plan.loads[0].adjuvant.wanted / FLOZ == pytest.approx(printed_floz, abs=0.001)
    assert plan.adjuvant == pytest.approx(printed_floz * FLOZ, rel=0.05)


def test_a_teaspoon_on_2000_square_feet_in_two_gallons_and_three_of_adjuvant():
    """Common practice, no source: practitioners' dilution by spoons, as a conversion check. We never measure so."""
    teaspoon = unit.TEASPOON_ML
    home = rated(teaspoon / (2 * KFT2), area={"size": 2 * KFT2}, sprayer={"tank": 2 * GAL},
                 label={"adjuvant": "allowed"}, limits={"adjuvant_share": 100 * 3 * teaspoon / (2 * GAL)})  # fmt: skip
    plan = plan_mix(*parts(home), measures=read_measures("syringe, steps of 0.1 mL"), adjuvant=True)
    (load,) = plan.loads
    assert load.volume == pytest.approx(2 * GAL, rel=1e-12)
    assert load.product.wanted == pytest.approx(4.928922, rel=1e-6)
    assert load.adjuvant.wanted == pytest.approx(3 * 4.928922, rel=1e-6)
    assert plan.adjuvant_share == pytest.approx(0.195, abs=0.0005)
    assert (load.product.words, load.adjuvant.words) == (
        "4.9 mL",
        "14.7 mL",
    )  # down to a mark: never above the label


# -- never above the label, within 5 %, and the sums agree

sizes, rates = st.floats(5.0, 5000.0), st.floats(0.02, 2.0)
carriers, tanks = st.floats(0.005, 0.2), st.floats(1000.0, 60_000.0)
steps = st.sampled_from([0.1, 0.5, 1.0, 2.0, 5.0, 2.9573529562500003])


@settings(deadline=None)
@given(size=sizes, rate=rates, most=rates, turf=rates, own=st.none() | rates, carrier=carriers, tank=tanks,
       step=steps, share=st.none() | st.floats(0.05, 2.0))  # fmt: skip
def test_no_load_passes_the_label_and_every_measure_comes_within_five_percent(
    size, rate, most, turf, own, carrier, tank, step, share
):
    limits = {"rate": rate, "maximum_per_application": most, "maximum_per_year": 1e9, "adjuvant_share": share}
    home = household(
        limits=limits, area={"size": size, "turf": ("fine fescue",)}, treatment={"rate": own},
        label={"turf_rates": {"fine fescue": turf}, "adjuvant": "unstated" if share is None else "required"},
        sprayer={"tank": tank, "carrier_rate": carrier},
    )  # fmt: skip
    measures = read_measures(f"cylinder, steps of {step!r} mL")
    try:
        plan = plan_mix(*parts(home), measures=measures)
    except MixRefused as error:
        assert all("within 5 %" in problem.what and problem.hint for problem in error.problems)
        return
    lowest = min(rate, most, turf)
    assert plan.rate <= lowest * (1 + 1e-12)
    for load in plan.loads:
        assert load.product.shown <= lowest * load.area * (1 + 1e-9)
        assert abs(load.product.shown / (plan.rate * load.area) - 1) <= 0.05 + 1e-6
        assert load.product.shown / step == pytest.approx(round(load.product.shown / step), abs=1e-5)
        assert load.volume <= tank * (1 + 1e-6)
        if share is not None:
            assert load.adjuvant.shown <= share / 100 * load.volume * (1 + 1e-9)
            assert load.adjuvant.shown >= 0.95 * share / 100 * load.volume * (1 - 1e-6)
    # sums over the loads are the totals
    assert math.fsum(load.area for load in plan.loads) == pytest.approx(size, rel=1e-9)
    assert plan.volume == pytest.approx(carrier * 1000 * size, rel=1e-9)
    assert plan.product == pytest.approx(plan.rate * size, rel=1e-9)
    assert plan.measured <= lowest * size * (1 + 1e-9)
    assert plan.measured == pytest.approx(plan.product, rel=0.05 + 1e-6)


@settings(deadline=None)
@given(total=st.floats(1.0, 1e5), tank=st.floats(1.0, 1e4))
def test_both_ways_of_filling_hold_the_whole_and_overfill_no_tank(total, tank):
    for cut in (split, split_evenly):
        loads = cut(total, tank)
        assert math.fsum(loads) == pytest.approx(total, rel=1e-9)
        assert max(loads) <= tank * (1 + 2e-6) and min(loads) > 0
    assert len(split_evenly(total, tank)) <= len(split(total, tank))


@settings(deadline=None)
@given(wanted=st.floats(0.1, 1e4), coarse=st.floats(0.002, 3.0), room=st.floats(1.0, 1.2))
def test_a_measure_shows_within_five_percent_or_not_at_all(wanted, coarse, room):
    measures = read_measures(f"balance, steps of {wanted * coarse:.6f} g")
    step = measures[0].step
    ceiling = wanted * room
    amount = choose(wanted, measures, "mass", ceiling)
    candidates = [n * step for n in range(1, int(ceiling / step) + 2) if n * step <= ceiling * (1 + 1e-9)]
    within = [one for one in candidates if abs(one / wanted - 1) <= 0.05]
    readable = step / 2 <= 0.05 * wanted
    if amount is None:
        # nothing was passed over: no mark within 5 % (but for rounding), or marks too coarse to read
        assert not [one for one in within if abs(one / wanted - 1) < 0.0499] or step / 2 > 0.0499 * wanted
    else:
        assert amount.shown <= ceiling and abs(amount.error) <= 0.05 + 1e-6
        assert readable or step / 2 <= 0.050001 * wanted


# -- loads


def test_full_tanks_and_a_last_part_load():
    plan = plan_mix(*parts(household(area={"size": 5400 * FT2})))
    assert [round(load.volume / GAL, 6) for load in plan.loads] == [4.0, 1.4]
    assert [load.product.words for load in plan.loads] == ["6.0 fl oz", "2.1 fl oz"]
    assert plan.measured / FLOZ == pytest.approx(8.1, rel=1e-9)


def test_a_part_load_too_small_to_measure_is_shared_out_evenly():
    # 4.2 gal in a 4 gal tank: 0.3 fl oz for the last 0.2 gal cannot be read on marks of 0.1 fl oz
    plan = plan_mix(*parts(household(area={"size": 4200 * FT2})))
    assert [round(load.volume / GAL, 6) for load in plan.loads] == [2.1, 2.1]
    assert plan.measured <= 1.5 * FLOZ * 4.2


def test_a_rest_that_is_only_rounding_is_no_load():
    assert split(12.000000001, 4.0) == pytest.approx([4.0, 4.0, 4.000000001])
    assert split(3.9999999, 4.0) == [pytest.approx(3.9999999)]


def test_granules_are_weighed_and_filled_hopper_by_hopper():
    home = household(
        label={"formulation": "granule", "mode": "soil"}, sprayer={"kind": "spreader", "tank": 2000.0,
        "measure": "balance, steps of 10 g", "carrier_rate": None},
        limits={"rate": 15.0, "maximum_per_application": 15.0, "maximum_per_year": 30.0},
        area={"size": 300.0},
    )  # fmt: skip
    plan = plan_mix(*parts(home))
    assert [load.product.shown for load in plan.loads] == [2000.0, 2000.0, 500.0]
    assert plan.volume is None and all(load.volume is None for load in plan.loads)


def test_a_powder_is_weighed_into_water():
    home = household(
        label={"formulation": "dry-sprayed"}, sprayer={"measure": "balance, steps of 0.1 g"},
        limits={"rate": 0.05, "maximum_per_application": 0.05, "maximum_per_year": 1.0},
    )  # fmt: skip
    plan = plan_mix(*parts(home))
    assert plan.dimension == "mass" and plan.measured == pytest.approx(14.8, abs=1e-9)  # 14.86 g wanted
    assert plan.volume == pytest.approx(3.2 * GAL, rel=1e-9)


def test_a_capacity_asks_for_several_fillings():
    home = household(sprayer={"measure": "syringe, steps of 1 mL, up to 60 mL"})
    (load,) = plan_mix(*parts(home)).loads
    assert load.product.fills == 3 and load.product.shown == 141.0  # of 141.95 mL


# -- the most sensitive turf, spots and batches


def test_the_most_sensitive_turf_sets_the_rate():
    home = household(label={"turf_rates": {"fine fescue": 1.0 * FLOZ / KFT2}},
                     area={"turf": ("Kentucky bluegrass", "fine fescue")})  # fmt: skip
    plan = plan_mix(*parts(home))
    assert plan.rate == pytest.approx(1.0 * FLOZ / KFT2) and "fine fescue" in plan.because
    assert plan.loads[0].product.words == "3.2 fl oz"
    assert label_rate(home.labels["demo"], AREA)[0] == pytest.approx(1.5 * FLOZ / KFT2)


def test_a_treatment_rate_above_the_label_is_cut_to_it():
    plan = plan_mix(*parts(household(treatment={"rate": 9 * FLOZ / KFT2})))
    assert plan.rate == pytest.approx(1.5 * FLOZ / KFT2)


def test_a_lower_rate_may_round_up_but_not_past_the_label():
    home = household(treatment={"rate": 1.46 * FLOZ / KFT2}, area={"size": KFT2})
    (load,) = plan_mix(*parts(home)).loads
    assert load.product.words == "1.5 fl oz"  # 1.46 wanted, 1.5 is the label's own most
    home = household(treatment={"rate": 1.46 * FLOZ / KFT2}, limits={"maximum_per_application": 1.47 * FLOZ / KFT2},
                     area={"size": KFT2})  # fmt: skip
    (load,) = plan_mix(*parts(home)).loads
    assert load.product.words == "1.4 fl oz"


def test_spots_get_product_for_the_ground_really_sprayed():
    home = household(treatment={"method": "spot", "sprayed_share": 0.25})
    plan = plan_mix(*parts(home))
    assert plan.sprayed == pytest.approx(800 * FT2) and plan.spot
    assert plan.measured <= 1.5 * FLOZ * 0.8 * (1 + 1e-9)
    smaller = plan_mix(*parts(home), sprayed=400 * FT2, measures=SYRINGE)
    assert smaller.product == pytest.approx(plan.product / 2, rel=1e-9)
    with pytest.raises(MixRefused, match="no mix") as caught:
        plan_mix(*parts(home), sprayed=3300 * FT2)
    assert "more than front lawn holds" in caught.value.problems[0].what


def test_one_can_of_spray_covers_what_it_covers_and_never_more_than_is_needed():
    home = household()
    plan = plan_mix(*parts(home), batch=1.0 * GAL)
    assert plan.sprayed == pytest.approx(KFT2, rel=1e-9) and plan.loads[0].product.words == "1.5 fl oz"
    with pytest.raises(MixRefused) as caught:
        plan_mix(*parts(home), batch=5.0 * GAL)
    assert "are enough" in caught.value.problems[0].what


# -- what has no mix, and why

REFUSALS = {
    "the label's rate is blank": (
        {"limits": {"rate": None}, "label": {"blank": ("rate",)}}, {}, 'leaves "rate" blank'),
    "the label's most is blank": (
        {"limits": {"maximum_per_application": None}, "label": {"blank": ("maximum_per_application",)}}, {},
        "maximum_per_application"),
    "re-entry is blank": ({"label": {"blank": ("re_entry",)}}, {}, "re_entry"),
    "turf that the label does not list": (
        {"area": {"turf": ("Kentucky bluegrass", "creeping bentgrass")}}, {}, "does not list creeping bentgrass"),
    "no calibration": ({"sprayer": {"carrier_rate": None}}, {}, "is not known"),
    "a calibration that is no number": ({}, {"carrier_rate": math.nan}, "is not known"),
    "no measure": ({"sprayer": {"measure": ""}}, {}, "is not stated"),
    "a measure without steps": ({"sprayer": {"measure": "measuring cylinder"}}, {}, "does not say its steps"),
    "a kitchen spoon": ({"sprayer": {"measure": "tablespoon, steps of 0.5 fl oz"}}, {}, "kitchen"),
    "a measure too coarse": ({"sprayer": {"measure": "jug, steps of 1 fl oz"}}, {}, "within 5 %"),
    "only a balance for a liquid": ({"sprayer": {"measure": "balance, steps of 1 g"}}, {}, "by volume"),
    "a required adjuvant without its share": ({"label": {"adjuvant": "required"}}, {}, "how much adjuvant"),
    "an adjuvant that the label forbids": ({"label": {"adjuvant": "forbidden"}}, {"adjuvant": True}, "forbids"),
    "an adjuvant that the label does not mention": ({}, {"adjuvant": True}, "means none"),
    "a granule in a sprayer": ({"label": {"formulation": "granule"}}, {}, "spread dry"),
    "a liquid in a spreader": ({"sprayer": {"kind": "spreader"}}, {}, "holds no water"),
    "over the year's total": ({}, {"used": SeasonUse(1.6 * FLOZ / KFT2, 1)}, "would pass the label's"),
    "over the year's most of an ingredient": (
        {"label": {"active_ingredients": (ActiveIngredient("exemplic acid", 240.0, 0.2),)}},
        {"used": SeasonUse(1.5 * FLOZ / KFT2, 1)},
        "exemplic acid would come to",
    ),
    "over the year's passes": (
        {"limits": {"maximum_per_year": 99.0}}, {"used": SeasonUse(0.1, 2)}, "the label allows 2"),
    "nothing sprayed": ({}, {"sprayed": 0.0}, "nothing is to be sprayed"),
    "a size that is no number": ({}, {"sprayed": math.nan}, "nothing is to be sprayed"),
    "a batch of nothing": ({}, {"batch": -1.0}, "more than nothing"),
}  # fmt: skip


@pytest.mark.parametrize("case", REFUSALS)
def test_no_mix_without_everything_it_needs(case):
    changes, options, says = REFUSALS[case]
    with pytest.raises(MixRefused) as caught:
        plan_mix(*parts(household(**changes)), **options)
    told = " ".join(problem.what for problem in caught.value.problems)
    assert says in told
    assert all(problem.hint for problem in caught.value.problems)


def test_the_last_pass_that_fills_the_year_exactly_is_mixed():
    assert plan_mix(*parts(household()), used=SeasonUse(1.5 * FLOZ / KFT2, 1)).measured > 0


@pytest.mark.parametrize("word", ["allowed", "forbidden", "unstated"])
def test_an_adjuvant_is_left_out_unless_the_label_requires_it_or_it_is_asked_for(word):
    home = household(label={"adjuvant": word}, limits={"adjuvant_share": 0.25})
    plan = plan_mix(*parts(home))
    assert plan.adjuvant == 0.0 and plan.adjuvant_share is None


def test_several_measures_and_the_one_that_shows_best():
    home = household(
        sprayer={"measure": "jug, steps of 1 fl oz; syringe, steps of 1 mL; balance, steps of 1 g"}
    )
    (load,) = plan_mix(*parts(home)).loads
    assert load.product.measure.name == "syringe" and load.product.words == "141 mL"
