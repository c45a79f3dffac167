"""Customary units of the spray trade in metric ones: exact constants, and rates by area."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "ACRE_M2", "CALIBRATION_AREA_FT2", "FLUID_OUNCE_ML", "FOOT_M", "GALLON_L", "OUNCE_G", "POUND_KG",
    "SQUARE_FEET_PER_ACRE", "SQUARE_FOOT_M2", "TABLESPOON_ML", "TEASPOON_ML",
    "fluid_ounces_per_acre_to_litres_per_hectare", "fluid_ounces_per_thousand_ft2_to_litres_per_hectare",
    "gallons_per_acre_to_litres_per_hectare", "gallons_per_acre_to_litres_per_m2",
    "ounces_per_acre_to_grams_per_hectare", "per_thousand_ft2_to_per_acre",
    "pounds_per_acre_to_kilograms_per_hectare",
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


def _times(factor, value):
    """factor x value; NaN where the value is negative."""
    amount = as_floats(value)
    return np.where(amount >= 0, amount * factor, np.nan).astype(amount.dtype)[()]


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
