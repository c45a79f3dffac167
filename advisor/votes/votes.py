"""Yes, no or not known for many members at once, a bit a member.

A limit is compared once an hour and member; after that everything that a rule asks (all hours of a span, all rules
together, how many members) is a matter of yes and no. Eight members share a byte, so that those steps cost an eighth of
what they would on boolean arrays, and counting members is counting bits.

A vote is kept as two bits, as in interval arithmetic: it *surely* holds, and it *perhaps* holds. Known and true is
(1, 1), known and false (0, 0), not known (0, 1); what cannot be said never gets the first bit. In these bits Kleene's
conjunction is AND and his disjunction OR.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from advisor.logic import Kleene

#: every member of a byte
EVERYONE = np.uint8(255)


class Votes:
    """Three-valued answers of (task, member, hour).

    Attributes
    ----------
    bits : ndarray of uint8 (1 or 2, task or 1, byte, hour or 1)
        Surely and perhaps; one row for both where everything is known. Member m is bit m // bytes of byte m % bytes;
        the bits left over mean nothing. What all members share has one byte, of zeros or of ones.
    members, hours : int
        1 member where all share the answer.
    """

    def __init__(self, bits: np.ndarray, members: int, hours: int | None = None):
        self.bits, self.members = bits, members
        self.hours = bits.shape[-1] if hours is None else hours

    @classmethod
    def of(cls, holds: np.ndarray, known: np.ndarray | None = None, hours: int | None = None) -> Votes:
        """From boolean arrays (task, member, hour); everything is known where `known` is not given."""
        surely = pack(holds)
        if known is None:
            return cls(surely[None], holds.shape[1], hours)
        known = np.broadcast_to(known, np.broadcast_shapes(known.shape, holds.shape))
        perhaps = ~pack(known > holds)
        return cls(np.stack(np.broadcast_arrays(surely, perhaps)), max(holds.shape[1], known.shape[1]), hours)

    @classmethod
    def of_kleene(cls, outcome: Kleene | Votes) -> Votes:
        return outcome if isinstance(outcome, Votes) else cls.of(outcome.holds, outcome.known)

    @classmethod
    def in_rows(cls, tasks: int, rows: list[np.ndarray], parts: list[Votes]) -> Votes:
        """The answers of all tasks from those of groups of tasks."""
        members, hours = max(part.members for part in parts), max(part.hours for part in parts)
        bits = np.empty(
            (2, tasks, *np.broadcast_shapes(*(part.bits.shape[2:] for part in parts))), dtype=np.uint8
        )
        for at, part in zip(rows, parts, strict=True):
            bits[:, at] = part.bits
        return cls(bits, members, hours)

    @property
    def surely(self) -> np.ndarray:
        """(task or 1, byte, hour or 1)"""
        return self.bits[0]

    @property
    def perhaps(self) -> np.ndarray:
        return self.bits[-1]

    def __and__(self, other: Votes) -> Votes:
        return self._with(self.bits & other.bits, other)

    def __or__(self, other: Votes) -> Votes:
        return self._with(self.bits | other.bits, other)

    def __invert__(self) -> Votes:
        return Votes(~self.bits[::-1], self.members, self.hours)

    def _with(self, bits: np.ndarray, other: Votes) -> Votes:
        if self.members != other.members and 1 not in (self.members, other.members):
            # their bytes might fit all the same, and one member's bit would stand for another's
            raise ValueError(f"answers of {self.members} members and of {other.members} do not go together")
        return Votes(bits, max(self.members, other.members), max(self.hours, other.hours))

    def only_known(self, known: np.ndarray) -> Votes:
        """The same where `known` says so (bytes that broadcast against the bits), not known elsewhere."""
        return self._of_both(self.surely & known, self.perhaps | ~known)

    def not_surely(self, where: np.ndarray) -> Votes:
        """The same, but never known to hold in some bytes."""
        return self._of_both(self.surely & ~where, self.perhaps)

    def not_surely_against(self, where: np.ndarray) -> Votes:
        """The same, but never known to fail in some bytes."""
        return self._of_both(self.surely, self.perhaps | where)

    def _of_both(self, surely: np.ndarray, perhaps: np.ndarray) -> Votes:
        return Votes(np.stack(np.broadcast_arrays(surely, perhaps)), self.members, self.hours)

    def following(self) -> Votes:
        """The next hour's answers; not known in the last hour."""
        bits = np.empty((2, *self.bits.shape[1:]), dtype=np.uint8)
        bits[..., :-1] = self.bits[..., 1:]
        bits[0, ..., -1], bits[1, ..., -1] = 0, EVERYONE
        return Votes(bits, self.members)

    def stated(self, hour: int, holds: bool) -> Votes:
        """The same, with one hour's answer known."""
        bits = np.array(np.broadcast_to(self.bits, (*self.bits.shape[:-1], self.hours)))
        bits[..., hour] = EVERYONE if holds else 0
        return Votes(bits, self.members)

    def rows(self, tasks: np.ndarray) -> Votes:
        """The answers of some tasks."""
        return self if self.bits.shape[1] == 1 else Votes(self.bits[:, tasks], self.members, self.hours)

    @property
    def decided(self) -> np.ndarray:
        """Bytes that are all ones in the bits of the members whose answer is known (task or 1, byte, hour or 1)."""
        return ~(self.surely ^ self.perhaps)

    def counts(self) -> tuple[np.ndarray, np.ndarray]:
        """How many members surely hold and how many perhaps do, each (task or 1, hour or 1)."""
        held = count_members(self.bits, self.members)
        return held[0], held[-1]

    # as boolean arrays ------------------------------------------------------------------------------------------

    @cached_property
    def holds(self) -> np.ndarray:
        """Boolean (task or 1, member or 1, hour)."""
        return self._unpacked(self.surely)

    @cached_property
    def fails(self) -> np.ndarray:
        return ~self._unpacked(self.perhaps)

    @cached_property
    def known(self) -> np.ndarray:
        return self.holds | self.fails

    @property
    def numbers(self) -> np.ndarray:
        """1 where it holds, 0 where it fails, NaN where that is not known."""
        return np.where(self.holds, 1.0, np.where(self.fails, 0.0, np.nan))

    def _unpacked(self, packed: np.ndarray) -> np.ndarray:
        out = unpack(packed, self.members)
        return np.broadcast_to(out, (*out.shape[:-1], self.hours))


