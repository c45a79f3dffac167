"""Quantities at the edges: text with a unit in, SI floats inside, the person's units out.

Inside the program a number carries no unit object: its dimension has one canonical unit (`CANONICAL`), and
only parsing and printing convert. pint does the arithmetic of units, from a definition text of our own that
holds just the units of this trade, so that "C" can never be read as coulombs. What it said of the usual units is
kept in a table, for loading it takes longer than all the rest of a short answer.
"""

from __future__ import annotations

import functools
import math
import re

from advisor.errors import AdvisorError, did_you_mean
from advisor.unit_factors import FACTORS

#: dimension -> (canonical unit, unit shown to US readers, unit shown to metric readers, decimals US, decimals metric)
DIMENSIONS: dict[str, tuple[str, str, str, int, int]] = {
    "temperature": ("degC", "degF", "degC", 0, 1),
    "temperature_difference": ("delta_degC", "delta_degF", "delta_degC", 1, 1),
    "speed": ("m/s", "mph", "m/s", 1, 1),
    "water_depth": ("mm", "in", "mm", 2, 1),
    "length": ("m", "ft", "m", 0, 1),
    "area": ("m^2", "ft^2", "m^2", 0, 0),
    "time": ("h", "h", "h", 1, 1),
    "fraction": ("1", "1", "1", 2, 2),
    "percent": ("percent", "percent", "percent", 1, 1),
    "angle": ("deg", "deg", "deg", 0, 0),
    "irradiance": ("W/m^2", "W/m^2", "W/m^2", 0, 0),
    "pressure": ("kPa", "inHg", "kPa", 2, 1),
    "volume": ("mL", "floz", "mL", 1, 0),
    "mass": ("g", "oz", "g", 1, 0),
    "volume_rate": ("mL/m^2", "floz/kft^2", "mL/m^2", 2, 3),
    "mass_rate": ("g/m^2", "lb/acre", "g/m^2", 2, 3),
    "carrier_rate": ("L/m^2", "gal/kft^2", "L/m^2", 2, 3),
    "concentration": ("g/L", "lb/gal", "g/L", 2, 0),
    "work_rate": ("m^2/h", "ft^2/h", "m^2/h", 0, 0),
    "count": ("1", "1", "1", 0, 0),
    "truth": ("1", "1", "1", 0, 0),
}

_DEFINITIONS = """
meter = [length] = m = metre
second = [time] = s
kilogram = [mass] = kg
kelvin = [temperature]; offset: 0 = K
radian = [angle]
milli- = 1e-3 = m-
centi- = 1e-2 = c-
kilo- = 1e3 = k-
degree_Celsius = kelvin; offset: 273.15 = degC = celsius
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF = fahrenheit
degree = 0.017453292519943295 * radian = deg = degrees
percent = 0.01 = pct
millimeter = 1e-3 * meter = mm
centimeter = 1e-2 * meter = cm
kilometer = 1e3 * meter = km
hectare = 1e4 * meter ** 2 = ha
foot = 0.3048 * meter = ft = feet
inch = foot / 12 = in = inches
yard = 3 * foot = yd
mile = 5280 * foot = mi
acre = 43560 * foot ** 2 = ac
thousand_square_feet = 1000 * foot ** 2 = kft2
minute = 60 * second = min
hour = 60 * minute = h = hr
day = 24 * hour = d
week = 7 * day = wk
mph = mile / hour
knot = 1852 * meter / hour = kn = kt
kph = kilometer / hour
gram = 1e-3 * kilogram = g
milligram = 1e-6 * kilogram = mg
pound = 0.45359237 * kilogram = lb = lbs
ounce = pound / 16 = oz
liter = 1e-3 * meter ** 3 = L = litre = l
milliliter = 1e-6 * meter ** 3 = mL = ml = millilitre
gallon = 231 * inch ** 3 = gal
quart = gallon / 4 = qt
pint = gallon / 8 = pt
fluid_ounce = gallon / 128 = floz
pascal = kilogram / meter / second ** 2 = Pa
hectopascal = 100 * pascal = hPa
kilopascal = 1e3 * pascal = kPa
millibar = 100 * pascal = mbar
inHg = 3386.389 * pascal
watt = kilogram * meter ** 2 / second ** 3 = W
"""

