"""How much a sprayer puts out on an area, from a person's own trial with clean water."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from advisor.errors import UsageError
from advisor.mix.arithmetic import carrier_from_catch, carrier_from_known_area
from advisor.mix.conversions import (
    CALIBRATION_AREA_FT2,
    FLUID_OUNCE_ML,
    SQUARE_FOOT_M2,
    gallons_per_acre_to_litres_per_m2,
)
from advisor.model import Household

#: what a hand can, a knapsack or a lawn boom can put out at all [L/m²]: 2 to 500 gal/acre. Common practice, no source.
PLAUSIBLE = (0.002, 0.5)
#: timed walks that differ by more than this share of their mean are no even pace. Common practice, no source;
#: the worked example of NC State extension takes the mean of 16 s and 18 s, 12 % apart.
EVEN_PACE = 0.15
#: a calibration older than this is of another season [days]. Common practice, no source.
GOOD_FOR_DAYS = 365

CATCH, KNOWN_AREA = "1/128 acre", "known area"


@dataclass(frozen=True, slots=True)
class Calibration:
    """`carrier_rate` [L/m²]; `trial` holds what was measured, SI, so that it can be worked out again."""

    method: str
    carrier_rate: float
    trial: dict[str, object]


def by_catch(
    caught: float,
    walks: Sequence[float] = (),
    caught_for: float | None = None,
    plot: float = CALIBRATION_AREA_FT2 * SQUARE_FOOT_M2,
) -> Calibration:
    """The 1/128-acre method: what is caught in the time that the plot takes, over the plot.

    Parameters
    ----------
    caught : float
        [mL], from all nozzles that spray the plot.
    walks : sequence of float
        Times that the plot took [s]; their mean counts.
    caught_for : float, optional
        [s] that was caught for, where it was not the mean time of the walks.
    plot : float
        [m²], 1/128 acre by default.

    Raises
    ------
    UsageError
        When the trial cannot be right.

    References
    ----------
    The 1/128-acre method of the extension services: a gallon has 128 fluid ounces, so the ounces caught in the time
    for 340 ft² are the gallons an acre.
    """
    _positive(caught, "the volume caught")
    _positive(plot, "the plot")
    for walk in walks:
        _positive(walk, "a timed walk")
    mean = sum(walks) / len(walks) if walks else None
    if walks and (max(walks) - min(walks)) / mean > EVEN_PACE:
        raise UsageError(
            f"the timed walks differ by {(max(walks) - min(walks)) / mean:.0%} of their mean: no even pace",
            hint="walk the plot again until two times differ by less than 15 %",
        )
    if caught_for is not None:
        _positive(caught_for, "the time of catching")
        if mean is None:
            raise UsageError(
                "the catch names a time, but no walk over the plot was timed",
                hint="time the walk over the plot as well",
            )
        caught = caught * mean / caught_for
    per_acre = float(carrier_from_catch(caught / FLUID_OUNCE_ML, plot / SQUARE_FOOT_M2))
    trial = {"caught_ml": caught, "walks_s": list(walks), "caught_for_s": caught_for, "plot_m2": plot}
    return Calibration(CATCH, _plausible(float(gallons_per_acre_to_litres_per_m2(per_acre))), trial)


def by_known_area(used: float, area: float) -> Calibration:
    """The known-area method: the water [L] that fills the tank up again after spraying an area [m²].

    Raises
    ------
    UsageError
        When the trial cannot be right.
    """
    _positive(used, "the water used")
    _positive(area, "the area sprayed")
    rate = float(carrier_from_known_area(used, area))
    return Calibration(KNOWN_AREA, _plausible(rate), {"used_l": used, "area_m2": area})


def with_calibrations(household: Household, carrier_rates: Mapping[str, float]) -> Household:
    """The household with its sprayers as they were calibrated last: output [L/m²] by the sprayer's id."""
    sprayers = {
        name: replace(sprayer, carrier_rate=carrier_rates[name]) if name in carrier_rates else sprayer
        for name, sprayer in household.sprayers.items()
    }
    return household if sprayers == household.sprayers else replace(household, sprayers=sprayers)


def _positive(value: float, what: str) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise UsageError(f"{what} must be more than nothing", hint="measure again")


def _plausible(rate: float) -> float:
    low, high = PLAUSIBLE
    if not low <= rate <= high:
        raise UsageError(
            f"{rate:.4g} L/m² is nothing that a lawn sprayer puts out ({low:g} to {high:g})",
            hint="check the numbers and their units",
        )
    return rate
