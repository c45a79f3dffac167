"""Every comparison with an outside program or table stays within what that source allows."""

from __future__ import annotations

import numpy as np
import pytest

from . import compare_soil, comparisons


@pytest.mark.parametrize(
    "row", comparisons.ALL, ids=[f"{row[0]}: {row[2]}: {row[1]}" for row in comparisons.ALL]
)
def test_largest_error_is_within_the_limit(row):
    topic, method, against, measure, unit, limit, needs = row
    if not comparisons.installed(needs):
        pytest.skip(f"{needs} is not installed")
    error = measure()
    assert error == error, f"{topic}, {method}: the comparison with {against} gave NaN"
    assert error <= limit, f"{topic}, {method} is {error:.3g} {unit} from {against}, allowed {limit:g}"


def test_a_same_day_stress_would_be_noticed():
    # The comparison can fail: Ks taken from the day's own depletion departs from pyfao56 by far more than
    # the limit.
    pytest.importorskip("pyfao56")
    (depletion, _), (stress, _), _ = compare_soil.pyfao56_season(1, False, True)
    same_day = np.clip((42.0 - depletion) / (0.6 * 42.0), 0, 1)
    assert np.abs(same_day - stress).max() > 0.05
