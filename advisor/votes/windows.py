"""Spans of hourly answers: whether every hour of a span says yes, or some hour does, for all starts at once.

An extreme keeps its limit where every hour does (a maximum an upper limit, a minimum a lower one), or where some hour
does. So hours are compared once and the span is taken over bits. Hours that lie off the axis are not known.
"""

from __future__ import annotations

import numpy as np

from advisor.votes.votes import EVERYONE, Votes, pick_hours


def over_offsets(votes: Votes, first: int, stop: int, every: bool) -> Votes:
    """Over hours s + first .. s + stop - 1 of every start s: log2 of the length passes."""
    hours = votes.hours
    before, after = max(-first, 0), max(stop - 1, 0)
    wide = _beyond(votes, before, after)
    out = _spans(wide, stop - first, every)
    begin = first + before
    return Votes(out[..., begin : begin + hours], votes.members)


def over_nights(
    votes: Votes, first: np.ndarray, stop: np.ndarray, night_of: np.ndarray, count: int, every: bool
) -> Votes:
    """Over `count` nights, beginning with the night that `night_of` names for each start.

    Parameters
    ----------
    first, stop : ndarray of int (task or 1, night)
        Hours [first, stop) of each night on the axis; they may lie outside it.
    night_of : ndarray of int (task or 1, hour)
        Index of the first night after each start; the number of nights where there is none.
    """
    combine = np.bitwise_and if every else np.bitwise_or
    hours, nights = votes.hours, first.shape[1]
    length = stop - first
    longest = int(length.max())
    wide = _beyond(votes, longest, longest)
    begin = np.clip(first, -longest, hours)
    # a night is what a span of 2^k hours at its beginning and one at its end hold together
    exponent = np.frexp(length)[1] - 1
    of_night = None
    for power in np.unique(exponent):
        spans = _spans(wide, 1 << int(power), every)
        last = np.maximum(begin + length - (1 << int(power)), begin)
        here = combine(*(pick_hours(spans, at + longest) for at in (begin, last)))
        of_night = here if of_night is None else np.where((exponent == power)[:, None, :], here, of_night)
    # a further night that never comes on this axis is not known
    run = _beyond(Votes(of_night, votes.members), 0, count)
    out = run[..., : nights + 1]
    for later in range(1, count):
        out = combine(out, run[..., later : nights + 1 + later])
    return Votes(pick_hours(out, night_of), votes.members)


def _beyond(votes: Votes, before: int, after: int) -> np.ndarray:
    """The bits with so many hours more on each side, which are not known."""
    bits = votes.bits
    hours = votes.hours
    out = np.empty((2, *bits.shape[1:-1], before + hours + after), dtype=np.uint8)
    out[..., before : before + hours] = bits
    for side in (slice(0, before), slice(before + hours, None)):
        out[0, ..., side] = 0
        out[1, ..., side] = EVERYONE
    return out


def _spans(bits: np.ndarray, length: int, every: bool) -> np.ndarray:
    """Spans of so many hours, by the hour at which they begin."""
    combine = np.bitwise_and if every else np.bitwise_or
    out, width = bits, 1
    while width < length:
        step = min(width, length - width)
        out = combine(out[..., :-step], out[..., step:])
        width += step
    return out
