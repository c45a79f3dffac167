"""Whether a series keeps its limits over the span that a start hour asks about, member by member, in bits.

Hours are compared first and the span is taken over the answers: a maximum keeps an upper limit where every hour
does, and a lower one where some hour does. Sums are added up first. What is known of a span may already decide: one
hour of too much wind is a known no although later hours are unknown. `advisor.rulebook.spans` gives the numbers that
belong to it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from advisor.rulebook.spans import Take, judge, reduce_offsets
from advisor.series import Series
from advisor.votes import EVERYONE, Votes, windows

Limit = np.ndarray | None
_LARGEST, _SMALLEST = ("max", "any"), ("min", "all")


def judge_at_start(series: Series, at_least: Limit, at_most: Limit) -> Votes:
    """The value at the start itself against its limits (task,)."""
    return _both_sides(series, at_least, at_most, lambda limit, lower: series.against(limit, lower))


def judge_offsets(
    series: Series,
    first: int,
    stop: int,
    take: Take,
    at_least: Limit,
    at_most: Limit,
    whole_blocks: bool = True,
) -> Votes:
    """Hours s + first .. s + stop - 1 of every start s, reduced as `take` says, against limits (task,).

    `whole_blocks` as in `spans.reduce_offsets`.
    """
    if take in (*_LARGEST, *_SMALLEST):
        end = stop + series.instant

        def side(limit: np.ndarray, lower: bool) -> Votes:
            return windows.over_offsets(series.against(limit, lower), first, end, _every(take, lower))

    elif take == "sum" and not series.in_blocks and not series.instant:
        total = series.sums(first, stop)

        def side(limit: np.ndarray, lower: bool) -> Votes:
            return _against_sum(series, total, first, stop, limit, lower)

    else:
        reduced = reduce_offsets(series, first, stop, take, whole_blocks)
        columns = [None if limit is None else limit[:, None, None] for limit in (at_least, at_most)]
        return Votes.of_kleene(judge(reduced, take, *columns))
    return _both_sides(series, at_least, at_most, side)


def judge_nights(
    series: Series, first: np.ndarray, stop: np.ndarray, night_of: np.ndarray, count: int, take: Take,
    at_least: Limit, at_most: Limit,
) -> Votes:  # fmt: skip
    """`count` nights after each start against limits (task,); nights as in `spans.reduce_nights`."""

    def side(limit: np.ndarray, lower: bool) -> Votes:
        votes = series.against(limit, lower)
        return windows.over_nights(votes, first, stop + series.instant, night_of, count, _every(take, lower))

    return _both_sides(series, at_least, at_most, side)


def _every(take: Take, lower: bool) -> bool:
    """Whether every hour has to keep the limit, or one is enough."""
    return (take in _SMALLEST) == lower


def _both_sides(
    series: Series, at_least: Limit, at_most: Limit, side: Callable[[np.ndarray, bool], Votes]
) -> Votes:
    sides = [side(limit, lower) for limit, lower in ((at_least, True), (at_most, False)) if limit is not None]
    if not sides:
        return Votes(np.full((1, 1, 1, 1), EVERYONE), 1, series.values.shape[-1])
    return sides[0] if len(sides) == 1 else sides[0] & sides[1]


def _against_sum(
    series: Series, total: np.ndarray, first: int, stop: int, limit: np.ndarray, lower: bool
) -> Votes:
    """A sum of what is known is a bound from below: past an upper limit it stays past it, whatever else falls."""
    parts = [part.known for part in series.parts or (series,)]
    whole = [windows.over_offsets(known, first, stop, every=True).surely for known in parts]
    some = [windows.over_offsets(known, first, stop, every=False).surely for known in parts]
    votes = Series(total).against(limit, lower).only_known(_joined(np.bitwise_or, some))
    complete = _joined(np.bitwise_and, whole)
    if lower:
        return votes.not_surely_against(~complete)
    return votes.not_surely(~complete)


def _joined(combine: np.ufunc, packed: list[np.ndarray]) -> np.ndarray:
    return packed[0] if len(packed) == 1 else combine(*packed)
