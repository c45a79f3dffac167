"""Spans and their judgement against loops that look at one hour after the other."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from advisor.rulebook.spans import Reduced, Series, judge, reduce_at_start, reduce_nights, reduce_offsets

TRUE, FALSE, UNKNOWN = "true", "false", "unknown"


def words(found) -> list[str]:
    return [
        UNKNOWN if not known else TRUE if holds else FALSE
        for holds, known in zip(found.holds, found.known, strict=True)
    ]


def all_points(verdicts: list[str]) -> str:
    return FALSE if FALSE in verdicts else UNKNOWN if UNKNOWN in verdicts else TRUE


def any_point(verdicts: list[str]) -> str:
    return TRUE if TRUE in verdicts else UNKNOWN if UNKNOWN in verdicts else FALSE


def compare(value: float, low, high) -> str:
    if np.isnan(value):
        return UNKNOWN
    return TRUE if (low is None or value >= low) and (high is None or value <= high) else FALSE


def at(values, hour: int) -> float:
    """A value, NaN off the axis."""
    return values[hour] if 0 <= hour < len(values) else np.nan


def extreme_by_loop(values, instant, first, stop, take, low, high) -> list[str]:
    """One start after the other, one hour after the other."""
    out = []
    for start in range(len(values)):
        points = [at(values, hour) for hour in range(start + first, start + stop + (1 if instant else 0))]
        sides = []
        if high is not None:
            every = [compare(point, None, high) for point in points]
            sides.append(all_points(every) if take in ("max", "any") else any_point(every))
        if low is not None:
            every = [compare(point, low, None) for point in points]
            sides.append(any_point(every) if take in ("max", "any") else all_points(every))
        out.append(all_points(sides))
    return out


#: halves, so that sums are exact and no value lies within the slack of a limit without being equal to it
halves = st.integers(-8, 8).map(lambda number: number / 2)
maybe = st.one_of(st.just(np.nan), halves)
limits = st.tuples(st.one_of(st.none(), halves), st.one_of(st.none(), halves)).filter(
    lambda pair: pair != (None, None)
)
spans = st.tuples(st.integers(-4, 6), st.integers(1, 9)).map(lambda pair: (pair[0], pair[0] + pair[1]))


@settings(max_examples=300, deadline=None)
@given(
    st.lists(maybe, min_size=1, max_size=14),
    st.booleans(),
    spans,
    st.sampled_from(["min", "max", "any", "all"]),
    limits,
)
@example([3.0, np.nan, 9.0], False, (0, 3), "max", (None, 8.0))
@example([np.nan, np.nan], True, (0, 1), "min", (1.0, None))
def test_extremes(values, instant, span, take, pair):
    series = Series(np.array(values), instant)
    found = judge(reduce_offsets(series, *span, take), take, *pair)
    assert words(found) == extreme_by_loop(values, instant, *span, take, *pair)


def sum_by_loop(values, blocks, instant, first, stop, low, high) -> list[str]:
    """`blocks` holds (first, last) of each hour's block, or None; an upper limit counts a block that the span touches
    whole, a lower one only blocks that lie wholly in it."""
    out = []
    hours = len(values)
    for start in range(hours):
        wanted = list(range(start + first, start + stop))
        sides = []
        for lower, limit in ((False, high), (True, low)):
            if limit is None:
                continue
            taken = set(wanted)
            if blocks is not None:
                for hour in wanted:
                    if not 0 <= hour < hours:
                        continue
                    begin, last = blocks[hour]
                    whole = set(range(begin, last + 1))
                    if not lower:
                        taken |= {one for one in whole if 0 <= one < hours}
                    elif not whole <= set(wanted):
                        taken.discard(hour)
            pieces = []
            for hour in sorted(taken):
                ends = (at(values, hour), at(values, hour + 1)) if instant else (at(values, hour),) * 2
                pieces.append(sum(ends) / 2)
            known = [piece for piece in pieces if not np.isnan(piece)]
            asked = [at(values, hour) for hour in wanted]
            if instant:
                asked += [at(values, hour + 1) for hour in wanted]
            complete = not np.isnan(pieces).any() and not np.isnan(asked).any()
            total = sum(known)
            some = not np.isnan(asked).all()
            if lower:
                sides.append(TRUE if some and total >= limit else FALSE if complete else UNKNOWN)
            else:
                sides.append(FALSE if some and total > limit else TRUE if complete else UNKNOWN)
        out.append(all_points(sides))
    return out


amounts = st.one_of(st.just(np.nan), st.integers(0, 8).map(lambda number: number / 2))
one_side = st.tuples(st.booleans(), st.integers(0, 20).map(lambda number: number / 2)).map(
    lambda pair: (pair[1], None) if pair[0] else (None, pair[1])
)


@settings(max_examples=300, deadline=None)
@given(st.lists(amounts, min_size=1, max_size=14), spans, one_side)
@example([5.0, np.nan], (0, 2), (2.0, None))  # a lower limit that is reached stays reached
@example([5.0, np.nan], (0, 2), (None, 2.0))  # an upper limit that is passed stays passed
def test_sums(values, span, pair):
    found = judge(reduce_offsets(Series(np.array(values)), *span, "sum"), "sum", *pair)
    assert words(found) == sum_by_loop(values, None, False, *span, *pair)


@st.composite
def blocked(draw):
    """Values by blocks of one to six hours, the first and the last of which may stick out of the axis."""
    lengths = draw(st.lists(st.integers(1, 6), min_size=1, max_size=5))
    cut_front, cut_back = draw(st.integers(0, lengths[0] - 1)), draw(st.integers(0, lengths[-1] - 1))
    values, blocks, position = [], [], -cut_front
    for length in lengths:
        amount = draw(amounts)
        for _ in range(length):
            values.append(amount)
            blocks.append((position, position + length - 1))
        position += length
    stop = len(values) - cut_back
    if stop <= cut_front:
        stop = cut_front + 1
    return values[cut_front:stop], blocks[cut_front:stop]


@settings(max_examples=400, deadline=None)
@given(blocked(), spans, one_side)
@example(([1.0] * 6, [(0, 5)] * 6), (2, 4), (None, 5.0))  # a third of the span, all of the block
@example(([2.0] * 6, [(0, 5)] * 6), (0, 5), (1.0, None))  # a block that sticks out promises nothing
def test_sums_of_blocks(case, span, pair):
    values, blocks = case
    series = Series(
        np.array(values), False, np.array([one[0] for one in blocks]), np.array([one[1] for one in blocks])
    )
    reduced = reduce_offsets(series, *span, "sum", whole_blocks=pair[0] is None)
    assert words(judge(reduced, "sum", *pair)) == sum_by_loop(values, blocks, False, *span, *pair)


@settings(max_examples=200, deadline=None)
@given(st.lists(maybe, min_size=1, max_size=14), st.booleans(), spans, limits)
def test_means(values, instant, span, pair):
    found = judge(reduce_offsets(Series(np.array(values), instant), *span, "mean"), "mean", *pair)
    expected = []
    for start in range(len(values)):
        hours = range(start + span[0], start + span[1])
        pieces = [(at(values, hour) + at(values, hour + (1 if instant else 0))) / 2 for hour in hours]
        expected.append(compare(float(np.mean(pieces)), *pair))
    assert words(found) == expected


@settings(max_examples=200, deadline=None)
@given(
    st.lists(amounts, min_size=1, max_size=10), st.lists(amounts, min_size=1, max_size=10), spans, one_side
)
def test_what_is_known_of_one_part_counts_while_another_is_unknown(one, other, span, pair):
    length = min(len(one), len(other))
    parts = tuple(Series(np.array(values[:length])) for values in (one, other))
    together = Series(parts[0].values + parts[1].values, parts=parts)
    found = words(judge(reduce_offsets(together, *span, "sum"), "sum", *pair))
    low, high = pair
    for start in range(length):
        pieces = [at(part.values, hour) for part in parts for hour in range(start + span[0], start + span[1])]
        known = sum(piece for piece in pieces if not np.isnan(piece))
        complete = not np.isnan(pieces).any()
        some = not np.isnan(pieces).all()
        if low is not None:
            expected = TRUE if some and known >= low else FALSE if complete else UNKNOWN
        else:
            expected = FALSE if some and known > high else TRUE if complete else UNKNOWN
        assert found[start] == expected, (start, pieces)


def test_off_the_axis_is_unknown_and_what_is_known_there_has_no_value():
    series = Series(np.zeros(4))
    for take in ("sum", "max", "min", "mean"):
        for first, stop in ((4, 6), (-6, -4), (40, 42)):
            reduced = reduce_offsets(series, first, stop, take)
            assert np.isnan(reduced.value).all() and not reduced.complete.any(), (take, first)
    for take in ("sum", "max", "mean"):
        assert words(judge(reduce_offsets(series, 2, 4, take), take, None, 1.0)) == [TRUE, *[UNKNOWN] * 3]


def test_the_last_instant_bounds_no_hour():
    """An hour needs both its ends: the last value of an axis begins an hour that nobody knows the end of."""
    assert words(judge(reduce_offsets(Series(np.zeros(3), True), 0, 1, "max"), "max", None, 1.0)) == [
        TRUE,
        TRUE,
        UNKNOWN,
    ]
    assert (
        words(judge(reduce_offsets(Series(np.zeros(3), False), 0, 1, "max"), "max", None, 1.0)) == [TRUE] * 3
    )


def test_at_start_looks_at_the_start_alone():
    reduced = reduce_at_start(Series(np.array([1.0, np.nan, 3.0]), True))
    assert words(judge(reduced, "last", 2.0, None)) == [FALSE, UNKNOWN, TRUE]


@st.composite
def nights(draw):
    """An axis, its values, and nights that may begin before it and end after it."""
    hours = draw(st.integers(6, 30))
    values = draw(st.lists(maybe, min_size=hours, max_size=hours))
    edges = sorted(draw(st.lists(st.integers(-4, hours + 6), min_size=2, max_size=8, unique=True)))
    edges = edges[: len(edges) // 2 * 2]
    first, stop = edges[::2], edges[1::2]
    night_of = [sum(begin < hour + 1 for begin in first) for hour in range(hours)]
    return values, first, stop, night_of


@settings(max_examples=300, deadline=None)
@given(nights(), st.booleans(), st.integers(1, 3), st.sampled_from(["min", "max"]), limits)
def test_nights(case, instant, count, take, pair):
    values, first, stop, night_of = case
    series = Series(np.array(values)[None, None], instant)
    reduced = reduce_nights(series, np.array([first]), np.array([stop]), np.array([night_of]), count, take)
    found = judge(Reduced(reduced.value[0, 0], reduced.complete[0, 0]), take, *pair)
    expected = []
    for hour in range(len(values)):
        points = []
        for night in range(night_of[hour], night_of[hour] + count):
            if night >= len(first):
                points.append(np.nan)  # a night that this axis does not reach
                continue
            points += [at(values, one) for one in range(first[night], stop[night] + (1 if instant else 0))]
        low, high = pair
        sides = []
        if high is not None:
            every = [compare(point, None, high) for point in points]
            sides.append(all_points(every) if take == "max" else any_point(every))
        if low is not None:
            every = [compare(point, low, None) for point in points]
            sides.append(any_point(every) if take == "max" else all_points(every))
        expected.append(all_points(sides))
    assert words(found) == expected


@pytest.mark.parametrize("take", ["min", "max", "sum", "mean"])
def test_float32_stays_close_and_members_stay_apart(take):
    chance = np.random.default_rng(3)
    values = chance.uniform(0, 5, (2, 3, 200))
    values[chance.random(values.shape) < 0.05] = np.nan
    exact = reduce_offsets(Series(values, take == "min"), 1, 25, take)
    short = reduce_offsets(Series(values.astype(np.float32), take == "min"), 1, 25, take)
    np.testing.assert_allclose(short.value, exact.value, rtol=1e-5)
    assert (short.complete == exact.complete).all()
    alone = reduce_offsets(Series(values[1, 2], take == "min"), 1, 25, take)
    np.testing.assert_array_equal(alone.value, exact.value[1, 2])