_NUMBER = re.compile(r"([-+]?\d[\d_]*(?:\.\d+)?(?:[eE][-+]?\d+)?)\s*(.*)", re.DOTALL)
#: letters of the longest unit that is looked at; the longest of the trade, "fl oz/1,000 square feet", has 24
_LONGEST_UNIT = 60
#: names and small numbers, joined, with small powers: anything else would be arithmetic for pint to carry out
_UNIT = re.compile(r"[\w\s*/^().,+-]*", re.ASCII)
_ARITHMETIC = re.compile(r"\d{7}|(?:\^|\*\*)(?!\s*[-+]?[1-4](?![\w.]|\s*(?:\^|\*\*)))")
_SPELLINGS = (
    (re.compile(r"°\s*([CF])"), r"deg\1"),
    (re.compile(r"\bfl\.?\s*oz\b"), "floz"),
    (re.compile(r"\b1[, ]?000\s*ft\s*(?:\^|\*\*)?\s*2\b|\b1[, ]?000\s*(?:sq\.?\s*ft|square feet)\b"), "kft2"),
    (re.compile(r"\bsq\.?\s*(ft|m|yd)\b"), r"\1^2"),
    (re.compile(r"\bkft\^2\b"), "kft2"),
    (re.compile(r"²"), "^2"),
    (re.compile(r"\bkm/h\b|\bkmh\b"), "kph"),
    (re.compile(r"\b(week|day|hour|minute|mile|acre|gallon|ounce|pound|litre|liter|hectare)s\b"), r"\1"),
    (re.compile(r"%"), "percent"),
)


class UnitError(AdvisorError, ValueError):
    """A quantity that cannot be read, or is of the wrong dimension."""

    code, exit_status = "unit", 5


@functools.cache
def _registry():
    import pint

    registry = pint.UnitRegistry(None, cache_folder=None)
    registry.load_definitions(_DEFINITIONS.strip().split("\n"))
    return registry


def _unit(text: str):
    return _registry().parse_units(text.replace("^", "**"))


def _named(dimension: str) -> str:
    """ "a speed", "an angle"."""
    return ("an " if dimension[0] in "aeiou" else "a ") + dimension.replace("_", " ")


@functools.lru_cache(maxsize=512)
def conversion(unit: str, dimension: str) -> tuple[float, float]:
    """The (factor, offset) that turns a number in `unit` into the canonical unit of `dimension`.

    Raises
    ------
    UnitError
        When the unit is not known or measures something else.
    """
    canonical = DIMENSIONS[dimension][0]
    if len(unit) > _LONGEST_UNIT:
        raise UnitError(f'"{unit}" is too long for a unit', hint=f"write it as {example(dimension)}")
    spelled = _respell(unit)
    if spelled == canonical or (spelled in ("", "1") and canonical == "1"):
        return 1.0, 0.0
    if dimension in ("count", "truth"):
        raise UnitError(f'"{unit}" is a unit, where a plain count is wanted')
    if dimension == "temperature_difference":
        spelled = {"degC": "delta_degree_Celsius", "degF": "delta_degree_Fahrenheit", "K": "kelvin"}.get(
            spelled,
            spelled.replace("delta_degC", "delta_degree_Celsius").replace(
                "delta_degF", "delta_degree_Fahrenheit"
            ),
        )
        canonical = "delta_degree_Celsius"
    if spelled in ("", "1"):
        raise UnitError(f"a unit is missing: this is {_named(dimension)}, write it as {example(dimension)}")
    known = FACTORS.get((spelled, dimension))
    return known if known is not None else by_pint(unit, spelled, canonical, dimension)


def by_pint(unit: str, spelled: str, canonical: str, dimension: str) -> tuple[float, float]:
    """What pint says of a unit; the usual ones stand in `advisor.unit_factors`, as pint gave them."""
    try:
        if not _UNIT.fullmatch(spelled) or _ARITHMETIC.search(spelled):
            raise ValueError(spelled)
        source = _unit(spelled)
        measures = source.dimensionality
    except Exception as error:
        raise UnitError(f'"{unit}" is not a unit that is known here', hint=_unit_hint(spelled)) from error
    target = _unit(canonical)
    wrong = UnitError(
        f'"{unit}" does not measure {_named(dimension)}', hint=f"write it as {example(dimension)}"
    )
    if measures != target.dimensionality:
        raise wrong
    quantity = _registry().Quantity
    try:
        zero, one, hundred = (
            float(quantity(value, source).to(target).magnitude) for value in (0.0, 1.0, 100.0)
        )
    except Exception as error:
        # a temperature times or over something has no zero of its own
        raise wrong from error
    return (one, 0.0) if dimension != "temperature" else ((hundred - zero) / 100.0, zero)


