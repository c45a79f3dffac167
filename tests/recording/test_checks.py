"""What is refused, and what may be recorded as it happened. Our own behaviour, no outside source."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from advisor.model import Licence, Record
from advisor.recording.checks import check_record
from advisor.recording.details import presumed
from advisor.season import season_use
from tests.mix.household import FLOZ, FT2, KFT2, household

NOW = datetime(2026, 9, 26, 18, 0, tzinfo=UTC)
HOME = household()


def a_pass(days_ago: float = 1.0, **changes) -> Record:
    start = NOW - timedelta(days=days_ago)
    whole = Record("front", "weeds", "Demo Product", ("exemplic acid",), start, start + timedelta(minutes=22),
                   4.8 * FLOZ, 3200.0 * FT2, "A. Mower", id="new")  # fmt: skip
    return replace(whole, **changes)


def codes(record, ledger=(), home=HOME, **details):
    found = check_record(home, record, replace(presumed(home, record), **details), ledger, NOW)
    return {fault.code: fault.final for fault in found}


FIRST = replace(a_pass(30.0), id="first")


def test_an_ordinary_pass_has_nothing_against_it():
    assert codes(a_pass()) == {}
    assert codes(a_pass(), [FIRST]) == {}


#: what is wrong -> (changes, ledger, code, whether it can never be true)
BAD = {
    "begins in the future": ({"started_at": NOW + timedelta(minutes=1)}, (), "future", True),
    "ends in the future": ({"ended_at": NOW + timedelta(minutes=1)}, (), "future", True),
    "ends before it begins": ({"ended_at": NOW - timedelta(days=2)}, (), "backwards", True),
    "took two days": (
        {"started_at": NOW - timedelta(days=3), "ended_at": NOW - timedelta(days=1)}, (), "too-long", False),
    "an amount of nothing": ({"amount": 0.0}, (), "impossible", True),
    "a negative amount": ({"amount": -5.0}, (), "impossible", True),
    "an amount that is no number": ({"amount": math.nan}, (), "impossible", True),
    "an endless size": ({"size": math.inf}, (), "impossible", True),
    "no active ingredient": ({"active_ingredients": ()}, (), "ingredients", True),
    "an area that is unknown": ({"area": "frnt"}, (), "unknown-area", False),
    "a treatment that is unknown": ({"treatment": "wed"}, (), "unknown-treatment", False),
    "another product": ({"product": "Other Product"}, (), "other-product", False),
    "more turf than there is": ({"size": 3400.0 * FT2}, (), "too-large", False),
    "ten times the rate": ({"amount": 48.0 * FLOZ}, (), "over-rate", False),
    "in the middle of another": (
        {}, (replace(FIRST, started_at=a_pass().started_at, ended_at=a_pass().ended_at),), "overlap", False),
    "before a later pass": ({"started_at": FIRST.started_at - timedelta(days=20),
                             "ended_at": FIRST.started_at - timedelta(days=20)}, (FIRST,), "out-of-order", False),
    "inside the interval": (
        {}, (replace(FIRST, started_at=NOW - timedelta(days=8), ended_at=NOW - timedelta(days=8)),), "interval", False),
    "one pass too many": (
        {}, (FIRST, replace(FIRST, id="second", started_at=NOW - timedelta(days=60),
                            ended_at=NOW - timedelta(days=60))), "passes", False),
    "over the year's total": ({}, (replace(FIRST, amount=9.6 * FLOZ),), "season-total", False),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused_by_name(case):
    changes, ledger, code, final = BAD[case]
    found = codes(a_pass(**changes), ledger)
    assert found.get(code) is final, found
    told = check_record(HOME, a_pass(**changes), presumed(HOME, a_pass(**changes)), ledger, NOW)
    assert all(fault.what and fault.hint for fault in told if fault.code == code)


def test_what_cannot_be_true_is_told_alone():
    found = check_record(HOME, a_pass(amount=-1.0, area="nowhere"), presumed(HOME, a_pass()), [FIRST], NOW)
    assert {fault.code for fault in found} == {"impossible", "unknown-area"}


def test_an_interval_counts_backwards_too():
    later = replace(
        FIRST, id="later", treatment="", started_at=NOW - timedelta(days=1), ended_at=NOW - timedelta(days=1)
    )
    assert "interval" in codes(a_pass(6.0, treatment=""), [later])
    exactly = replace(later, started_at=a_pass(20.0).ended_at + timedelta(days=14), ended_at=None)
    assert "interval" not in codes(a_pass(20.0), [exactly])


def test_another_ingredient_or_another_area_does_not_count_towards_the_interval():
    near = replace(FIRST, started_at=NOW - timedelta(days=5), ended_at=None, treatment="other")
    assert codes(a_pass(), [replace(near, active_ingredients=("samplopyr",))]) == {}
    assert codes(a_pass(), [replace(near, area="back")]) == {}


def test_a_pass_without_its_amount_counts_as_the_labels_most():
    treatment, area = HOME.treatments["weeds"], HOME.areas["front"]
    used = season_use(HOME, treatment, area, [replace(FIRST, amount=None)], NOW)
    assert used.passes == 1 and used.product == pytest.approx(1.5 * FLOZ / KFT2)


def test_another_product_counts_by_its_acid_equivalent():
    from advisor.model import ActiveIngredient

    strong = replace(HOME.labels["demo"], id="strong", product="Strong Product",
                     active_ingredients=(ActiveIngredient("exemplic acid", 480.0),))  # fmt: skip
    home = replace(HOME, labels={**HOME.labels, "strong": strong})
    record = replace(FIRST, product="Strong Product", amount=1.6 * FLOZ)
    used = season_use(home, home.treatments["weeds"], home.areas["front"], [record], NOW)
    # 480 g/L against 240 g/L: half a fl oz counts as one
    assert used.product == pytest.approx(2 * 0.5 * FLOZ / KFT2)
    unknown = replace(record, product="Nobody's Product")
    used = season_use(home, home.treatments["weeds"], home.areas["front"], [unknown], NOW)
    assert used.product == pytest.approx(1.5 * FLOZ / KFT2)


@pytest.mark.parametrize("written", ["  demo PRODUCT ", "DEMO PRODUCT"])
def test_a_product_is_the_same_however_it_is_written(written):
    home = household(label={"product": "Demo Product"})
    treatment, area = home.treatments["weeds"], home.areas["front"]
    little = replace(FIRST, product=written, amount=0.25 * FIRST.amount)
    plain = season_use(home, treatment, area, [replace(little, product="Demo Product")], NOW)
    assert season_use(home, treatment, area, [little], NOW) == plain
    # and neither counts as the most that the label allows, as a product does that nobody knows
    assert plain.product < season_use(home, treatment, area, [replace(little, product="Other")], NOW).product


def test_last_years_passes_do_not_count():
    used = season_use(HOME, HOME.treatments["weeds"], HOME.areas["front"],
                      [replace(FIRST, started_at=datetime(2025, 9, 1, 15, tzinfo=UTC))], NOW)  # fmt: skip
    assert used.passes == 0 and used.product == 0.0


def test_turf_that_the_label_does_not_list_is_flagged():
    home = household(area={"turf": ("creeping bentgrass",)})
    assert codes(a_pass(), home=home) == {"turf": False}


def test_work_for_hire_lists_what_the_law_wants():
    home = replace(HOME, for_hire=True)
    found = check_record(home, a_pass(), presumed(home, a_pass()), (), NOW)
    (fault,) = [one for one in found if one.code == "incomplete"]
    assert "certified applicator" in fault.what and not fault.final
    complete = codes(
        a_pass(), home=home, licence_number="L-1", location="1 Example Street", site_use="home-lawn"
    )
    assert complete == {}


def test_a_licence_that_had_run_out():
    home = replace(HOME, for_hire=True, licence=Licence("A. Mower", "L-1", NOW.date() - timedelta(days=30)))
    assert "licence" in codes(a_pass(), home=home)


def test_a_restricted_product_wants_all_five_elements():
    found = codes(a_pass(), restricted_use=True)
    assert found == {"incomplete": False}
