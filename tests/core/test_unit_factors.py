"""The table of the usual units against pint itself (source: pint, from the definitions of NIST SP 811 in `units`)."""

import subprocess
import sys

import pytest

from advisor import units
from advisor.unit_factors import FACTORS


@pytest.mark.parametrize(("unit", "dimension"), sorted(FACTORS))
def test_a_factor_is_what_pint_says(unit, dimension):
    """To the bit."""
    canonical = (
        "delta_degree_Celsius" if dimension == "temperature_difference" else units.DIMENSIONS[dimension][0]
    )
    assert FACTORS[unit, dimension] == units.by_pint(unit, unit, canonical, dimension)


def test_what_is_shown_to_readers_and_printed_in_labels_needs_no_pint():
    code = (
        "import sys\n"
        "from advisor import units\n"
        "for name in units.DIMENSIONS:\n"
        "    for system in ('us', 'metric'):\n"
        "        units.to_display(1.0, name, system)\n"
        "for text, name in (('1.5 floz/1000 ft^2', 'volume_rate'), ('40 °F', 'temperature'), ('30 min', 'time')):\n"
        "    units.parse(text, name)\n"
        "assert 'pint' not in sys.modules\n"
        "assert abs(units.parse('2 kPa*kft2/acre', 'pressure') - 2000 / 43560) < 1e-12\n"
        "assert 'pint' in sys.modules, 'any other unit is pint\\'s'\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)
