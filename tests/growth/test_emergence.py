"""Emergence: the published edges in float32 and degF, running means, a season of crabgrass."""

from __future__ import annotations

import numpy as np
import pytest

from advisor.growth.degree_days import accumulated_degree_days
from advisor.growth.emergence import (
    CRABGRASS_FIRST,
    CRABGRASS_MAJOR,
    CRABGRASS_STAGES,
    PREEMERGENCE_STAGES,
    crabgrass_degree_days,
    crabgrass_stage,
    five_day_mean,
    preemergence_stage,
    winter_annual_stage,
)


def test_a_spring_passes_through_all_stages_in_order():
    # Fidanza et al. (1996): soil at 2.5 cm from 1 April; here a made-up spring that warms by 0.15 K a day
    # from 10 degC.
    mean = 10 + 0.15 * np.arange(90)
    total = accumulated_degree_days(crabgrass_degree_days(mean + 4, mean - 4))
    stages = crabgrass_stage(total)
    assert (np.diff(stages) >= 0).all() and set(stages) == set(CRABGRASS_STAGES)
    first = mean[np.argmax(stages == 1) - 7 : np.argmax(stages == 1)].mean()
    # The trial's mean of the seven days before first emergence: 13.9 to 17.5 degC.
    assert 13.9 - 0.5 <= first <= 17.5 + 0.5


def test_published_ranges():
    # Fidanza et al. (1996), abstract.
    assert CRABGRASS_FIRST == (42, 78) and CRABGRASS_MAJOR == (140, 230)


def test_negative_or_missing_sums_are_unknown():
    assert np.isnan(crabgrass_stage([np.nan, -0.1])).all()


def test_running_mean_needs_all_five_days():
    daily = np.array([10.0, 11, 12, 13, 14, np.nan, 16, 17, 18, 19, 20])
    mean = five_day_mean(daily)
    assert np.isnan(mean[:4]).all() and mean[4] == 12 and np.isnan(mean[5:10]).all() and mean[10] == 18
    assert np.isnan(five_day_mean([1.0, 2.0, 3.0])).all()
    assert five_day_mean(np.ones((3, 4, 6), "f4")).dtype == np.float32
    with pytest.raises(ValueError, match="day axis"):
        five_day_mean(3.0)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_fifty_degrees_fahrenheit_is_fifty_in_any_arithmetic(kind):
    # turf.wisc.edu: in place at 50 to 55 degF; the edges belong to the earlier stage except where seeds
    # germinate.
    fahrenheit = np.array([49.9, 50.0, 55.0, 55.1, 60.0], kind)
    stages = preemergence_stage(((fahrenheit - kind(32)) / kind(1.8)).astype(kind))
    assert stages.dtype == kind and stages.tolist() == [0, 1, 1, 2, 3]
    assert set(PREEMERGENCE_STAGES) == {0, 1, 2, 3}


def test_missing_soil_is_unknown():
    assert np.isnan(preemergence_stage(np.nan)) and np.isnan(winter_annual_stage(np.nan))
