"""Three-valued comparison: the only place where a value meets a limit.

NaN compares False, so an unguarded limit would turn missing weather into a yes. Every comparison in the program
goes through here and returns two boolean arrays: `holds` and `known`. `holds` is never true where `known` is false.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

#: Limits are inclusive. The slack lets a value that equals the limit in another unit or in float32 still be equal.
SLACK = 1e-5


class Kleene(NamedTuple):
    """True where `holds`, false where known and not holding, unknown elsewhere."""

    holds: np.ndarray
    known: np.ndarray

    @property
    def fails(self) -> np.ndarray:
        return np.greater(self.known, self.holds)


def within(value, at_least=None, at_most=None) -> Kleene:
    """Whether `value` lies inside inclusive limits; unknown where it or a limit is NaN.

    Parameters
    ----------
    value : array_like
    at_least, at_most : array_like, optional
        A missing limit does not limit. NaN is a limit that is not known.
    """
    value = np.asarray(value)
    known = ~np.isnan(value) if value.dtype.kind == "f" else np.ones(value.shape, dtype=bool)
    holds = known
    for limit, lower in ((at_least, True), (at_most, False)):
        if limit is None:
            continue
        limit = np.asarray(limit, dtype=float)
        edge = inclusive_edge(limit, lower, value.dtype)
        with np.errstate(invalid="ignore"):
            holds = holds & ((value >= edge) if lower else (value <= edge))
        unknown = np.isnan(limit)
        if unknown.any():
            known = known & ~unknown
    return Kleene(holds & known, known)


def inclusive_edge(limit: np.ndarray, lower: bool, kind: np.dtype) -> np.ndarray:
    """Where a lower or an upper limit ends, its slack included; NaN for a limit that is not known.

    For float32 values the edge is float32 too, so that they compare as they do with the float64 edge, without a copy.
    """
    sign = 1.0 if lower else -1.0
    with np.errstate(invalid="ignore"):
        edge = limit - sign * SLACK * np.maximum(1.0, np.abs(limit))
        if kind != np.float32:
            return edge
        near = edge.astype(np.float32)
        beyond = near < edge if lower else near > edge
        return np.where(beyond, np.nextafter(near, np.float32(sign * np.inf)), near)


def all_of(*parts: Kleene) -> Kleene:
    """Kleene conjunction: a known false wins over unknown."""
    holds, fails = parts[0].holds, parts[0].fails
    for part in parts[1:]:
        holds, fails = holds & part.holds, fails | part.fails
    return Kleene(holds, holds | fails)


def any_of(*parts: Kleene) -> Kleene:
    """Kleene disjunction: a known true wins over unknown."""
    holds, fails = parts[0].holds, parts[0].fails
    for part in parts[1:]:
        holds, fails = holds | part.holds, fails & part.fails
    return Kleene(holds, holds | fails)
