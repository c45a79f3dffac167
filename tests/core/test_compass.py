"""The points of the compass: 16 of them, 22.5 degrees apart, clockwise from north. By the circle itself."""

from __future__ import annotations

import pytest

from advisor.compass import POINTS, degrees_of, point_of


@pytest.mark.parametrize("point", POINTS)
def test_a_point_is_the_nearest_to_its_own_direction_and_to_what_lies_around_it(point):
    assert {point_of(degrees_of(point) + off) for off in (-11.2, 0.0, 11.2, 360.0, -360.0)} == {point}


def test_the_quarters_stand_where_they_do_on_a_map():
    assert [degrees_of(point) for point in ("N", "E", "S", "W")] == [0.0, 90.0, 180.0, 270.0]
    assert (point_of(359.9), point_of(225.0), point_of(11.3)) == ("N", "SW", "NNE")


def test_another_word_is_no_point():
    with pytest.raises(ValueError):
        degrees_of("NNNW")
