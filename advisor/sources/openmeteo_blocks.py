"""Chances and amounts of Open-Meteo that look hourly and are not.

From about 35 hours ahead in North America the hourly probability is one six-hour chance shown six times, and
past a model's hourly range an amount is a three-hour sum in three equal parts. The answer states neither, so
two rules find them:

- probability: four or more six-hour groups in a row (from 00, 06, 12 or 18 UTC), each of six equal values and
  not all groups alike, are blocks; a group that the end of the data cuts short belongs to the run before it;
- amount: the last groups of three hours (from 00, 03, ... UTC), each of three equal values, are blocks, when
  at least two of them are wet.
"""

from __future__ import annotations

import numpy as np


def find(kind: str, starts: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Starts [datetime64 h], lengths [h] and values (member, block) of an hourly series (member, hour).

    The value of a merged sum is the total of its hours.
    """
    first, lengths = np.empty(0, dtype=int), np.empty(0, dtype=int)
    if kind == "probability" and values.shape[0] == 1:
        first, lengths = six_hour_chances(starts, values[0])
    elif kind == "sum":
        first, lengths = three_hour_sums(starts, values)
    spans = np.ones(len(starts), dtype=int)
    spans[first] = lengths
    covered = np.zeros(len(starts) + 1, dtype=int)
    np.add.at(covered, first + 1, 1)
    np.add.at(covered, first + lengths, -1)
    keep = np.cumsum(covered)[:-1] == 0
    factor = spans if kind == "sum" else 1
    return starts[keep], spans[keep], (values * factor)[:, keep]


def six_hour_chances(starts: np.ndarray, chances: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First indices and lengths of the groups of an hourly series (hour,) that are one six-hour chance."""
    begins, lengths, same = _groups(starts, chances[None, :], 6)
    if not same.any():
        return begins[:0], lengths[:0]
    chosen = np.zeros(len(begins), dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(int), [0]))))
    for low, high in zip(edges[::2], edges[1::2], strict=True):
        whole = begins[low:high][lengths[low:high] == 6]
        chosen[low:high] = len(whole) >= 4 and len(np.unique(chances[whole])) > 1
    return begins[chosen], lengths[chosen]


def three_hour_sums(starts: np.ndarray, amounts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """First indices and lengths of the groups of hours (member, hour) that are one three-hour sum."""
    begins, lengths, same = _groups(starts, amounts, 3)
    tail = int(np.append(np.flatnonzero(~same) + 1, 0).max()) if not same.all() else 0
    begins, lengths = begins[tail:], lengths[tail:]
    wet = (np.nan_to_num(amounts[:, begins]) > 0.0).any(axis=0)
    return (begins, lengths) if wet.sum() >= 2 else (begins[:0], lengths[:0])


def _groups(starts: np.ndarray, values: np.ndarray, hours: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Groups aligned to 00 UTC: first index, length inside the known data, and whether all values are equal.

    The data end where every member is null for good; a null before that makes its group unequal.
    """
    known = np.flatnonzero(~np.isnan(values).all(axis=0))
    end = int(known[-1]) + 1 if len(known) else 0
    begins = np.flatnonzero(starts[:end].astype("int64") % hours == 0)
    lengths = np.diff(np.append(begins, end))
    plain = np.nan_to_num(values[:, :end], nan=-1.0)
    changes = np.zeros(end, dtype=int)
    if end > 1:
        changes[1:] = (plain[:, 1:] != plain[:, :-1]).any(axis=0)
    changes[begins] = 0
    if not len(begins):
        return begins, lengths, np.zeros(0, dtype=bool)
    nulls = np.isnan(values[:, :end]).all(axis=0).astype(int)
    return begins, lengths, np.add.reduceat(changes + nulls, begins) == 0