def pack(yes: np.ndarray) -> np.ndarray:
    """Boolean (..., member, hour) as bytes (..., byte, hour); a single member fills its byte."""
    bits = yes.view(np.uint8)
    members = bits.shape[-2]
    if members == 1:
        return np.negative(bits)
    count = -(-members // 8)
    out = np.zeros((*bits.shape[:-2], count, bits.shape[-1]), dtype=np.uint8)
    for first in range((members - 1) // count * count, -1, -count):
        some = bits[..., first : first + count, :]
        np.add(out, out, out=out)
        part = out[..., : some.shape[-2], :]
        np.bitwise_or(part, some, out=part)
    return out


def unpack(packed: np.ndarray, members: int) -> np.ndarray:
    """The inverse of `pack`."""
    member = np.arange(members)
    count = packed.shape[-2]
    shift = (member // count).astype(np.uint8)[:, None]
    return ((packed[..., member % count, :] >> shift) & np.uint8(1)).view(bool)


def row_bytes(yes: np.ndarray) -> np.ndarray:
    """A boolean a task (task,) as bytes that broadcast against the bits."""
    return np.negative(yes.view(np.uint8))[:, None, None]


def pick_hours(bits: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Bits (..., task or 1, byte, n) at positions (task or 1, m): (..., task, byte, m)."""
    if at.shape[0] == 1 or (at == at[0]).all():
        return bits[..., at[0]]
    if bits.shape[-3] < at.shape[0]:
        bits = np.broadcast_to(bits, (*bits.shape[:-3], at.shape[0], *bits.shape[-2:]))
    return np.take_along_axis(bits, np.expand_dims(at, (*range(bits.ndim - 3), -2)), axis=-1)


def count_members(packed: np.ndarray, members: int) -> np.ndarray:
    """How many members' bits are set (..., byte, hour) -> (..., hour)."""
    used = _used(members, packed.shape[-2])
    ones = np.bitwise_count(packed if used is None else packed & used)
    return np.add.reduce(ones, axis=-2, dtype=np.uint8 if members < 256 else np.int64)


def any_member(packed: np.ndarray, members: int) -> np.ndarray:
    """Whether any member's bit is set (..., byte, hour) -> (..., hour)."""
    used = _used(members, packed.shape[-2])
    return np.bitwise_or.reduce(packed if used is None else packed & used, axis=-2) != 0


def _used(members: int, count: int) -> np.ndarray | None:
    """The bits (byte, 1) that stand for members, None where all do."""
    if members == 8 * count:
        return None
    return pack(np.ones((max(members, 2), 1), dtype=bool)) if members > 1 else np.ones((1, 1), dtype=np.uint8)
