"""Rain that runs off a lawn instead of soaking in, by the curve-number method."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "TURF_CURVE_NUMBERS",
    "adjust_curve_number",
    "antecedent_curve_number",
    "curve_number_runoff",
    "initial_abstraction",
    "potential_retention",
    "turf_curve_number",
]

# TR-55 Table 2-2a, open space (lawns, parks), by hydrologic soil group. "good" is more than 75 % grass
# cover and was read as quoted; "fair" (50 to 75 %) and "poor" (below 50 %) are from memory.
TURF_CURVE_NUMBERS: dict[str, dict[str, int]] = {
    "good": {"A": 39, "B": 61, "C": 74, "D": 80},
    "fair": {"A": 49, "B": 69, "C": 79, "D": 84},
    "poor": {"A": 68, "B": 79, "C": 86, "D": 89},
}

# Rain of the five days before, below and above which the soil counts as dry and as wet [mm]: 1.4 and 2.1 in
# in the growing season, 0.5 and 1.1 in in the dormant one (National Engineering Handbook, section 4, from
# memory; later editions dropped the table).
_FIVE_DAY_RAIN = {"growing": (35.56, 53.34), "dormant": (12.7, 27.94)}


def potential_retention(curve_number):
    """Most water that the soil can hold back once runoff has begun, TR-55 eq. 2-4 in millimetres.

    Parameters
    ----------
    curve_number : array_like
        Curve number, above 0 to 100 [-].

    Returns
    -------
    numpy.ndarray or float
        S = 25400/CN - 254 [mm]; NaN outside the range.

    References
    ----------
    USDA (1986) Urban hydrology for small watersheds. Technical Release 55, chapter 2.
    """
    number = as_floats(curve_number)
    with np.errstate(divide="ignore", invalid="ignore"):
        retention = 25400 / number - 254
    return np.where((number > 0) & (number <= 100), retention, np.nan).astype(number.dtype)[()]


def initial_abstraction(curve_number):
    """Rain that falls before any runs off, TR-55 eq. 2-2 (0.2 S).

    Parameters
    ----------
    curve_number : array_like
        Curve number, above 0 to 100 [-].

    Returns
    -------
    numpy.ndarray or float
        Depth of rain [mm]; NaN outside the range.

    References
    ----------
    USDA (1986) Technical Release 55, chapter 2.
    """
    number = as_floats(curve_number)
    return (0.2 * np.asarray(potential_retention(number))).astype(number.dtype)[()]


def curve_number_runoff(rain_mm, curve_number):
    """Runoff from one storm, TR-55 eq. 2-3: Q = (P - 0.2 S)^2 / (P + 0.8 S).

    Parameters
    ----------
    rain_mm : array_like
        Rain of the whole storm, commonly 24 hours [mm].
    curve_number : array_like
        Curve number, above 0 to 100 [-].

    Returns
    -------
    numpy.ndarray or float
        Runoff [mm]: exactly 0 until the rain passes :func:`initial_abstraction`; NaN for negative rain.

    Notes
    -----
    ==============================  =========================================================================
    assumption                      effect
    ==============================  =========================================================================
    one storm, unfrozen ground      the sum of a long gentle rain is judged as harshly as a cloudburst
    average moisture before         adjust the number with :func:`antecedent_curve_number` after a wet spell
    ==============================  =========================================================================

    References
    ----------
    USDA (1986) Urban hydrology for small watersheds. Technical Release 55, chapter 2.
    """
    rain, number = as_floats(rain_mm, curve_number)
    retention = np.asarray(potential_retention(number))
    excess = np.maximum(rain - 0.2 * retention, 0)
    below = rain + 0.8 * retention
    runoff = np.where(excess > 0, excess * excess / np.where(below > 0, below, 1), excess)
    return np.where(rain >= 0, runoff, np.nan).astype(rain.dtype)[()]


def turf_curve_number(soil_group: str, condition: str = "good") -> float:
    """Curve number of a lawn, TR-55 Table 2-2a, open space.

    Parameters
    ----------
    soil_group : {"A", "B", "C", "D"}
        Hydrologic soil group.
    condition : {"good", "fair", "poor"}
        Grass cover above 75 %, 50 to 75 %, below 50 %.

    Returns
    -------
    float
        Curve number [-] for average moisture.

    References
    ----------
    USDA (1986) Technical Release 55, Table 2-2a ("fair" and "poor" from memory).
    """
    if condition not in TURF_CURVE_NUMBERS:
        raise ValueError(
            f"Turf condition {condition!r} is not known: use one of {', '.join(TURF_CURVE_NUMBERS)}."
        )
    group = str(soil_group).strip().upper()
    if group not in TURF_CURVE_NUMBERS[condition]:
        raise ValueError(f"Hydrologic soil group {soil_group!r} is not known: use one of A, B, C, D.")
    return float(TURF_CURVE_NUMBERS[condition][group])


def adjust_curve_number(curve_number, antecedent: str = "average"):
    """Shift a curve number for a dry or a wet soil, Hawkins et al. (1985).

    Parameters
    ----------
    curve_number : array_like
        Curve number for average moisture, above 0 to 100 [-].
    antecedent : {"dry", "average", "wet"}
        State of the soil before the storm.

    Returns
    -------
    numpy.ndarray or float
        Curve number [-]; NaN outside the range.

    References
    ----------
    Hawkins RH, Hjelmfelt AT, Zevenbergen AW (1985) Runoff probability, storm depth, and curve numbers.
    J. Irrig. Drain. Eng. 111:330-340 (formulas as coded in pyfao56 1.4.3).
    """
    number = as_floats(curve_number)
    if antecedent == "average":
        shifted = number
    elif antecedent == "dry":
        shifted = number / (2.281 - 0.01281 * number)
    elif antecedent == "wet":
        shifted = number / (0.427 + 0.00573 * number)
    else:
        raise ValueError(f"Antecedent moisture {antecedent!r} is not known: use one of dry, average, wet.")
    return np.where((number > 0) & (number <= 100), shifted, np.nan).astype(number.dtype)[()]


def antecedent_curve_number(curve_number, rain_five_days, season: str = "growing"):
    """Shift a curve number by the rain of the five days before, National Engineering Handbook classes.

    Parameters
    ----------
    curve_number : array_like
        Curve number for average moisture [-].
    rain_five_days : array_like
        Rain of the five days before the storm [mm].
    season : {"growing", "dormant"}
        Grass that grows dries the soil: the class limits are higher then.

    Returns
    -------
    numpy.ndarray or float
        Curve number [-]; NaN where the rain is missing or negative.

    Notes
    -----
    The classes (growing below 36 dry, above 53 mm wet; dormant 13 and 28 mm) are from memory.

    References
    ----------
    USDA Soil Conservation Service (1972) National Engineering Handbook, section 4, Table 4.2 (from memory).
    """
    if season not in _FIVE_DAY_RAIN:
        raise ValueError(f"Season {season!r} is not known: use one of {', '.join(_FIVE_DAY_RAIN)}.")
    number, rain = as_floats(curve_number, rain_five_days)
    dry_below, wet_above = _FIVE_DAY_RAIN[season]
    shifted = np.select(
        [rain > wet_above, rain >= dry_below, rain >= 0],
        [adjust_curve_number(number, "wet"), adjust_curve_number(number), adjust_curve_number(number, "dry")],
        np.nan,
    )
    return shifted.astype(number.dtype)[()]
