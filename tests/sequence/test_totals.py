"""Totals of active ingredients in acid equivalent, by hand arithmetic. Unit factors: NIST SP 811, from memory."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from demo_lawn import NOW, RATE, STRENGTH, lawn, record, task

from advisor.model import ActiveIngredient
from advisor.season import (
    has_maximum,
    ingredient_totals,
    label_year,
    planned_rate,
    records_of_year,
    worst_share,
)
from advisor.sequence import room_left
from advisor.task_table import build

DAY = timedelta(days=1)
YEAR = (date(2026, 1, 1), date(2027, 1, 1))


def totals(household, records, now=NOW):
    one = task(household)
    return ingredient_totals(one, records_of_year(one, records, label_year(one, now)), planned_rate(one))


def test_acid_equivalent_of_a_liquid_is_product_times_strength():
    # 1.5 fl oz/1,000 ft² of a product with 2 lb/gal is 1.0208 lb/acre = 0.1144 g/m² (43.56 x 1.5 / 128 x 2 lb)
    found = totals(lawn(), [record(NOW - 30 * DAY)])[0]
    assert found.applied == pytest.approx(43.56 * 1.5 / 128 * 2 * 453.59237 / 4046.8564224, rel=1e-9)
    assert found.planned == pytest.approx(RATE * STRENGTH / 1000.0, rel=1e-12)
    # 3 fl oz/1,000 ft² a year: the second pass reaches it exactly
    assert found.share == pytest.approx(1.0, rel=1e-9)


def test_a_weighed_product_counts_by_weight():
    grams = ActiveIngredient("exemplic acid", 200.0, 5.0)
    household = lawn(label={"formulation": "granule", "active_ingredients": (grams,)}, treatment={"rate": 15.0},
                     limits={"rate": 15.0, "maximum_per_year": 30.0})  # fmt: skip
    once = [record(NOW - 30 * DAY, amount=4500.0, size=300.0)]
    found = totals(household, once)[0]
    # 15 g/m² with 200 g/kg are 3 g/m²; the stated 5 g/m² a year leave 2
    assert (found.applied, found.planned, found.left) == pytest.approx((3.0, 3.0, 2.0))
    assert worst_share([found]) == pytest.approx(1.2)


def test_another_product_with_the_same_ingredient_counts_in_full():
    weak = replace(lawn().labels["broadleaf-concentrate"], id="weak", product="Demo Ready-to-Spray",
                   active_ingredients=(ActiveIngredient("Exemplic Acid", STRENGTH / 10.0),))  # fmt: skip
    household = lawn(labels={"weak": weak})
    # ten times the volume at a tenth of the strength
    other = record(NOW - 30 * DAY, product="demo ready-to-spray", treatment="another",
                   active_ingredients=("Exemplic acid",), amount=RATE * 3000.0)  # fmt: skip
    acid, second = totals(household, [other])
    assert acid.applied == pytest.approx(RATE * STRENGTH / 1000.0, rel=1e-12)
    assert second.applied == 0.0
    assert worst_share((acid, second)) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("changes", [{"amount": None}, {"product": "unheard of"}, {"amount": math.nan}])
def test_what_cannot_be_added_up_is_unknown_and_never_nothing(changes):
    found = totals(lawn(), [record(NOW - 30 * DAY, **changes)])
    assert math.isnan(found[0].applied) and math.isnan(worst_share(found))


def test_a_spot_treatment_without_its_size_is_unknown():
    household = lawn(treatment={"method": "spot"})
    assert math.isnan(totals(household, [record(NOW - 30 * DAY, size=None)])[0].applied)
    assert not math.isnan(totals(lawn(), [record(NOW - 30 * DAY, size=None)])[0].applied)


def test_a_known_excess_counts_although_another_ingredient_is_unknown():
    household = lawn(label={"active_ingredients": (
        ActiveIngredient("exemplic acid", STRENGTH), ActiveIngredient("samplopyr", None, 0.01))})  # fmt: skip
    twice = [record(NOW - 60 * DAY), record(NOW - 30 * DAY)]
    found = totals(household, twice)
    assert math.isnan(found[1].share)
    assert worst_share(found) == pytest.approx(1.5)


@pytest.mark.parametrize(
    ("started", "counts"),
    [
        (datetime(2026, 1, 1, 5, 59, tzinfo=UTC), False),  # 23:59 on 31 December there
        (datetime(2026, 1, 1, 6, 0, tzinfo=UTC), True),
        (datetime(2027, 1, 1, 5, 59, tzinfo=UTC), True),
        (datetime(2027, 1, 1, 6, 0, tzinfo=UTC), False),
    ],
)
def test_the_label_year_turns_at_local_midnight(started, counts):
    assert bool(records_of_year(task(lawn()), [record(started)], YEAR)) is counts


def test_a_label_year_of_its_own():
    household = lawn(label={"year_starts": (7, 1)})
    assert label_year(task(household), NOW) == (date(2026, 7, 1), date(2027, 7, 1))
    assert label_year(task(household), datetime(2026, 6, 1, tzinfo=UTC)) == (
        date(2025, 7, 1),
        date(2026, 7, 1),
    )


@pytest.mark.parametrize(
    ("passes", "limits", "left"),
    [
        (0, {}, 2.0),
        (1, {}, 1.0),
        (2, {}, 0.0),
        (1, {"maximum_passes_per_year": None}, 1.0),  # the product's total
        (1, {"maximum_passes_per_year": None, "maximum_per_year": None}, math.inf),
        (1, {"maximum_passes_per_year": 6.0, "maximum_per_year": RATE * 4.0}, 3.0),
    ],
)
def test_room_left(passes, limits, left):
    records = [record(NOW - (20 + 20 * at) * DAY) for at in range(passes)]
    assert room_left(task(lawn(limits=limits)), records, NOW).more_passes == left


def test_room_is_unknown_when_a_total_is_and_none_when_the_number_is_used_up():
    unknown = record(NOW - 30 * DAY, amount=None)
    assert math.isnan(room_left(task(lawn()), [unknown], NOW).more_passes)
    assert room_left(task(lawn()), [unknown, record(NOW - 60 * DAY)], NOW).more_passes == 0.0


def test_the_rule_blocks_a_third_pass_by_another_name():
    """Neither a restart nor another treatment's name frees the ingredient."""
    household = lawn(limits={"maximum_passes_per_year": None})
    twice = [record(NOW - 60 * DAY, treatment="spring"), record(NOW - 30 * DAY)]
    table = build([task(household)], twice, NOW)
    assert table.scalars["ingredient_share_this_year"][0] == pytest.approx(150.0)
    assert table.facts["label.ingredient_maximum"] == ["yes"]


