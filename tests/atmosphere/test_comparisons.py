"""Our formulas against general reference libraries on wide grids; the bounds stand with each comparison."""

from __future__ import annotations

import pytest

from . import comparisons


@pytest.mark.parametrize("compare", comparisons.COMPARISONS, ids=lambda compare: compare.__name__)
def test_stays_within_the_bound(compare):
    try:
        found = compare()
    except ImportError as error:
        pytest.skip(f"reference library absent: {error.name}")
    assert found.largest <= found.bound, str(found)
