"""Household folders for the answers of real providers: the place comes with each test, everything else is invented."""

from __future__ import annotations

from pathlib import Path

LAWN = """\
name = "Acceptance lawn"
units = "us"

[site]
latitude = {latitude}
longitude = {longitude}
time_zone = "{zone}"
elevation = "{elevation}"
soil = "silt loam"
use = "home-lawn"
local_ban = false

[[area]]
id = "lawn"
size = "300 m^2"
turf = ["tall fescue"]
turf_state = "active"
rooting_depth = "30 cm"
irrigation = "none"
soil_state = "moist"
soil_seen = {seen}
last_mowed = {mowed}
green_share = "95 percent"
open_flowers = false

[[sprayer]]
id = "can"
tank = "5 L"
measure = "syringe, steps of 1 mL"
carrier_rate = "0.05 L/m^2"
clean_up = "15 min"
last_contents = "none"
rinsed = true

[hours]
every_day = "07:00-20:00"

[decision]
assumed_members = 0   # the source's single run, so that a verdict can be worked out by hand
"""

LABEL = """\
product = "Invented Foliar"
registration_number = "TEST-1"
invented = true
mode = "foliar"
sites = ["home-lawn"]
turf_species = ["tall fescue"]
rate = "4 L/ha"
maximum_per_application = "4 L/ha"
maximum_per_year = "8 L/ha"
minimum_interval = "14 days"
rainfast_time = "6 h"
re_entry = "when the spray has dried"
volatile = false
root_active = false
restricted_use = false

[[active_ingredient]]
name = "exemplic acid"
acid_equivalent = "200 g/L"
"""

TREATMENT = """\
name = "Broadleaf weeds"
label = "foliar"
areas = ["lawn"]
method = "broadcast"
target = ["dandelion"]
life_cycle = "perennial"
stage = "vegetative"
sprayer = "can"
passes = 2
duration = "45 min"
"""


def write_home(
    folder: Path, *, latitude: float, longitude: float, zone: str, elevation: str, seen: str, mowed: str
) -> Path:
    """A complete household: foliar label with six hours rainfast, no neighbours, soil seen moist on the day."""
    (folder / "labels").mkdir(parents=True)
    (folder / "treatments").mkdir()
    lawn = LAWN.format(
        latitude=latitude, longitude=longitude, zone=zone, elevation=elevation, seen=seen, mowed=mowed
    )
    (folder / "lawn.toml").write_text(lawn, encoding="utf-8")
    (folder / "labels" / "foliar.toml").write_text(LABEL, encoding="utf-8")
    (folder / "treatments" / "weeds.toml").write_text(TREATMENT, encoding="utf-8")
    return folder
