"""What the site's own climate would have said: the other days of the kept history, without the day in question."""

from __future__ import annotations

import numpy as np

from advisor.score.walk import rained
from advisor.spread.pairs import Pairs


def crps_climate(pairs: Pairs) -> np.ndarray:
    """CRPS of the other days' observations at the same hour of the day, as an ensemble (pair,).

    NaN where there is no other day.

    Notes
    -----
    Knows the days after as well as those before, so that it is a harder rival than any that could be had in time.

    References
    ----------
    Gneiting T, Raftery AE (2007) J. Am. Stat. Assoc. 102:359-378, eq. 21, with the day itself left out.
    """
    out = np.full(len(pairs), np.nan)
    known = ~np.isnan(pairs.observed)
    hour = pairs.valid.astype(int) % 24
    group = pairs.place * 24 + hour
    for one in np.unique(group[known]):
        rows = np.flatnonzero(known & (group == one))
        days, first, which = np.unique(pairs.day[rows], return_index=True, return_inverse=True)
        if len(days) < 2:
            continue
        values = pairs.observed[rows][first]
        others = len(days) - 1
        apart = np.abs(values[:, None] - values[None, :]).sum(axis=1)
        within = (apart.sum() - 2.0 * apart) / (2.0 * others**2)
        out[rows] = (apart / others - within)[which]
    return out


def rain_climate(pairs: Pairs) -> np.ndarray:
    """How often it rained in the same period of the other days (pair,); NaN where there is no other day."""
    happened = rained(pairs)
    known = ~np.isnan(happened)
    hour = pairs.valid.astype(int) % 24
    groups = (pairs.place * 24 + hour).astype(np.int64)
    period = groups * 10_000_000 + pairs.valid.astype(int) // 24
    names, first, which = np.unique(period, return_index=True, return_inverse=True)
    # each period once, however many forecasts there are of it
    counts = np.bincount(which, weights=known) > 0
    wet = np.bincount(which, weights=np.where(known, happened, 0.0)) > 0
    group = groups[first]
    size = int(group.max(initial=0)) + 1
    all_counts = np.bincount(group, weights=counts, minlength=size)
    all_wet = np.bincount(group, weights=wet, minlength=size)
    others = all_counts[groups] - counts[which]
    share = (all_wet[groups] - wet[which]) / np.maximum(others, 1.0)
    return np.where((others > 0) & known, share, np.nan)