def test_a_label_that_says_no_maximum_has_none():
    label = lawn(limits={"maximum_per_year": None}).labels["broadleaf-concentrate"]
    assert not has_maximum(label)
    assert has_maximum(lawn().labels["broadleaf-concentrate"])


@pytest.mark.parametrize(
    ("turf", "shares", "limits", "allowed"),
    [
        (("Kentucky bluegrass", "tall fescue"), {}, {}, 1.0),
        (("Kentucky bluegrass", "tall fescue"), {}, {"tall fescue": 0.2}, math.nan),
        (("Kentucky bluegrass", "tall fescue"), {"tall fescue": 0.2}, {"tall fescue": 0.2}, 1.0),
        (("Kentucky bluegrass", "tall fescue"), {"tall fescue": 0.3}, {"tall fescue": 0.2}, 0.0),
        (("tall fescue",), {}, {"tall fescue": 0.2}, 0.0),  # all of it
        (("Kentucky bluegrass", "bermudagrass"), {"bermudagrass": 0.01}, {}, 0.0),  # not listed at all
    ],
)
def test_turf_is_allowed_by_species_and_by_its_share_of_the_mixture(turf, shares, limits, allowed):
    household = lawn(front={"turf": turf, "turf_shares": shares}, label={"turf_shares": limits})
    table = build([task(household)], [], NOW)
    assert table.scalars["turf_allowed"][0] == pytest.approx(allowed, nan_ok=True)
    if math.isnan(allowed):
        assert "write turf_shares" in table.notes["turf_allowed", 0]
