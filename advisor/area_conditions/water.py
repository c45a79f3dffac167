"""Water on the turf: what fell in the day before, what runs off in the day ahead; the soil's warmth of five days."""

from __future__ import annotations

import numpy as np

from advisor.series import Guarded, Series, Total
from advisor.soil.runoff import (
    adjust_curve_number,
    antecedent_curve_number,
    curve_number_runoff,
    initial_abstraction,
)
from advisor.votes import EVERYONE, Votes, row_bytes, windows

_DAY, _FIVE_DAYS = 24, 120


def recent_water(wetting: Total, drained: np.ndarray, before_start: Votes) -> Guarded:
    """[mm] of rain and irrigation in the 24 hours before each hour.

    Parameters
    ----------
    wetting : Total
        Of rain and irrigation.
    drained : ndarray of bool (task, 1, hour)
        Hours up to the day on which a person saw the soil moist or dry: they count as none where they lie before the
        data, since the soil was not waterlogged. What the source has lost of them is not known.
    before_start : Votes
        Hours before the source's data begin.
    """
    rain, watering = wetting.parts
    known = wetting.known | (Votes.of(drained) & (rain.known | before_start))
    # what lies before the axis is before the day of the first hour too
    early = row_bytes(drained[:, 0, 0])[None] & np.full((1, 1, 1, _DAY), EVERYONE)
    shape = np.broadcast_shapes(known.bits.shape[:-1], early.shape[:-1])
    longer = np.concatenate(
        [np.broadcast_to(part, (*shape, part.shape[-1])) for part in (early, known.bits)], axis=-1
    )
    whole = windows.over_offsets(Votes(longer, known.members), 0, _DAY, every=True)
    amount = wetting.sums(-_DAY, 0)
    unstated = np.isnan(watering.values[..., :1])
    if unstated.any():
        # only hours that count as none can be known then
        amount = np.where(unstated, amount.dtype.type(0.0), amount)
    return Guarded(amount, Votes(whole.bits[..., : known.hours], known.members))


def runoff_depth(wetting: Total, curve_number: np.ndarray) -> Guarded:
    """[mm] that would run off in the 24 hours from each hour, curve number with antecedent moisture (TR-55).

    The five days before decide the moisture; where they are not all known they count as wet.

    Parameters
    ----------
    curve_number : ndarray (task,)
    """
    ahead = wetting.sums(0, _DAY)
    known = windows.over_offsets(wetting.known, 0, _DAY, every=True)
    known = Votes(known.bits & row_bytes(~np.isnan(curve_number)), known.members)
    # In most hours less falls than soaks in even when the soil is wet: nothing runs off, and only the others count.
    least = np.asarray(initial_abstraction(adjust_curve_number(curve_number, "wet")))[:, None, None]
    some = ahead > least.astype(ahead.dtype)
    runoff = np.zeros(some.shape, dtype=ahead.dtype)
    rows = np.nonzero(some.any(axis=-1))
    if rows[0].size:
        here = np.broadcast_to(ahead, some.shape)[rows]
        runoff[rows] = _runoff(wetting, here, some[rows], rows, curve_number[rows[0]])
    return Guarded(runoff, known)


def _runoff(wetting: Total, ahead: np.ndarray, some: np.ndarray, rows, number: np.ndarray) -> np.ndarray:
    """Runoff (row, hour) of the rows (task, member) in some of whose hours there may be any."""
    water = wetting.of_members(*rows)
    series = Series(water)
    row, now = np.nonzero(some)
    before = np.maximum(now - _FIVE_DAYS, 0)
    unseen = now < _FIVE_DAYS
    if series.has_gaps:
        unseen |= series.unknown_before[row, now] > series.unknown_before[row, before]
    past = np.where(unseen, np.inf, series.sum_before[row, now] - series.sum_before[row, before])
    runoff = np.zeros_like(ahead)
    runoff[row, now] = curve_number_runoff(
        ahead[row, now].astype(float), antecedent_curve_number(number[row], np.minimum(past, 1e3))
    )
    return runoff


def soil_five_day_mean(layer: np.ndarray, measured: np.ndarray) -> np.ndarray:
    """[degC] mean of the soil at about 2 in over the five days before each hour (task, member, hour).

    The source's own layer where it knows all 120 hours; of a source that has none what the person measured. A gap in a
    layer is not filled so: a soil that is known to be too warm would be lost.

    Parameters
    ----------
    layer : ndarray (task or 1, member, hour)
    measured : ndarray (task, 1, hour)
        What the person measured, while it counts.
    """
    mean = np.full(np.broadcast_shapes(layer.shape, (len(measured), 1, 1)), np.nan)
    series = Series(layer)
    if layer.shape[-1] > _FIVE_DAYS:
        total, missing = series.sum_before, series.unknown_before
        window = (total[..., _FIVE_DAYS:-1] - total[..., : -_FIVE_DAYS - 1]) / _FIVE_DAYS
        gaps = missing[..., _FIVE_DAYS:-1] - missing[..., : -_FIVE_DAYS - 1]
        mean[..., _FIVE_DAYS:] = np.where(gaps > 0, np.nan, window)
    return np.where(np.isnan(layer).all(axis=-1, keepdims=True), measured, mean)
