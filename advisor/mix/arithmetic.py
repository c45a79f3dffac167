"""Arithmetic of calibrating a sprayer and mixing a tank; every function names its units."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats
from advisor.mix.conversions import CALIBRATION_AREA_FT2

__all__ = [
    "adjuvant_volume", "area_covered", "carrier_from_catch", "carrier_from_known_area",
    "carrier_from_nozzles", "course_length", "product_for_active_ingredient", "product_in_carrier",
    "product_on_area",
]  # fmt: skip


def _over(numerator, denominator):
    """numerator / denominator; NaN where the first is negative or the second is not positive."""
    above, below = as_floats(numerator, denominator)
    possible = (above >= 0) & (below > 0)
    return np.where(possible, above / np.where(possible, below, 1), np.nan).astype(above.dtype)[()]


def carrier_from_catch(caught_fluid_ounces, area_ft2=CALIBRATION_AREA_FT2):
    """Spray volume from a catch in the time for a measured plot; fl oz on 1/128 acre = gal/acre.

    Parameters
    ----------
    caught_fluid_ounces : array_like
        Caught in the time that the plot took [US fl oz].
    area_ft2 : array_like
        Area of the plot [ft2], 1/128 acre by default.

    Returns
    -------
    numpy.ndarray or float
        Spray volume [gal/acre]; NaN for a negative catch or an area that is not positive.

    References
    ----------
    The 1/128-acre method of the extension services, such as christmastrees.ces.ncsu.edu (backpack sprayers).
    """
    caught, area = as_floats(caught_fluid_ounces, area_ft2)
    return _over(caught * CALIBRATION_AREA_FT2, area)


def carrier_from_known_area(volume_used_l, area_m2):
    """Spray volume from what the tank lost over a known area, volume / area.

    Parameters
    ----------
    volume_used_l : array_like
        Water needed to fill the tank up again [L].
    area_m2 : array_like
        Area sprayed [m2].

    Returns
    -------
    numpy.ndarray or float
        Spray volume [L/m2]; NaN for a negative volume or an area that is not positive.
    """
    return _over(volume_used_l, area_m2)


def carrier_from_nozzles(flow_gallons_per_minute, speed_mph, width_inches):
    """Spray volume of a boom, 5940 x flow / (speed x width).

    Parameters
    ----------
    flow_gallons_per_minute : array_like
        Flow of one nozzle, or of all of them [gal/min].
    speed_mph : array_like
        Walking or driving speed [mph].
    width_inches : array_like
        Nozzle spacing for one nozzle, or swath for all of them [in].

    Returns
    -------
    numpy.ndarray or float
        Spray volume [gal/acre]; NaN for a negative flow or a speed or width that is not positive.

    References
    ----------
    The customary 5940 formula of sprayer calibration; 5940 = 43,560 ft2/acre x 12 in/ft / 88 (ft/min)/mph.
    """
    flow, speed, width = as_floats(flow_gallons_per_minute, speed_mph, width_inches)
    usable = (speed > 0) & (width > 0)
    return _over(5940 * flow, np.where(usable, speed * width, np.nan))


def course_length(area_ft2, swath_ft):
    """Length of a calibration course for an area, area / swath.

    Parameters
    ----------
    area_ft2 : array_like
        Area to be covered [ft2].
    swath_ft : array_like
        Width covered in one walk [ft].

    Returns
    -------
    numpy.ndarray or float
        Length [ft].
    """
    return _over(area_ft2, swath_ft)


def product_on_area(rate, area):
    """Product for an area, rate x area in one unit of area.

    Parameters
    ----------
    rate : array_like
        Product per unit of area, such as [mL/m2].
    area : array_like
        Area in that unit, such as [m2].

    Returns
    -------
    numpy.ndarray or float
        Product in the unit of the rate, such as [mL]; NaN for a negative input.
    """
    amount, size = as_floats(rate, area)
    return np.where((amount >= 0) & (size >= 0), amount * size, np.nan).astype(amount.dtype)[()]


def product_in_carrier(rate, carrier_rate):
    """Product per volume of spray, rate / spray volume in one unit of area.

    Parameters
    ----------
    rate : array_like
        Product per unit of area, such as [fl oz/acre] or [mL/m2].
    carrier_rate : array_like
        Spray volume per unit of the same area, such as [gal/acre] or [L/m2].

    Returns
    -------
    numpy.ndarray or float
        Product per volume, such as [fl oz/gal] or [mL/L].
    """
    return _over(rate, carrier_rate)


def area_covered(volume, carrier_rate):
    """Area that a volume of spray covers, volume / spray volume.

    Parameters
    ----------
    volume : array_like
        Spray in the tank, such as [L].
    carrier_rate : array_like
        Spray volume, such as [L/m2].

    Returns
    -------
    numpy.ndarray or float
        Area, such as [m2].
    """
    return _over(volume, carrier_rate)


def product_for_active_ingredient(active_rate, concentration):
    """Product that carries a rate of active ingredient, rate / concentration.

    Parameters
    ----------
    active_rate : array_like
        Active ingredient per unit of area, such as [lb/acre] or [g/m2].
    concentration : array_like
        Active ingredient in the product, such as [lb/gal] or [g/L].

    Returns
    -------
    numpy.ndarray or float
        Product per unit of area, such as [gal/acre] or [L/m2].
    """
    return _over(active_rate, concentration)


def adjuvant_volume(percent_by_volume, mix_volume):
    """Adjuvant in a finished mix, percent by volume.

    Parameters
    ----------
    percent_by_volume : array_like
        Share of the finished mix, 0 to 100 [%].
    mix_volume : array_like
        Volume of the finished mix, in any unit.

    Returns
    -------
    numpy.ndarray or float
        Volume in the unit of the mix; NaN outside 0 to 100 %.
    """
    share, volume = as_floats(percent_by_volume, mix_volume)
    possible = (share >= 0) & (share <= 100) & (volume >= 0)
    return np.where(possible, share / 100 * volume, np.nan).astype(share.dtype)[()]
