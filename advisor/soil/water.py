"""Water in the root zone of a lawn, day by day: what the grass can reach and how short of it the grass is."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "TURF_DEPLETION_FRACTION",
    "TURF_ROOTING_DEPTH_MAXIMUM",
    "Balance",
    "Season",
    "depletion_fraction",
    "readily_available_water",
    "run_balance",
    "stress_coefficient",
    "total_available_water",
    "turf_coefficient",
]

# FAO-56 Table 12, single crop coefficients, as quoted in pyfao56 1.4.3 (tools/tables.py).
_TURF_COEFFICIENTS = {
    "cool-season": {"initial": 0.90, "mid": 0.95, "end": 0.95},
    "warm-season": {"initial": 0.80, "mid": 0.85, "end": 0.85},
}
# FAO-56 Table 22 (same quotation). The depths are the deepest roots found; mown lawns root shallower.
TURF_DEPLETION_FRACTION = {"cool-season": 0.40, "warm-season": 0.50}
TURF_ROOTING_DEPTH_MAXIMUM = {"cool-season": (0.5, 1.0), "warm-season": (0.5, 1.0)}


class Balance(NamedTuple):
    """What :func:`run_balance` found, each array of shape (..., day).

    Parameters
    ----------
    depletion_end : numpy.ndarray
        Water missing from the root zone at the end of the day [mm]; 0 is field capacity.
    stress : numpy.ndarray
        Ks of the day, from the depletion at the end of the day before [-]; 1 is no stress.
    deep_percolation : numpy.ndarray
        Water lost below the roots on the day [mm].
    actual_et : numpy.ndarray
        Water taken up by the grass on the day [mm].
    """

    depletion_end: np.ndarray
    stress: np.ndarray
    deep_percolation: np.ndarray
    actual_et: np.ndarray


def total_available_water(field_capacity, wilting_point, rooting_depth):
    """Water that the roots can take from a full profile, FAO-56 eq. 82.

    Parameters
    ----------
    field_capacity, wilting_point : array_like
        Volumetric water contents [m3/m3].
    rooting_depth : array_like
        Depth of the roots [m].

    Returns
    -------
    numpy.ndarray or float
        Total available water [mm]; NaN where field capacity is not above wilting point, where a content is
        not within 0 to 1, or where the depth is not positive.

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56, eq. 82.
    """
    capacity, wilting, depth = as_floats(field_capacity, wilting_point, rooting_depth)
    possible = (capacity > wilting) & (wilting >= 0) & (capacity <= 1) & (depth > 0)
    return np.where(possible, 1000 * (capacity - wilting) * depth, np.nan).astype(capacity.dtype)[()]


def depletion_fraction(p_table, crop_evapotranspiration):
    """Share of the available water that can go before the grass is short, FAO-56 Table 22 footnote.

    Parameters
    ----------
    p_table : array_like
        The tabled share at 5 mm of evapotranspiration a day [-].
    crop_evapotranspiration : array_like
        Evapotranspiration of the unstressed grass [mm/day].

    Returns
    -------
    numpy.ndarray or float
        p = p_table + 0.04 (5 - ETc), kept within 0.1 to 0.8 [-].

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56, Table 22, footnote 2.
    """
    share, crop_et = as_floats(p_table, crop_evapotranspiration)
    return np.clip(share + 0.04 * (5 - crop_et), 0.1, 0.8)[()]


def readily_available_water(total_available_water, p):
    """Water that the grass takes without any stress, FAO-56 eq. 83.

    Parameters
    ----------
    total_available_water : array_like
        From :func:`total_available_water` [mm].
    p : array_like
        Depletion fraction [-].

    Returns
    -------
    numpy.ndarray or float
        Readily available water [mm].

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56, eq. 83.
    """
    available, share = as_floats(total_available_water, p)
    return (available * share)[()]


def stress_coefficient(depletion, total_available_water, p):
    """Share of the unstressed uptake that the grass still manages (Ks), FAO-56 eq. 84.

    Parameters
    ----------
    depletion : array_like
        Water missing from the root zone, 0 to the total available water [mm].
    total_available_water : array_like
        From :func:`total_available_water` [mm].
    p : array_like
        Depletion fraction, below 1 [-].

    Returns
    -------
    numpy.ndarray or float
        Ks, 0 (wilted) to 1 (no stress); NaN where the available water is not positive, or p not within 0 to
        1.

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56, eq. 84.
    """
    missing, available, share = as_floats(depletion, total_available_water, p)
    possible = (available > 0) & (share >= 0) & (share < 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        stress = (available - missing) / ((1 - share) * available)
    return np.where(possible, np.clip(stress, 0, 1), np.nan).astype(missing.dtype)[()]


def turf_coefficient(kind: str = "cool-season", stage: str = "mid") -> float:
    """Crop coefficient of turfgrass, FAO-56 Table 12.

    Parameters
    ----------
    kind : {"cool-season", "warm-season"}
        Kind of grass.
    stage : {"initial", "mid", "end"}
        Growth stage.

    Returns
    -------
    float
        Kc, the evapotranspiration of the grass relative to the reference [-].

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56, Table 12 (as quoted in pyfao56 1.4.3).
    """
    if kind not in _TURF_COEFFICIENTS:
        raise ValueError(f"Kind of turf {kind!r} is not known: use one of {', '.join(_TURF_COEFFICIENTS)}.")
    stages = _TURF_COEFFICIENTS[kind]
    if stage not in stages:
        raise ValueError(f"Growth stage {stage!r} is not known: use one of {', '.join(stages)}.")
    return stages[stage]


def run_balance(
    initial_depletion,
    rain,
    runoff,
    irrigation,
    reference_et,
    crop_coefficient,
    total_available_water,
    p_table,
    adjust_p: bool = True,
) -> Balance:
    """Run the daily water balance of the root zone, FAO-56 eq. 84 to 88, single crop coefficient.

    Parameters
    ----------
    initial_depletion : array_like, shape (...)
        Depletion at the end of the day before the first one, without a day axis [mm].
    rain, runoff, irrigation : array_like, shape (..., day)
        Daily sums [mm].
    reference_et : array_like, shape (..., day)
        Reference evapotranspiration, daily sum [mm]; a negative sum counts as 0.
    crop_coefficient, total_available_water, p_table : array_like, shape (..., day) or (..., 1) or scalar
        Kc [-], available water [mm] and tabled depletion fraction [-].
    adjust_p : bool
        Whether p follows the day's evapotranspiration (:func:`depletion_fraction`).

    Returns
    -------
    Balance
        Four arrays of shape (..., day).

    Notes
    -----
    Ks of a day uses the depletion at the end of the day before. A day with a missing or impossible input
    (negative rain, runoff above rain, a depletion outside the profile) ends NaN, and so do the days after
    it, until a day brings at least the whole available water plus the day's unstressed uptake: that fills
    the profile from any depletion, so the depletion is 0 and known again (the day's stress, percolation and
    uptake stay NaN).

    ============================  ==============================================================
    assumption                    effect
    ============================  ==============================================================
    no capillary rise             drier than a lawn over a high water table
    surplus drains the same day   waterlogging is never seen as more than field capacity
    uptake stops at the profile   where the day's uptake would pass wilting point it is cut there
    ============================  ==============================================================

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56, chapter 8, eq. 84 to 88, Example 37.
    """
    start, rain, runoff, irrigation, reference_et, coefficient, available, share = as_floats(
        initial_depletion,
        rain,
        runoff,
        irrigation,
        reference_et,
        crop_coefficient,
        total_available_water,
        p_table,
    )
    daily = np.broadcast_arrays(rain, runoff, irrigation, reference_et, coefficient, available, share)
    if daily[0].ndim == 0:
        raise ValueError(
            "A water balance needs a day axis: give rain, runoff, irrigation or reference_et by day."
        )
    leading = np.broadcast_shapes(start.shape, daily[0].shape[:-1])
    days = daily[0].shape[-1]
    daily = [np.moveaxis(np.broadcast_to(item, (*leading, days)), -1, 0) for item in daily]
    rain, runoff, irrigation, reference_et, coefficient, available, share = daily

    season = Season(rain, runoff, irrigation, reference_et, coefficient, available, share, adjust_p)
    depletion, found = np.broadcast_to(start, leading), []
    for day in range(days):
        found.append(season.after(depletion, day))
        depletion = found[-1].depletion_end
    if not found:
        return Balance(*(np.empty((*leading, 0), dtype=start.dtype) for _ in Balance._fields))
    out = Balance(*(np.stack(item, axis=-1).astype(start.dtype) for item in zip(*found, strict=True)))
    # An impossible day says nothing about that day's stress either.
    return out._replace(stress=np.where(np.isnan(out.actual_et), np.nan, out.stress).astype(start.dtype))


class Season:
    """The days of a water balance, made ready once, to be stepped through by who carries the depletion from day to day.

    Parameters as in :func:`run_balance`, with the axis of days first.
    """

    def __init__(
        self, rain, runoff, irrigation, reference_et, coefficient, available, share, adjust_p: bool = True
    ):
        unstressed = coefficient * np.maximum(reference_et, 0)
        self._p = np.clip(share + 0.04 * (5 - unstressed), 0.1, 0.8) if adjust_p else share
        self._water_in, self._available = rain - runoff + irrigation, available
        possible = (rain >= 0) & (runoff >= 0) & (irrigation >= 0) & (runoff <= rain * (1 + 1e-6) + 1e-6)
        possible = possible & (coefficient >= 0) & (available > 0) & (self._p >= 0) & (self._p < 1)
        self._unstressed = np.where(possible, unstressed, np.nan)

    def after(self, depletion: np.ndarray, day: int) -> Balance:
        """One day on from the depletion at the end of the day before it [mm], FAO-56 eq. 84 to 88."""
        full, p = self._at(self._available, day), self._at(self._p, day)
        water_in, unstressed = self._at(self._water_in, day), self._at(self._unstressed, day)
        slack = 1e-5 * full
        inside = (depletion >= -slack) & (depletion <= full + slack)
        depletion = np.where(inside, np.clip(depletion, 0, full), np.nan)
        with np.errstate(divide="ignore", invalid="ignore"):
            stress = np.clip((full - depletion) / ((1 - p) * full), 0, 1)
        uptake = stress * unstressed
        balance = depletion - water_in + uptake
        refilled = np.isnan(balance) & (water_in >= full + unstressed)
        ends = np.where(refilled, 0, np.clip(balance, 0, full))
        return Balance(ends, stress, np.maximum(-balance, 0), uptake - np.maximum(balance - full, 0))

    @staticmethod
    def _at(values: np.ndarray, day: int) -> np.ndarray:
        return values[day if len(values) > 1 else 0]
