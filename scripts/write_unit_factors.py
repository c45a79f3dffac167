#!/usr/bin/env python3
"""Write advisor/unit_factors.py anew: what pint says of the usual units. Run it when the definitions change.

python scripts/write_unit_factors.py
"""

from __future__ import annotations

from pathlib import Path

from advisor import units

USUAL = [
    "degC", "degF", "K", "m/s", "mph", "kph", "kn", "kt", "knot", "ft/s", "mm", "cm", "in", "inch", "m",
    "km", "ft", "feet", "yd", "mi", "mile", "m^2", "ft^2", "yd^2", "kft2", "acre", "ha", "h", "hour",
    "min", "minute", "s", "second", "day", "d", "week", "percent", "mL", "ml", "L", "liter", "litre",
    "floz", "pt", "qt", "gal", "gallon", "g", "mg", "kg", "oz", "lb", "hPa", "mbar", "kPa", "Pa", "inHg",
    "W/m^2", "deg", "mL/m^2", "L/m^2", "L/ha", "mL/ha", "floz/kft2", "floz/acre", "oz/kft2", "pt/acre",
    "qt/acre", "gal/acre", "gal/kft2", "mL/kft2", "g/m^2", "kg/ha", "lb/acre", "oz/acre", "lb/kft2",
    "g/kft2", "g/L", "g/kg", "lb/gal", "oz/gal", "floz/gal", "m^2/h", "ft^2/h", "kft2/h", "acre/h",
    "ha/h", "delta_degree_Celsius", "delta_degree_Fahrenheit", "kelvin", "mm/h",
]  # fmt: skip
HEAD = '''"""Factor and offset of the usual units, as pint gives them from the definitions in `units`; tests prove it.

Written by `python scripts/write_unit_factors.py`, not by hand.
"""

from __future__ import annotations

#: (unit as `advisor.units` spells it, dimension) -> (factor, offset) to the canonical unit
FACTORS: dict[tuple[str, str], tuple[float, float]] = {
'''


def lines():
    for dimension, (canonical, *_) in units.DIMENSIONS.items():
        if dimension in ("count", "truth"):
            continue
        difference = dimension == "temperature_difference"
        target = "delta_degree_Celsius" if difference else canonical
        for unit in USUAL:
            if unit == canonical or (difference and unit in ("degC", "degF", "K")) or (
                dimension == "temperature" and unit.startswith("delta")
            ):
                continue
            try:
                factor, offset = units.by_pint(unit, unit, target, dimension)
            except units.UnitError:
                continue
            yield f'    ("{unit}", "{dimension}"): ({factor!r}, {offset!r}),\n'


if __name__ == "__main__":
    target = Path(units.__file__).with_name("unit_factors.py")
    target.write_text(HEAD + "".join(lines()) + "}\n")
