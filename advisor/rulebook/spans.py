"""Reducing hourly series over the span that a start hour asks about: the numbers behind a judgement.

For every start hour s a span is a run of hours at fixed offsets from s, so all starts are reduced at once: extremes and
sums by doubling. Every reduction gives the value over what is known, and whether all was known; what that means for a
limit is decided in `judge`. `advisor.rulebook.judging` comes to the same answers hour by hour, without the numbers.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np

from advisor.logic import Kleene, all_of, within
from advisor.series import Series

__all__ = ["Reduced", "Series", "Take", "judge", "reduce_at_start", "reduce_nights", "reduce_offsets"]

Take = Literal["min", "max", "sum", "mean", "any", "all", "last"]

#: cumulative sums leave rounding of the order of 1e-13 mm, far below any amount that is reported
_ROUNDING = 1e-9

#: what a value over the known part says about the whole: a bound from below, from above, or nothing
_BOUND = {
    "max": "lower",
    "any": "lower",
    "sum": "lower",
    "min": "upper",
    "all": "upper",
    "mean": None,
    "last": None,
}


class Reduced(NamedTuple):
    """Value over the known part of a span (NaN when nothing is known) and whether all of it was known."""

    value: np.ndarray
    complete: np.ndarray


def reduce_offsets(series: Series, first: int, stop: int, take: Take, whole_blocks: bool = True) -> Reduced:
    """Reduce over hours s + first .. s + stop - 1 for every start s on the axis.

    Hours that fall off the axis are unknown. Shape (..., hour) in and out. A block that lies only partly in the span
    counts whole in a sum, which is the most that may fall in it; without `whole_blocks` it counts not at all, which is
    the least.
    """
    values = series.values
    length = stop - first
    if take == "sum" and series.in_blocks and series.parts:
        return _together([_add(part, first, stop, take, whole_blocks) for part in series.parts])
    if take == "sum" and not series.in_blocks and not series.instant:
        return _total(series, first, stop)
    if take in ("sum", "mean"):
        return _add(series, first, stop, take, whole_blocks)
    if take == "last":
        last = _shift(values, stop if series.instant else stop - 1)
        return Reduced(last, ~np.isnan(last))
    if series.instant:
        length += 1
    largest = take in ("max", "any")
    value = _sliding_extreme(values, first, length, largest, series.has_gaps)
    return Reduced(value, _all_known(series, first, first + length))


def reduce_at_start(series: Series) -> Reduced:
    """The value at the start itself."""
    return Reduced(series.values, ~np.isnan(series.values))


def reduce_nights(
    series: Series, first: np.ndarray, stop: np.ndarray, night_of: np.ndarray, count: int, take: Take
) -> Reduced:
    """Reduce over `count` nights, beginning with the night that `night_of` names for each start.

    Parameters
    ----------
    series : Series (site, member, hour)
    first, stop : ndarray of int (site, night)
        Hours [first, stop) of each night on the axis; they may lie outside it.
    night_of : ndarray of int (site, hour)
        Index of the first night after each start; len(night) where there is none.
    """
    values = series.values
    sites, members, hours = np.broadcast_shapes(values.shape, (first.shape[0], 1, 1))
    values = np.broadcast_to(values, (sites, members, hours))
    nights = first.shape[1]
    longest = int((stop - first).max()) + (1 if series.instant else 0)
    offset = np.arange(longest)
    at = first[:, :, None] + offset
    wanted = offset < (stop - first)[:, :, None] + (1 if series.instant else 0)
    inside = (at >= 0) & (at < hours)
    flat = np.where(inside, at, 0).reshape(sites, 1, nights * longest)
    picked = np.take_along_axis(values, np.broadcast_to(flat, (sites, members, nights * longest)), axis=2)
    picked = picked.reshape(sites, members, nights, longest)
    picked = np.where((inside & wanted)[:, None], picked, np.nan)
    complete = (~np.isnan(picked) | ~wanted[:, None]).all(axis=-1)
    extreme = np.fmax if take in ("max", "any") else np.fmin
    value = extreme.reduce(picked, axis=-1)
    # a further night that never comes on this axis is unknown
    pad = ((0, 0), (0, 0), (0, count + 1))
    value = np.pad(value, pad, constant_values=np.nan)
    complete = np.pad(complete, pad, constant_values=False)
    run_value, run_complete = value[..., : nights + 1], complete[..., : nights + 1]
    for later in range(1, count):
        run_value = extreme(run_value, value[..., later : nights + 1 + later])
        run_complete = run_complete & complete[..., later : nights + 1 + later]
    index = np.broadcast_to(night_of[:, None, :], (sites, members, night_of.shape[-1]))
    return Reduced(np.take_along_axis(run_value, index, 2), np.take_along_axis(run_complete, index, 2))


def judge(reduced: Reduced, take: Take, at_least=None, at_most=None) -> Kleene:
    """Whether a reduced value keeps its limits, in three values.

    What is known of a span may already decide: one hour of too much wind is a known false although later hours are
    unknown, and a sum that has reached its lower limit stays above it.
    """
    bound = _BOUND[take]
    parts = []
    for low, high in ((at_least, None), (None, at_most)):
        if low is None and high is None:
            continue
        side = within(reduced.value, low, high)
        holds, fails = side.holds, side.fails
        # a bound from below decides an upper limit once it fails, and a lower limit once it holds; and so on
        lower = high is None
        if not (bound == "lower" and lower) and not (bound == "upper" and not lower):
            holds = holds & reduced.complete
        if not (bound == "lower" and not lower) and not (bound == "upper" and lower):
            fails = fails & reduced.complete
        parts.append(Kleene(holds, holds | fails))
    if not parts:
        yes = np.ones(np.shape(reduced.value), dtype=bool)
        return Kleene(yes, yes)
    return parts[0] if len(parts) == 1 else all_of(*parts)


def _shift(values: np.ndarray, by: int) -> np.ndarray:
    """values[..., s + by] at s; NaN off the axis."""
    if by == 0:
        return values
    out = np.full_like(values, np.nan)
    hours = values.shape[-1]
    if by > 0 and by < hours:
        out[..., : hours - by] = values[..., by:]
    elif by < 0 and -by < hours:
        out[..., -by:] = values[..., : hours + by]
    return out


def _sliding_extreme(
    values: np.ndarray, first: int, length: int, largest: bool, gaps: bool = True
) -> np.ndarray:
    """Extreme of the known values among s + first .. s + first + length - 1, by doubling: log2(length) passes.

    Windows that reach over the end of the axis end there.
    """
    hours = values.shape[-1]
    if first < 0:
        # windows that begin before the axis
        before = np.full((*values.shape[:-1], -first), np.nan, dtype=values.dtype)
        values, gaps = np.concatenate([before, values], axis=-1), True
    # fmax and fmin pass over unknown values, at a price
    extreme = (np.fmax if largest else np.fmin) if gaps else np.maximum if largest else np.minimum
    reach = min(length, values.shape[-1])
    out, width = values, 1
    while width < reach:
        step = min(width, reach - width)
        wider = np.empty_like(out)
        extreme(out[..., :-step], out[..., step:], out=wider[..., :-step])
        wider[..., -step:] = out[..., -step:]
        out, width = wider, width + step
    return out[..., :hours] if first < 0 else _shift(out, first)


def _window(hours: int, first: int, stop: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    start = np.arange(hours)
    low, high = start + first, start + stop
    outside = (low < 0) | (high > hours)
    return np.clip(low, 0, hours), np.clip(high, 0, hours), outside


def _between(total: np.ndarray, first: int, stop: int) -> np.ndarray:
    """total[..., s + stop] - total[..., s + first] for every start s, both kept on the axis; total (..., hour + 1)."""
    hours = total.shape[-1] - 1
    out = np.empty((*total.shape[:-1], hours), dtype=total.dtype)
    for offset, ends in ((stop, True), (first, False)):
        inner = slice(min(max(-offset, 0), hours), max(min(hours - offset, hours), 0))
        for part, values in (
            (slice(0, inner.start), total[..., :1]),
            (inner, total[..., inner.start + offset : inner.stop + offset]),
            (slice(max(inner.stop, inner.start), hours), total[..., -1:]),
        ):
            if part.start < part.stop and ends:
                out[..., part] = values
            elif part.start < part.stop:
                out[..., part] -= values
    return out


def _all_known(series: Series, first: int, stop: int) -> np.ndarray:
    """Whether all of s + first .. s + stop - 1 are known; hours off the axis are not."""
    hours = series.values.shape[-1]
    _, _, outside = _window(hours, first, stop)
    if not series.has_gaps:
        return ~outside.reshape((1,) * (series.values.ndim - 1) + (hours,))
    return (_between(series.unknown_before, first, stop) == 0) & ~outside


def _together(parts: list[Reduced]) -> Reduced:
    """Sum of the known parts; complete where all are."""
    value, complete = parts[0]
    for part in parts[1:]:
        value = np.where(np.isnan(value), part.value, value + np.nan_to_num(part.value))
        complete = complete & part.complete
    return Reduced(value, complete)


def _total(series: Series, first: int, stop: int) -> Reduced:
    """The sum of what is known, of hours that are no part of longer blocks."""
    value, complete, nothing = series.sums(first, stop), True, True
    hours = value.shape[-1]
    held = np.clip(np.arange(hours) + stop, 0, hours) - np.clip(np.arange(hours) + first, 0, hours)
    for part in series.parts or (series,):
        complete = complete & _all_known(part, first, stop)
        nothing = nothing & (
            (_between(part.unknown_before, first, stop) == held) if part.has_gaps else held == 0
        )
    if nothing.any():
        value = np.where(nothing, value.dtype.type(np.nan), value)
    return Reduced(value, complete)


def _add(series: Series, first: int, stop: int, take: Take, whole_blocks: bool) -> Reduced:
    """A mean, or a sum of hours of which some belong to longer blocks."""
    if series.instant:
        series = series.hourly_means
    hours = series.values.shape[-1]
    start = np.arange(hours)
    held = np.clip(start + stop, 0, hours) - np.clip(start + first, 0, hours)
    blocks = series.block_first is not None and take != "mean"
    if not blocks and not series.has_gaps:
        value = _between(series.sum_before, first, stop)
        if take == "mean":
            value /= np.maximum(held, 1)
        np.copyto(value, 0.0, where=np.abs(value) < _ROUNDING)
        np.copyto(value, np.nan, where=held == 0)
        return Reduced(value, _all_known(series, first, stop))
    missing = asked = _between(series.unknown_before, first, stop)
    _, _, outside = _window(hours, first, stop)
    total = series.sum_before
    if not blocks:
        amount = _between(total, first, stop)
    else:
        unknown = series.unknown_before
        shape = series.values.shape
        low, high = (np.broadcast_to(edge, shape) for edge in _block_edges(series, first, stop, whole_blocks))
        amount = np.take_along_axis(total, high, -1) - np.take_along_axis(total, low, -1)
        # an hour of a block that reaches into the span is asked for like one of the span
        missing = np.maximum(
            missing, np.take_along_axis(unknown, high, -1) - np.take_along_axis(unknown, low, -1)
        )
    known_hours = np.maximum(held - asked, 0)
    value = np.where(known_hours > 0, amount, np.nan)
    if take == "mean":
        value = value / np.maximum(known_hours, 1)
    return Reduced(np.where(np.abs(value) < _ROUNDING, 0.0, value), (missing == 0) & ~outside)


def _block_edges(series: Series, first: int, stop: int, whole_blocks: bool) -> tuple[np.ndarray, np.ndarray]:
    """The windows (low, high) widened to the blocks that they touch, or narrowed to those that they hold."""
    hours = series.values.shape[-1]
    start = np.arange(hours)
    low, high = np.clip(start + first, 0, hours), np.clip(start + stop, 0, hours)
    at_low, at_high = np.minimum(low, hours - 1), np.maximum(high - 1, 0)
    begins, ends = series.block_first, series.block_last + 1
    if whole_blocks:
        wide_low = np.where(low < hours, np.minimum(np.clip(begins, 0, hours)[..., at_low], low), low)
        wide_high = np.where(high > 0, np.maximum(np.clip(ends, 0, hours)[..., at_high], high), high)
        return wide_low, wide_high
    cut_low = (low < hours) & (begins[..., at_low] < start + first)
    cut_high = (high > 0) & (ends[..., at_high] > start + stop)
    inner_low = np.where(cut_low, np.clip(ends, 0, hours)[..., at_low], low)
    inner_high = np.where(cut_high, np.clip(begins, 0, hours)[..., at_high], high)
    return inner_low, np.maximum(inner_high, inner_low)
