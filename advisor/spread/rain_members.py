"""Rain of assumed members, from the source's chance and amount together, by blocks of the source's own length."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from advisor.forecast import Field, Reason
from advisor.rain.chance import LONGEST_BLOCK
from advisor.spread.stated import AMOUNT_COUNTS, CHANCE_NEAR_ZERO, chance_from_amount
from advisor.variables import MEASURABLE_RAIN_MM


def rain_units(
    precipitation: Field, probability: Field | None, hours: int, longest: float = LONGEST_BLOCK
) -> tuple[np.ndarray, np.ndarray]:
    """The blocks in which rain falls or does not, as first and last hour (site, 1, hour), int.

    A block of the stated chance where there is one, split at 12 h; else a block of the amount.
    """
    own = np.arange(hours)[None, None, :]

    def bounds(one: Field | None) -> tuple[np.ndarray, np.ndarray]:
        if one is None or one.block_first is None:
            return own, own
        return one.block_first.astype(int), one.block_last.astype(int)

    first, last = bounds(precipitation)
    if probability is not None:
        stated = ~np.isnan(probability.values[:, :1])
        chance_first, chance_last = bounds(probability)
        first = np.where(stated, chance_first, first)
        last = np.where(stated, chance_last, last)
    length = int(longest)
    part = (own - first) // length
    begins = first + part * length
    return begins, np.minimum(begins + length - 1, last)


def rain_members(
    precipitation: Field, probability: Field | None, latent: np.ndarray, coming: np.ndarray, lead: np.ndarray
) -> Field:
    """Members of the rain: a latent value decides wet or dry, and how much.

    Parameters
    ----------
    precipitation : Field
        [mm] an hour, (site, 1, hour).
    probability : Field, optional
        [%]
    latent : ndarray (site, member, hour)
        Uniform over members at each hour, dependent from hour to hour.
    coming : ndarray of bool (hour,)
        Hours that have not happened yet; the others stay as they are.
    lead : ndarray (hour,)
        [h]

    Returns
    -------
    Field
        (site, member, hour), NaN in every member where the amount is not known, or the chance of a source that states
        chances. Its blocks span the block of the amount and the block of the chance, since the hour of the rain within
        either is not known.

    Notes
    -----
    =================  =====================================================================================
    wet                where the latent value exceeds 1 - p
    amount             0.254 mm, what a stated chance means at least, and above it exponential (the gamma
                       distribution of shape 1) so that the mean is max(mu/p, 0.254 mm)
    p not carried      `chance_from_amount`
    p lost             not known: to put an assumed chance in its place would make a gain of the loss
    p near 0, mu > 0   the same, where it is larger
    =================  =====================================================================================
    """
    hours = latent.shape[-1]
    first, last = rain_units(precipitation, probability, hours)
    amount = precipitation.values
    shape = (max(amount.shape[0], first.shape[0]), 1, hours)
    first, last = np.broadcast_to(first, shape), np.broadcast_to(last, shape)
    length = (last - first + 1).astype(float)
    low, high = np.clip(first, 0, hours - 1), np.clip(last, 0, hours - 1)
    total, known_hours = _sums(np.broadcast_to(amount, shape), low, high)
    mu = total * length / np.maximum(known_hours, 1)
    middle = np.clip((first + last) // 2, 0, hours - 1)

    stated = np.nan if probability is None else np.broadcast_to(probability.values[:, :1], shape) / 100.0
    chance = stated_or_assumed_chance(stated, mu, length, lead[middle])

    at = np.broadcast_to(middle, (shape[0], latent.shape[1], hours))
    position = np.take_along_axis(np.broadcast_to(latent, at.shape), at, axis=-1)
    block_amount = block_amounts(position, chance, mu)
    # over the block's hours as the source spreads it, evenly where it forecasts none
    share = np.where(mu > 0.0, amount / np.where(mu > 0.0, mu, 1.0), 1.0 / length)
    values = np.where(coming, block_amount * share, amount)
    lost = np.zeros(hours, dtype=bool)
    if probability is not None:
        lost = np.isnan(probability.values[:, :1]) & coming
    values = np.where(np.isnan(amount) | lost, np.nan, values).astype(latent.dtype)
    reason = precipitation.reason
    if lost.any():
        reason = np.where(lost & (reason == Reason.KNOWN), probability.reason, reason).astype(np.uint8)
    return replace(precipitation, values=values, reason=reason, **_blocks(precipitation, first, last, coming))


def stated_or_assumed_chance(stated, mu, block_hours, lead_hours) -> np.ndarray:
    """The chance that counts [0 to 1]: the stated one, unless it is missing or contradicts the amount."""
    chance = chance_from_amount(mu, block_hours, lead_hours)
    contradicts = (stated < CHANCE_NEAR_ZERO) & (mu >= AMOUNT_COUNTS)
    chance = np.where(np.isnan(stated), chance, np.where(contradicts, np.maximum(stated, chance), stated))
    return np.clip(chance, 0.0, 1.0)


def block_amounts(position, chance, mu) -> np.ndarray:
    """Rain of a block [mm] by the member's position among the members, see `rain_members`.

    Parameters
    ----------
    position : array_like
        Between 0 and 1, the wettest member highest.
    chance : array_like
        Of measurable rain [0 to 1].
    mu : array_like
        Forecast amount [mm].
    """
    some = np.maximum(chance, 1e-6)
    wet = position > 1.0 - chance
    excess = np.maximum(mu / some, MEASURABLE_RAIN_MM) - MEASURABLE_RAIN_MM
    within = np.where(wet, (1.0 - position) / some, 1.0)
    return np.where(wet, MEASURABLE_RAIN_MM - excess * np.log(within), 0.0)


def _sums(amount: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Sum of the known hours of each hour's block, and how many they are; NaN and 0 where none is."""
    known = ~np.isnan(amount)
    ends = np.minimum(high + 1, amount.shape[-1])

    def over(values: np.ndarray) -> np.ndarray:
        running = np.concatenate([np.zeros((*values.shape[:-1], 1)), np.cumsum(values, axis=-1)], axis=-1)
        return np.take_along_axis(running, ends, -1) - np.take_along_axis(running, low, -1)

    count = over(known.astype(float))
    total = over(np.where(known, amount, 0.0))
    # cumulative sums leave rounding of the order of 1e-13 mm
    return np.where(count > 0, np.where(total < 1e-9, 0.0, total), np.nan), count


def _blocks(
    precipitation: Field, first: np.ndarray, last: np.ndarray, coming: np.ndarray
) -> dict[str, np.ndarray]:
    """Block bounds that hold both the amount's block and the chance's; an hour that has happened keeps its own."""
    hours = np.arange(first.shape[-1])
    own_first = hours if precipitation.block_first is None else precipitation.block_first
    own_last = hours if precipitation.block_last is None else precipitation.block_last
    merged_first = np.where(coming, np.minimum(own_first, first), own_first)
    merged_last = np.where(coming, np.maximum(own_last, last), own_last)
    if (merged_first == hours).all() and (merged_last == hours).all():
        return {"block_first": None, "block_last": None}
    return {"block_first": merged_first.astype(np.int32), "block_last": merged_last.astype(np.int32)}


def without_chance(fields: dict[str, Field]) -> None:
    """Take the stated chance away where members carry it, so that it does not count twice."""
    if "precipitation_probability" in fields and "precipitation" in fields:
        del fields["precipitation_probability"]
