"""Arithmetic of calibrating a sprayer and mixing a tank; every function names its units."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "ACRE_M2", "CALIBRATION_AREA_FT2", "FLUID_OUNCE_ML", "FOOT_M", "GALLON_L", "OUNCE_G", "POUND_KG",
    "SQUARE_FOOT_M2", "TABLESPOON_ML", "TEASPOON_ML",
    "adjuvant_volume", "area_covered", "carrier_from_catch", "carrier_from_known_area", "carrier_from_nozzles",
    "course_length", "fluid_ounces_per_acre_to_litres_per_hectare",
    "fluid_ounces_per_thousand_ft2_to_litres_per_hectare", "gallons_per_acre_to_litres_per_hectare",
    "gallons_per_acre_to_litres_per_m2", "ounces_per_acre_to_grams_per_hectare", "per_thousand_ft2_to_per_acre",
    "pounds_per_acre_to_kilograms_per_hectare", "product_for_active_ingredient", "product_in_carrier",
    "product_on_area",
]  # fmt: skip

# Exact by definition (NIST Handbook 44, appendix C): the inch is 25.4 mm, the US gallon 231 cubic inches,
# the pound 0.45359237 kg. The acre is the international one, 43,560 square feet of 0.3048 m squared; the US
# survey acre of some tables is 4 parts in a million larger.
FOOT_M = 0.3048
SQUARE_FOOT_M2 = 0.09290304
SQUARE_FEET_PER_ACRE = 43_560.0
ACRE_M2 = 4046.8564224
GALLON_L = 3.785411784
FLUID_OUNCE_ML = 29.5735295625
TABLESPOON_ML = 14.78676478125
TEASPOON_ML = 4.92892159375
POUND_KG = 0.45359237
OUNCE_G = 28.349523125
#: 1/128 acre: a gallon has 128 fluid ounces, so the ounces caught there are the gallons per acre.
CALIBRATION_AREA_FT2 = SQUARE_FEET_PER_ACRE / 128


def _over(numerator, denominator):
    """numerator / denominator; NaN where the first is negative or the second is not positive."""
    above, below = as_floats(numerator, denominator)
    possible = (above >= 0) & (below > 0)
    return np.where(possible, above / np.where(possible, below, 1), np.nan).astype(above.dtype)[()]


def _times(factor, value):
    """factor x value; NaN where the value is negative."""
    amount = as_floats(value)
    return np.where(amount >= 0, amount * factor, np.nan).astype(amount.dtype)[()]


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
    return _over(caught * (SQUARE_FEET_PER_ACRE / 128), area)


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


def per_thousand_ft2_to_per_acre(rate):
    """Any rate per 1000 ft2 to the same per acre, x 43.56.

    Parameters
    ----------
    rate : array_like
        Such as [gal/1000 ft2] or [fl oz/1000 ft2]

    Returns
    -------
    numpy.ndarray or float
        Such as [gal/acre] or [fl oz/acre]; NaN where negative.
    """
    return _times(SQUARE_FEET_PER_ACRE / 1000, rate)


def gallons_per_acre_to_litres_per_m2(rate):
    """gal/acre to L/m2, international acre.

    Parameters
    ----------
    rate : array_like
        [gal/acre]

    Returns
    -------
    numpy.ndarray or float
        [L/m2]; NaN where negative.
    """
    return _times(GALLON_L / ACRE_M2, rate)


def gallons_per_acre_to_litres_per_hectare(rate):
    """gal/acre to L/ha, international acre.

    Parameters
    ----------
    rate : array_like
        [gal/acre]

    Returns
    -------
    numpy.ndarray or float
        [L/ha]; NaN where negative.
    """
    return _times(GALLON_L / ACRE_M2 * 10_000, rate)


def fluid_ounces_per_thousand_ft2_to_litres_per_hectare(rate):
    """fl oz/1000 ft2 to L/ha.

    Parameters
    ----------
    rate : array_like
        [fl oz/1000 ft2]

    Returns
    -------
    numpy.ndarray or float
        [L/ha]; NaN where negative.
    """
    return _times(FLUID_OUNCE_ML / (1000 * SQUARE_FOOT_M2) * 10, rate)


def fluid_ounces_per_acre_to_litres_per_hectare(rate):
    """fl oz/acre to L/ha, international acre.

    Parameters
    ----------
    rate : array_like
        [fl oz/acre]

    Returns
    -------
    numpy.ndarray or float
        [L/ha]; NaN where negative.
    """
    return _times(FLUID_OUNCE_ML / ACRE_M2 * 10, rate)


def pounds_per_acre_to_kilograms_per_hectare(rate):
    """lb/acre to kg/ha, international acre.

    Parameters
    ----------
    rate : array_like
        [lb/acre]

    Returns
    -------
    numpy.ndarray or float
        [kg/ha]; NaN where negative.
    """
    return _times(POUND_KG / ACRE_M2 * 10_000, rate)


def ounces_per_acre_to_grams_per_hectare(rate):
    """oz/acre (mass) to g/ha, international acre.

    Parameters
    ----------
    rate : array_like
        [oz/acre]

    Returns
    -------
    numpy.ndarray or float
        [g/ha]; NaN where negative.
    """
    return _times(OUNCE_G / ACRE_M2 * 10_000, rate)
