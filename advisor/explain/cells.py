"""Reading one task and hour out of arrays that may be shared by all tasks, members or hours."""

from __future__ import annotations

import numpy as np


def members_at(values: np.ndarray, task: int, hour: int) -> np.ndarray:
    """Members of one task and hour."""
    return values[task if values.shape[0] > 1 else 0, :, hour if values.shape[-1] > 1 else 0]


def number_at(values: np.ndarray, task: int, hour: int) -> float:
    return float(values[task if values.shape[0] > 1 else 0, hour])


def median(values: np.ndarray) -> float:
    """Median of the known members; infinite where a ledger knows no bound, NaN where nothing is known."""
    if len(values) == 1:
        return float(values[0])
    known = np.sort(values[~np.isnan(values)])
    if not len(known):
        return np.nan
    low, high = known[(len(known) - 1) // 2], known[len(known) // 2]
    return float(low if low == high else 0.5 * (low + high))


def medians(rows: np.ndarray) -> np.ndarray:
    """Median over members (member, hour), NaN where none is known."""
    ordered = np.sort(rows, axis=0)  # what is not known comes last
    count = (~np.isnan(rows)).sum(axis=0)
    low, high = (np.maximum(count - 1, 0) // 2)[None], np.minimum(count // 2, rows.shape[0] - 1)[None]
    both = np.take_along_axis(ordered, low, axis=0)[0], np.take_along_axis(ordered, high, axis=0)[0]
    middle = np.where(both[0] == both[1], both[0], 0.5 * (both[0] + both[1]))
    return np.where(count > 0, middle, np.nan)


def or_none(value) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)