def parse(text: str, dimension: str) -> float:
    """Read a quantity such as "40 degF" or "1.5 floz/1000 ft^2" into the canonical unit of its dimension.

    Raises
    ------
    UnitError
        Without a number, without a unit, with an unknown unit or one of another dimension.
    """
    if not isinstance(text, str):
        raise UnitError(f"{text!r} is not a quantity: write text with a unit, such as {example(dimension)}")
    match = _NUMBER.fullmatch(_respell_thousands(text.strip()))
    if not match:
        raise UnitError(f'"{text}" does not begin with a number', hint=f"write it as {example(dimension)}")
    number = float(match.group(1).replace("_", ""))
    if not math.isfinite(number):
        raise UnitError(f'"{text}" is not a finite number')
    factor, offset = conversion(match.group(2), dimension)
    value = number * factor + offset
    if not math.isfinite(value):
        raise UnitError(f'"{text}" is not a finite number')
    return value


def to_display(value: float, dimension: str, system: str) -> tuple[float, str]:
    """A canonical value in the reader's unit, and that unit's name. `system` is "us" or "metric"."""
    unit = display_unit(dimension, system)
    factor, offset = conversion(unit, dimension)
    return (value - offset) / factor, unit


def display_unit(dimension: str, system: str) -> str:
    return DIMENSIONS[dimension][1 if system == "us" else 2]


def display_decimals(dimension: str, system: str) -> int:
    return DIMENSIONS[dimension][3 if system == "us" else 4]


#: how a unit is printed for people
PRINTED = {
    "degF": "°F", "degC": "°C", "delta_degF": "°F", "delta_degC": "°C", "percent": "%", "1": "", "deg": "°",
    "ft^2": "ft²", "m^2": "m²", "floz": "fl oz", "floz/kft^2": "fl oz/1,000 ft²", "gal/kft^2": "gal/1,000 ft²",
    "mL/m^2": "mL/m²", "g/m^2": "g/m²", "L/m^2": "L/m²", "W/m^2": "W/m²",
}  # fmt: skip


def show(
    value: float | None, dimension: str, system: str, *, signed: bool = False, decimals: int | None = None
) -> str:
    """A canonical value as a person reads it: "46 °F", "3.1 m/s"; "unknown" for None or NaN."""
    if value is None or not math.isfinite(value):
        return "unknown"
    if dimension == "time" and abs(value) >= 48.0 and decimals is None:
        days = round(value / 24.0, 1) + 0.0
        return f"{days:+g} days" if signed else f"{days:g} days"
    number, unit = to_display(value, dimension, system)
    places = display_decimals(dimension, system) if decimals is None else decimals
    if dimension == "percent" and decimals is None and abs(value) >= 10.0:
        places = 0
    number = round(number, places) + 0.0
    text = f"{number:+,.{places}f}" if signed else f"{number:,.{places}f}"
    printed = PRINTED.get(unit, unit)
    if not printed:
        return text
    return f"{text}{printed}" if printed in ("%", "°") else f"{text} {printed}"


_EXAMPLES = {
    "temperature": "40 degF", "temperature_difference": "4 degC", "speed": "10 mph", "water_depth": "0.5 in",
    "length": "25 ft", "area": "5000 ft^2", "time": "4 h", "fraction": "0.9", "percent": "20 percent",
    "angle": "270 deg", "irradiance": "500 W/m^2", "pressure": "101.3 kPa", "volume": "2 gal", "mass": "4 oz",
    "volume_rate": "1.5 floz/1000 ft^2", "mass_rate": "3 lb/acre", "carrier_rate": "1 gal/1000 ft^2",
    "concentration": "4 lb/gal", "work_rate": "5000 ft^2/h", "count": "2", "truth": "1",
}  # fmt: skip


def example(dimension: str) -> str:
    return f'"{_EXAMPLES[dimension]}"'


def _respell_thousands(text: str) -> str:
    return re.sub(
        r"^(\s*[-+]?\d{1,3})((?:,\d{3})+)", lambda m: m.group(1) + m.group(2).replace(",", ""), text
    )


def _respell(unit: str) -> str:
    for pattern, replacement in _SPELLINGS:
        unit = pattern.sub(replacement, unit)
    return re.sub(r"\s+", " ", unit.strip())


def _unit_hint(unit: str) -> str:
    names = ("degC", "degF", "m/s", "mph", "kph", "kn", "mm", "cm", "in", "m", "km", "ft", "yd", "mi", "m^2", "ft^2",
             "acre", "ha", "h", "min", "day", "week", "percent", "mL", "L", "floz", "pt", "qt", "gal", "g", "kg", "oz",
             "lb", "hPa", "kPa", "W/m^2", "deg")  # fmt: skip
    return did_you_mean(unit, names)
