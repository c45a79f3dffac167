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

#: hours before each that count as recent
HOURS_BACK = 24
_DAY, _FIVE_DAYS = 24, 120


def recent_water(
    wetting: Total, drained: np.ndarray, vouched: np.ndarray | float = -np.inf, begun: np.ndarray | bool = True
) -> Guarded:
    """[mm] of rain and irrigation in the 24 hours before each hour.

    What came before a person saw the soil moist or dry counts as none, known or not: it was not waterlogged. Of a
    source that never has a past, rain of the day of the look counts as none where nothing is known of it: it cannot be
    lost.

    Parameters
    ----------
    wetting : Total
        Of rain and irrigation.
    drained : ndarray (task, 1, 1)
        When that was [h from the first hour]; -inf where nobody saw it.
    vouched : ndarray (task, 1, 1), optional
        The end of that day, or of the hours of which the source never says anything [h from the first hour].
    begun : ndarray of bool (task or 1, 1, hour), optional
        Hours from the first one on that the source says something of.
    """
    if (drained >= 1.0).any():
        wetting = Total(*(_from_then_on(part, drained) for part in wetting.parts))
    if np.any(vouched >= 1.0):
        rain, watering = wetting.parts
        silent = np.isnan(rain.values) & ~begun & (np.arange(rain.values.shape[-1]) + 1 <= vouched)
        wetting = Total(_none_in(rain, silent), watering)
    known = wetting.known
    # what lies before the axis
    early = row_bytes(np.maximum(drained, vouched)[:, 0, 0] >= 0.0)[None] & np.full((1, 1, 1, HOURS_BACK), EVERYONE)
    shape = np.broadcast_shapes(known.bits.shape[:-1], early.shape[:-1])
    longer = np.concatenate(
        [np.broadcast_to(part, (*shape, part.shape[-1])) for part in (early, known.bits)], axis=-1
    )
    whole = windows.over_offsets(Votes(longer, known.members), 0, HOURS_BACK, every=True)
    return Guarded(wetting.sums(-HOURS_BACK, 0), Votes(whole.bits[..., : known.hours], known.members))


def _from_then_on(water: Series, moment: np.ndarray) -> Series:
    """The series with none in the hours, or the blocks of hours, that were over at a moment (task, 1, 1)."""
    last = np.arange(water.values.shape[-1]) if water.block_last is None else water.block_last
    return _none_in(water, last + 1 <= moment)


def _none_in(water: Series, hours: np.ndarray) -> Series:
    values = np.where(hours, water.values.dtype.type(0.0), water.values)
    return Series(values, water.instant, water.block_first, water.block_last)


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


def soil_five_day_mean(layer: np.ndarray, measured: np.ndarray, *, carried: bool) -> np.ndarray:
    """[degC] mean of the soil at about 2 in over the five days before each hour (task, member, hour).

    The source's own layer where it knows all 120 hours, or what the person measured where that is warmer: the product
    has to be down before either reaches its limit. Of a source that has no layer what the person measured. A layer that
    is lost is not replaced by it: a soil that is known to be too warm would be lost.

    Parameters
    ----------
    layer : ndarray (task or 1, member, hour)
    measured : ndarray (task, 1, hour)
        What the person measured, while it counts; NaN else.
    carried : bool
        Whether the source has a layer, known or lost.
    """
    if not carried:
        return np.broadcast_to(measured, np.broadcast_shapes(layer.shape, measured.shape))
    mean = np.full(np.broadcast_shapes(layer.shape, (len(measured), 1, 1)), np.nan)
    series = Series(layer)
    if layer.shape[-1] > _FIVE_DAYS:
        total, missing = series.sum_before, series.unknown_before
        window = (total[..., _FIVE_DAYS:-1] - total[..., : -_FIVE_DAYS - 1]) / _FIVE_DAYS
        gaps = missing[..., _FIVE_DAYS:-1] - missing[..., : -_FIVE_DAYS - 1]
        mean[..., _FIVE_DAYS:] = np.where(gaps > 0, np.nan, window)
    return np.where(np.isnan(mean), np.nan, np.fmax(mean, measured))
