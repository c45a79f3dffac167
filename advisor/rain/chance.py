"""Chance that a span stays dry, from probabilities of whole blocks of hours or from members."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from advisor.floats import as_floats
from advisor.variables import MEASURABLE_RAIN_MM

__all__ = [
    "LONGEST_BLOCK",
    "MEASURABLE",
    "DryChance",
    "MemberChance",
    "chance_dry_from_members",
    "chance_dry_over_span",
    "chance_of_any",
    "frechet_bounds",
    "is_measurable",
]

#: Least rain that counts as rain: 0.01 in, the least that a US gauge reports and that a probability of rain
#: means [mm].
MEASURABLE = MEASURABLE_RAIN_MM
#: A probability that is held for longer than this stands for several periods of this length [h].
LONGEST_BLOCK = 12.0


class DryChance(NamedTuple):
    """Chance that a span stays dry, each of shape (...).

    Parameters
    ----------
    lower : numpy.ndarray or float
        Whatever the dependence, at least this [0 to 1].
    independent : numpy.ndarray or float
        If the blocks knew nothing of each other [0 to 1].
    upper : numpy.ndarray or float
        Whatever the dependence, at most this [0 to 1].
    """

    lower: np.ndarray
    independent: np.ndarray
    upper: np.ndarray


class MemberChance(NamedTuple):
    """Chance counted over members, each of shape (...).

    Parameters
    ----------
    lower : numpy.ndarray or float
        Members known to hold, over the nominal count [0 to 1].
    upper : numpy.ndarray or float
        One less the members known not to hold, over the nominal count [0 to 1].
    """

    lower: np.ndarray
    upper: np.ndarray


def _probabilities(values) -> np.ndarray:
    p = as_floats(values)
    # Percent given for a fraction would pass for certainty: nothing outside 0 to 1 is a probability.
    return np.where((p >= 0) & (p <= 1), p, np.nan).astype(p.dtype)


def is_measurable(rain_mm):
    """Whether an amount counts as rain: 0.01 in or more (AMS Glossary, probability of precipitation).

    Parameters
    ----------
    rain_mm : array_like
        Rain [mm].

    Returns
    -------
    numpy.ndarray or float
        1.0 where 0.254 mm or more, 0.0 where less, NaN where missing or negative.

    References
    ----------
    American Meteorological Society, Glossary of Meteorology, "probability of precipitation".
    """
    rain = as_floats(rain_mm)
    # The slack lets 0.01 in count after a round trip through float32.
    counts = np.where(rain >= MEASURABLE * (1 - 1e-6), 1.0, 0.0)
    return np.where(rain >= 0, counts, np.nan).astype(rain.dtype)[()]


def chance_of_any(p, axis=-1):
    """Chance of rain in at least one block if the blocks were independent, 1 - prod(1 - p).

    Parameters
    ----------
    p : array_like
        Chances of the single blocks [0 to 1].
    axis : int or tuple of int
        Axis of the blocks.

    Returns
    -------
    numpy.ndarray or float
        Chance [0 to 1]; NaN where any chance is missing or outside 0 to 1.

    Notes
    -----
    Rain clusters, so the true chance is normally lower; for certain it lies within :func:`frechet_bounds`.
    """
    p = _probabilities(p)
    return (1 - np.prod(1 - p, axis=axis))[()]


def frechet_bounds(p, axis=-1):
    """Bounds of the chance of rain in at least one block, Frechet: max(p) to min(1, sum(p)).

    Parameters
    ----------
    p : array_like
        Chances of the single blocks [0 to 1].
    axis : int or tuple of int
        Axis of the blocks.

    Returns
    -------
    lower, upper : numpy.ndarray or float
        Bounds that hold whatever the dependence [0 to 1]; NaN where any chance is missing or outside 0 to 1.

    References
    ----------
    Frechet M (1935), quoted in any text on probability (from memory). For consecutive precipitation
    periods: Wilks DS (1990) On the combination of forecast probabilities for consecutive precipitation
    periods. Wea. Forecasting 5:640-650.
    """
    p = _probabilities(p)
    if p.size == 0:
        raise ValueError("Bounds over no blocks at all mean nothing: give at least one probability.")
    return np.max(p, axis=axis)[()], np.minimum(np.sum(p, axis=axis), 1)[()]


def chance_dry_over_span(
    probability, block_length, span_start=0.0, span_end=None, block_start=None, split_at=LONGEST_BLOCK
) -> DryChance:
    """Chance that a span stays dry, from blocks that each keep their own length; Frechet and independent.

    Parameters
    ----------
    probability : array_like, shape (..., block)
        Chance of rain in the whole block, one value a block and never one an hour [0 to 1].
    block_length : array_like, shape (..., block) or (block,) or scalar
        Length that the probability was issued for [h].
    span_start, span_end : array_like, shape (...) or scalar
        The span, on the clock of ``block_start`` [h]. Without an end it ends with the last block.
    block_start : array_like, optional, shape as block_length
        When each block begins [h]; without it the blocks follow one another from 0.
    split_at : float
        A block longer than this counts as several of this length, each with the block's probability [h].

    Returns
    -------
    DryChance
        Lower bound, independent value and upper bound [0 to 1]; NaN where a block inside the span is
        missing or where blocks do not cover the span.

    Notes
    -----
    A block that is only partly in the span counts whole: how much of its chance falls in the span is not
    known. For a probability that a provider repeats in every hour of its block, give each block once.

    References
    ----------
    See :func:`frechet_bounds`. The split at 12 h: 12 h is the customary period of a US probability of rain.
    """
    p = _probabilities(probability)
    if p.ndim == 0 or p.shape[-1] == 0:
        raise ValueError("A chance over a span needs a block axis with at least one block.")
    length, begin_span = as_floats(block_length, span_start)
    length = np.broadcast_to(length, np.broadcast_shapes(length.shape, p.shape[-1:]))
    if block_start is None:
        begin = np.cumsum(length, axis=-1) - length
    else:
        begin = np.broadcast_to(as_floats(block_start), length.shape)
    end = begin + length
    end_span = end[..., -1] if span_end is None else as_floats(span_end)
    first, last = begin_span[..., None], end_span[..., None]

    inside_start, inside_end = np.maximum(begin, first), np.minimum(end, last)
    touches = inside_end > inside_start
    long = np.where(length > split_at, split_at, length)
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = np.ceil((inside_end - begin) / long - 1e-9) - np.floor((inside_start - begin) / long + 1e-9)
        inner = np.floor((inside_end - begin) / long + 1e-9) - np.ceil((inside_start - begin) / long - 1e-9)
    parts = np.where(touches, np.maximum(parts, 1), 0)

    # Missing hours never count as dry: the blocks must cover the span without a hole.
    covered = np.sum(np.where(touches, inside_end - inside_start, 0), axis=-1)
    whole = np.isfinite(covered) & (covered >= (end_span - begin_span) * (1 - 1e-9)) & (end_span > begin_span)
    whole &= np.all(length > 0, axis=-1)

    counted = np.where(touches, p, 0)
    # Rain in a block that is only partly inside may fall outside: it bounds nothing from above.
    worst = np.max(np.where(touches & ((inner >= 1) | np.isnan(p)), p, 0), axis=-1)
    total = np.minimum(np.sum(counted * parts, axis=-1), 1)
    none = np.prod(np.where(touches, (1 - counted) ** parts, 1), axis=-1)
    shaped = [np.where(whole, item, np.nan).astype(p.dtype) for item in (1 - total, none, 1 - worst)]
    return DryChance(*(item[()] for item in shaped))


def chance_dry_from_members(rain_mm, nominal_members: int, axes=(-2, -1)) -> MemberChance:
    """Chance that a span stays dry, counted over members: those below 0.254 mm in all.

    Parameters
    ----------
    rain_mm : array_like, shape (..., member, hour)
        Rain of each hour of the span [mm].
    nominal_members : int
        Members that the source has at this lead, whatever arrived.
    axes : tuple of int
        The member axis and the hour axis.

    Returns
    -------
    MemberChance
        Lower and upper chance of staying dry [0 to 1].

    Notes
    -----
    A member that is known to have 0.254 mm in some hours is wet even if others of its hours are missing; a
    member is dry only when all its hours are known. What is missing therefore widens the pair and never
    counts as dry.
    """
    if nominal_members < 1:
        raise ValueError(f"nominal_members must be at least 1, not {nominal_members!r}.")
    rain = as_floats(rain_mm)
    rain = np.moveaxis(rain, axes, (-2, -1))
    if rain.shape[-2] > nominal_members:
        raise ValueError(
            f"{rain.shape[-2]} members arrived but the source has {nominal_members}: "
            "give the count of the model table."
        )
    missing = ~(rain >= 0)
    total = np.where(missing, 0, rain).sum(axis=-1)
    wet = np.asarray(is_measurable(total)) == 1
    dry = ~wet & ~missing.any(axis=-1) & (rain.shape[-1] > 0)
    lower = dry.sum(axis=-1) / nominal_members
    upper = 1 - wet.sum(axis=-1) / nominal_members
    return MemberChance(lower.astype(rain.dtype)[()], upper.astype(rain.dtype)[()])
