"""The table of weeds: complete, consistent, and never a yes without knowing."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.growth.weeds import WEEDS, UnknownWeed, active_from, find_weed, is_young_and_active
from advisor.model import STAGES

DANDELION, CRABGRASS, HENBIT = (find_weed(name) for name in ("dandelion", "smooth crabgrass", "henbit"))


@pytest.mark.parametrize("weed", WEEDS.values(), ids=list(WEEDS))
def test_every_weed_is_complete(weed):
    assert weed.source and len(weed.scientific_name.split()) == 2
    assert weed.group in ("broadleaf", "grass", "sedge")
    assert weed.life_cycle in ("perennial", "summer-annual", "winter-annual")
    assert set(weed.stages) <= set(STAGES) and weed.stages
    for months in (weed.germinates, weed.treat):
        assert months and set(months) <= set(range(1, 13)) and len(set(months)) == len(months)
    assert find_weed(weed.common_name) is find_weed(weed.scientific_name) is weed


def test_annuals_are_treated_after_they_come_up():
    for weed in WEEDS.values():
        if weed.life_cycle != "perennial":
            # The first month of treatment lies in, or up to four months after, the months of germination.
            assert min((weed.treat[0] - month) % 12 for month in weed.germinates) <= 1


def test_names_are_found_however_they_are_written():
    assert find_weed("  Smooth-Crabgrass ") is CRABGRASS and find_weed("TARAXACUM OFFICINALE") is DANDELION


def test_an_unknown_weed_proposes_the_nearest():
    with pytest.raises(UnknownWeed, match="dandelion"):
        find_weed("dandelyon")
    with pytest.raises(ValueError, match="label"):
        find_weed("triffid")


def test_the_lower_limit_is_for_what_lives_through_the_winter_in_autumn():
    # vaturf.org: best above 60 degF; K-State: a day of 50 degF or more in autumn.
    sixty = (60 - 32) / 1.8
    months = np.arange(1.0, 13.0)
    autumn = np.isin(months, [9, 10, 11])
    for cycle in ("perennial", "winter-annual"):
        assert active_from(cycle, months) == pytest.approx(np.where(autumn, 10.0, sixty))
        assert active_from(cycle, months, southern=True) == pytest.approx(
            np.where(np.isin(months, [3, 4, 5]), 10, sixty)
        )
    for cycle in ("summer-annual", None):
        assert active_from(cycle, months) == pytest.approx(np.full(12, sixty))
    assert np.isnan(active_from("perennial", [0, 13, 4.5, np.nan])).all()


def test_season_and_warmth_both_count():
    edge = (60 - 32) / 1.8
    assert is_young_and_active(DANDELION, [9, 10, 11, 7, 4], [20.0, 10.0, 9.9, 25.0, 25.0]).tolist() == [
        1,
        1,
        0,
        0,
        0,
    ]
    assert is_young_and_active(CRABGRASS, [6, 6, 9], [edge, edge - 0.1, 25.0]).tolist() == [1, 0, 0]
    assert is_young_and_active(HENBIT, [10, 3, 3], [10.0, 10.0, edge]).tolist() == [1, 0, 1]
    assert is_young_and_active(DANDELION, [4, 10], 12.0, southern=True).tolist() == [1, 0]


def test_a_stage_seen_on_the_spot_stands_in_for_the_months():
    assert is_young_and_active(DANDELION, 7, 25.0, stage="rosette") == 1
    assert is_young_and_active(DANDELION, 10, 25.0, stage="flowering") == 0


def test_missing_is_unknown_where_it_could_matter():
    assert np.isnan(is_young_and_active(DANDELION, [10, np.nan, 13], [np.nan, 20.0, 20.0])).all()
    assert is_young_and_active(DANDELION, 7, np.nan) == 0  # out of season whatever the temperature
