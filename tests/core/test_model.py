"""What the frozen values say of themselves. Our own definitions, no outside source."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from demo_lawn import NOW, lawn, record, task

from advisor.conditions import SiteTable
from advisor.model import DEFAULT_FLOORS, Neighbour
from advisor.season import label_year, latest_day, recurring_day, share_ingredient
from advisor.verdict import chance_floors

LABEL = task(lawn()).label


def test_a_product_is_called_by_its_name_however_it_is_written():
    assert LABEL.is_called(f"  {LABEL.product.upper()} ")
    assert not LABEL.is_called("") and not LABEL.is_called(LABEL.product[:-1])


def test_a_label_names_the_turf_that_it_leaves_out():
    listed = replace(LABEL, turf_species=("Tall fescue",))
    assert listed.unlisted(("tall FESCUE", "zoysiagrass", "bermudagrass")) == ["zoysiagrass", "bermudagrass"]
    assert replace(LABEL, turf_species=()).unlisted(("tall fescue",)) == ["tall fescue"]


def test_a_liquid_is_a_volume_and_all_else_is_weighed():
    weighed = replace(LABEL, formulation="granule")
    assert (LABEL.amount_dimension, weighed.amount_dimension) == ("volume", "mass")
    assert (LABEL.dimension_of("rate"), weighed.dimension_of("rate")) == ("volume_rate", "mass_rate")
    assert weighed.dimension_of("rainfast_time") == "time"


def test_a_pass_ends_when_it_is_stated_to_and_else_counts_by_its_start():
    made = record(NOW - timedelta(days=3))
    ended = made.started_at + timedelta(minutes=40)
    assert replace(made, ended_at=ended).end == ended
    assert replace(made, ended_at=None).end == made.started_at


def test_what_drift_reaches_and_what_is_sensitive():
    vines, drain = Neighbour("vines", "vines", 9.0), Neighbour("drain", "drain", 9.0)
    assert vines.is_sensitive and not drain.is_sensitive
    assert replace(drain, kind="edible", sensitivity="high").is_sensitive
    assert vines.is_reached_by_drift and not drain.is_reached_by_drift
    assert not replace(drain, kind="roots").is_reached_by_drift


def test_a_table_of_sites_keeps_their_order_and_does_not_guess_an_elevation():
    site = lawn().site
    table = SiteTable.of(site, replace(site, latitude=-30.0, elevation=None, hollow=True))
    assert table.latitude.tolist() == [site.latitude, -30.0] and table.hollow.tolist() == [site.hollow, True]
    assert table.elevation[0] == site.elevation and np.isnan(table.elevation[1])


def test_floors_are_the_defaults_with_what_the_household_sets_and_its_costs():
    settings = replace(lawn().settings, floors={"safety": 0.99}, cost_of_waiting=None, cost_of_failure=None)
    assert chance_floors(settings) == {**DEFAULT_FLOORS, "safety": 0.99}
    # 1 - C/F, for everything jointly and for nothing else
    costs = replace(settings, cost_of_waiting=10.0, cost_of_failure=40.0)
    assert chance_floors(costs) == {**DEFAULT_FLOORS, "safety": 0.99, "everything": pytest.approx(0.75)}


def test_a_day_that_comes_round_each_year_is_the_28th_of_february_in_common_years():
    assert [recurring_day(year, 2, 29).day for year in (2024, 2025, 2100)] == [29, 28, 28]


@pytest.mark.parametrize(
    ("starts", "year"),
    [
        ((1, 1), (date(2026, 1, 1), date(2027, 1, 1))),
        ((7, 1), (date(2026, 7, 1), date(2027, 7, 1))),
        ((10, 1), (date(2025, 10, 1), date(2026, 10, 1))),
        ((2, 29), (date(2026, 2, 28), date(2027, 2, 28))),
    ],
)
def test_the_label_year_is_the_one_that_holds_now(starts, year):
    assert NOW.date() == date(2026, 9, 21)
    assert label_year(task(lawn(label={"year_starts": starts})), NOW) == year


@pytest.mark.parametrize(
    ("frost", "month", "day", "latest"),
    [
        ((10, 15), 9, 21, date(2026, 11, 12)),
        ((10, 15), 12, 24, date(2026, 11, 12)),
        ((10, 15), 3, 20, date(2026, 11, 12)),
        # in the south, months after the frost of the year the next one counts
        ((6, 1), 9, 21, date(2026, 6, 29)),
        ((6, 1), 11, 1, date(2027, 6, 29)),
    ],
)
def test_the_last_sensible_day_is_four_weeks_after_the_first_frost_to_come_or_just_gone(
    frost, month, day, latest
):
    home = lawn()
    home = replace(home, site=replace(home.site, first_frost=frost))
    one = task(home)
    one = replace(one, household=home, treatment=replace(one.treatment, latest=None))
    assert latest_day(one, datetime(2026, month, day, 18, tzinfo=home.site.zone)) == latest


def test_ingredients_are_shared_however_they_are_written():
    assert share_ingredient(["Exemplic acid"], ["other", "EXEMPLIC ACID"])
    assert not share_ingredient(["exemplic acid"], []) and not share_ingredient([], ["exemplic acid"])
