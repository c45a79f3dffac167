"""Hourly series as rules see them: what several rules need of one is worked out once.

A series answers in two ways. `values` are the numbers that a person is shown. `against` compares every hour with a
limit, and its answers are bits (`advisor.votes`), from which all that is counted follows. Series that change only with
the day, or not at all, or that say only yes or no, compare what they have and make their numbers only when somebody
looks.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor.logic import inclusive_edge
from advisor.votes import EVERYONE, Votes, pack, pick_hours, row_bytes


@dataclass(frozen=True, eq=False)
class Series:
    """An hourly series.

    Attributes
    ----------
    values : ndarray (..., hour)
    instant : bool
        Instants bound their hour on both sides; other values belong to the whole hour.
    block_first, block_last : ndarray (..., hour), optional
        A block that lies only partly in a span counts whole in a sum.
    parts : tuple of Series
        What `values` is the sum of, see `Total`.
    """

    values: np.ndarray
    instant: bool = False
    block_first: np.ndarray | None = None
    block_last: np.ndarray | None = None
    parts: tuple[Series, ...] = ()

    @cached_property
    def has_gaps(self) -> bool:
        return bool(np.isnan(self.values).any())

    @property
    def in_blocks(self) -> bool:
        return self.block_first is not None or any(part.in_blocks for part in self.parts)

    # against a limit --------------------------------------------------------------------------------------------

    def against(self, limit: np.ndarray, lower: bool) -> Votes:
        """Hour by hour, whether the values keep a limit (task,); only of series (task, member, hour)."""
        return _compared(self.values, limit, lower, self.known)

    @cached_property
    def known(self) -> Votes:
        """Which hours are known, a yes or a no of each."""
        if not self.has_gaps:
            return Votes(np.full((1, 1, 1, self.values.shape[-1]), EVERYONE), 1)
        return Votes.of(~np.isnan(self.values))

    def rows(self, tasks: np.ndarray) -> Series:
        """The series of some tasks, made once."""
        key = tasks.tobytes()
        if key not in self._rows:
            self._rows[key] = self._of_rows(tasks)
        return self._rows[key]

    def _of_rows(self, tasks: np.ndarray) -> Series:
        def pick(values):
            return values if values is None or values.shape[0] == 1 else values[tasks]

        return Series(pick(self.values), self.instant, pick(self.block_first), pick(self.block_last))

    @cached_property
    def _rows(self) -> dict[bytes, Series]:
        return {}

    # sums -------------------------------------------------------------------------------------------------------

    def sums(self, first: int, stop: int) -> np.ndarray:
        """Sum of what is known of s + first .. s + stop - 1 for every start s, in the type of the values.

        Sums of 1, 2, 4, 8 and more hours are made once by doubling, and a span is put together from them: few passes,
        and no error but that of some ten additions, where differences of long sums would leave their rounding.
        """
        if self.parts:
            out, *others = (part.sums(first, stop) for part in self.parts)
            for other in others:
                if other.any():
                    out = out + other.astype(out.dtype, copy=False)
            return out
        hours = self.values.shape[-1]
        if first < 0:
            return self._sums_from_before(first, stop)
        out = np.zeros_like(self.values)
        offset = first
        for power in range((stop - first).bit_length()):
            if (stop - first) >> power & 1 and offset < hours:
                inside = out[..., : hours - offset]
                np.add(inside, self._sum_of(power)[..., offset:], out=inside)
                offset += 1 << power
        return out

    def _sums_from_before(self, first: int, stop: int) -> np.ndarray:
        """Spans that begin before the start: those that begin as many hours later, and what there is of the others."""
        hours, out = self.values.shape[-1], np.zeros_like(self.values)
        cut = max(min(-first, hours), 0)
        out[..., cut:] = self.sums(0, stop - first)[..., : hours - cut]
        reach = min(max(cut + stop - 1, 0), hours)
        known = np.cumsum(self._doubled[0][..., :reach], axis=-1, dtype=out.dtype)
        ends = np.minimum(np.arange(cut) + stop, reach)
        some = ends > 0
        out[..., :cut][..., some] = known[..., ends[some] - 1]
        return out

    @cached_property
    def _doubled(self) -> list[np.ndarray]:
        return [np.nan_to_num(self.values) if self.has_gaps else self.values]

    def _sum_of(self, power: int) -> np.ndarray:
        """Sums of 2^power hours from each; at the end of the axis, of those that are left."""
        while len(self._doubled) <= power:
            half, step = self._doubled[-1], 1 << (len(self._doubled) - 1)
            whole = half
            if step < half.shape[-1]:
                whole = np.empty_like(half)
                np.add(half[..., :-step], half[..., step:], out=whole[..., :-step])
                whole[..., -step:] = half[..., -step:]
            self._doubled.append(whole)
        return self._doubled[power]

    @cached_property
    def unknown_before(self) -> np.ndarray:
        """How many of the hours before each are unknown (..., hour + 1)."""
        total = np.zeros((*self.values.shape[:-1], self.values.shape[-1] + 1), dtype=np.int32)
        np.cumsum(np.isnan(self.values), axis=-1, out=total[..., 1:])
        return total

    @cached_property
    def sum_before(self) -> np.ndarray:
        """Sum of the known hours before each (..., hour + 1), in float64: differences of it stay exact enough."""
        total = np.zeros((*self.values.shape[:-1], self.values.shape[-1] + 1), dtype=np.float64)
        np.cumsum(np.nan_to_num(self.values) if self.has_gaps else self.values, axis=-1, out=total[..., 1:])
        return total

    @cached_property
    def hourly_means(self) -> Series:
        """The mean of both ends of each hour."""
        means = np.full_like(self.values, np.nan)
        means[..., :-1] = 0.5 * (self.values[..., :-1] + self.values[..., 1:])
        return Series(means)


class Total(Series):
    """The sum of other series; each is summed over a span by its own blocks, and counts where another is unknown."""

    def __init__(self, *parts: Series):
        object.__setattr__(self, "parts", parts)

    @cached_property
    def values(self) -> np.ndarray:
        return self.of_members(...)

    def of_members(self, *rows) -> np.ndarray:
        """The numbers of some tasks and members (row, hour)."""
        shape = np.broadcast_shapes(*(part.values.shape for part in self.parts))
        return sum(np.broadcast_to(part.values, shape)[rows] for part in self.parts)

    @cached_property
    def has_gaps(self) -> bool:
        return any(part.has_gaps for part in self.parts)

    @cached_property
    def known(self) -> Votes:
        first, *others = (part.known for part in self.parts)
        for other in others:
            first = first & other
        return first

    def _of_rows(self, tasks: np.ndarray) -> Series:
        return Total(*(part.rows(tasks) for part in self.parts))


class Guarded(Series):
    """Numbers (task, member, hour) that count only where votes say that they are known."""

    def __init__(self, numbers: np.ndarray, known: Votes):
        object.__setattr__(self, "numbers", numbers)
        self.__dict__["known"] = known

    @cached_property
    def values(self) -> np.ndarray:
        return np.where(self.known.holds, self.numbers, self.numbers.dtype.type(np.nan))

    def against(self, limit: np.ndarray, lower: bool) -> Votes:
        return _compared(self.numbers, limit, lower, self.known)

    def _of_rows(self, tasks: np.ndarray) -> Series:
        numbers = self.numbers if self.numbers.shape[0] == 1 else self.numbers[tasks]
        return Guarded(numbers, self.known.rows(tasks))


class Constant(Series):
    """Numbers that do not change with the hour, (task, member, 1)."""

    def __init__(self, numbers: np.ndarray, hours: int):
        super().__init__(np.broadcast_to(numbers, (*numbers.shape[:-1], hours)))

    def against(self, limit: np.ndarray, lower: bool) -> Votes:
        numbers = Series(self.values[..., :1])
        votes = numbers.against(limit, lower)
        return Votes(votes.bits, votes.members, self.values.shape[-1])


class Daily(Series):
    """Numbers that change only with the day: `by_day` (task, member, day), `day_of` each hour (task or 1, hour)."""

    def __init__(self, by_day: np.ndarray, day_of: np.ndarray):
        object.__setattr__(self, "by_day", by_day)
        object.__setattr__(self, "day_of", day_of)
        object.__setattr__(self, "instant", False)

    @cached_property
    def values(self) -> np.ndarray:
        at = np.broadcast_to(self.day_of[:, None, :], (*self.by_day.shape[:-1], self.day_of.shape[-1]))
        return np.take_along_axis(self.by_day, at, axis=-1)

    def against(self, limit: np.ndarray, lower: bool) -> Votes:
        votes = Series(self.by_day).against(limit, lower)
        return Votes(pick_hours(votes.bits, self.day_of), votes.members)

    def _of_rows(self, tasks: np.ndarray) -> Series:
        return Daily(*(part if part.shape[0] == 1 else part[tasks] for part in (self.by_day, self.day_of)))


class YesNo(Series):
    """Answers as numbers: 1 for yes, 0 for no, NaN where that is not known."""

    def __init__(self, votes: Votes, instant: bool = False):
        object.__setattr__(self, "votes", votes)
        object.__setattr__(self, "instant", instant)

    @cached_property
    def values(self) -> np.ndarray:
        return self.votes.numbers

    def _of_rows(self, tasks: np.ndarray) -> Series:
        return YesNo(self.votes.rows(tasks), self.instant)

    def against(self, limit: np.ndarray, lower: bool) -> Votes:
        edge = inclusive_edge(np.asarray(limit, dtype=float), lower, np.dtype(float))
        with np.errstate(invalid="ignore"):
            no, yes = ((number >= edge) if lower else (number <= edge) for number in (0.0, 1.0))
        stated = ~np.isnan(edge)
        if not no.any() and yes.all():
            return self.votes
        if no.all() and not yes.any() and stated.all():
            return ~self.votes
        surely, surely_not = self.votes.surely, ~self.votes.perhaps
        kept = (surely & row_bytes(yes)) | (surely_not & row_bytes(no))
        failed = (surely & row_bytes(stated & ~yes)) | (surely_not & row_bytes(stated & ~no))
        return Votes(np.stack(np.broadcast_arrays(kept, ~failed)), self.votes.members)


def _compared(values: np.ndarray, limit: np.ndarray, lower: bool, known: Votes) -> Votes:
    limit = np.asarray(limit, dtype=float)[:, None, None]
    edge = inclusive_edge(limit, lower, values.dtype)
    with np.errstate(invalid="ignore"):
        kept = (values >= edge) if lower else (values <= edge)
    votes = Votes(pack(kept)[None], values.shape[1])
    if known.members > 1 or not known.surely.all():
        votes = votes.only_known(known.surely)
    stated = ~np.isnan(limit[:, 0, 0])
    return votes if stated.all() else votes.only_known(row_bytes(stated))
