"""Hourly series by local calendar day: sums, means and extremes of the hours that are known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor.series import Series


@dataclass(frozen=True, eq=False)
class LocalDays:
    """Local calendar days of tasks.

    Attributes
    ----------
    index : ndarray of int (task, hour)
        Day of each hour, rising along the axis.
    days : ndarray of datetime64[D] (task, day)
    hours : ndarray of int (task, day)
        How many hours begin on each day that the axis touches, on the axis or not: 24, and 23 or 25 where clocks
        change.
    """

    index: np.ndarray
    days: np.ndarray
    hours: np.ndarray

    @property
    def count(self) -> int:
        return self.days.shape[1]

    @cached_property
    def _groups(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """Tasks whose days begin in the same hours: (rows, first hours of the days, these days)."""
        index = self.index
        rows = index[:1] if (index == index[0]).all() else np.unique(index, axis=0)
        groups = []
        for row in rows:
            starts = np.flatnonzero(np.r_[True, np.diff(row) > 0])
            same = np.arange(len(index)) if len(rows) == 1 else np.flatnonzero((index == row).all(axis=1))
            groups.append((same, starts, row[starts]))
        return groups

    def reduce(self, values: np.ndarray, ufunc: np.ufunc, empty: float) -> np.ndarray:
        """Reduce (task, member, hour) over the hours of each day: (task, member, day), `empty` where a day has none."""
        tasks = max(values.shape[0], len(self.index))
        if len(self._groups) == 1:
            _, starts, days = self._groups[0]
            out = np.full((*values.shape[:-1], self.count), empty, dtype=values.dtype)
            out[..., days] = ufunc.reduceat(values, starts, axis=-1)
            return np.broadcast_to(out, (tasks, *out.shape[1:]))
        values = np.broadcast_to(values, (tasks, *values.shape[1:]))
        out = np.full((*values.shape[:-1], self.count), empty, dtype=values.dtype)
        for rows, starts, days in self._groups:
            place = rows[:, None, None], np.arange(values.shape[1])[None, :, None], days[None, None, :]
            out[place] = ufunc.reduceat(values[rows], starts, axis=-1)
        return out

    @cached_property
    def held(self) -> np.ndarray:
        """How many hours of each day the axis holds (task, 1, day)."""
        return self.reduce(np.ones((len(self.index), 1, self.index.shape[1])), np.add, 0.0)

    def known(self, series: Series) -> np.ndarray:
        """How many hours of each day are known (task, member or 1, day)."""
        if not series.has_gaps:
            return self.held
        return self.reduce((~np.isnan(series.values)).astype(float), np.add, 0.0)

    def whole(self, series: Series) -> np.ndarray:
        """Whether every hour of each day is known (task, member or 1, day); a day that the axis only touches is not."""
        hours = self.hours[:, None, :]
        return (self.known(series) == hours) & (hours > 0)

    def total(self, series: Series) -> np.ndarray:
        """Sum of the known hours of each day (task, member, day)."""
        return self.reduce(_known_or(series, 0.0), np.add, 0.0)

    def mean(self, series: Series) -> np.ndarray:
        """Mean of the known hours of each day, 0 where none is."""
        total = self.total(series)
        return total / np.maximum(self.known(series), 1.0).astype(total.dtype)

    def highest(self, series: Series) -> np.ndarray:
        return self.reduce(_known_or(series, -np.inf), np.maximum, -np.inf)

    def lowest(self, series: Series) -> np.ndarray:
        return self.reduce(_known_or(series, np.inf), np.minimum, np.inf)


def _known_or(series: Series, stand_in: float) -> np.ndarray:
    """The values with something in the place of those that are not known."""
    values = series.values
    return np.where(np.isnan(values), values.dtype.type(stand_in), values) if series.has_gaps else values
