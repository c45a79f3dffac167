"""A small household in text, to be broken one place at a time."""

from pathlib import Path

LAWN = """\
name = "Test lawn"
units = "us"

[site]
latitude = 41.6
longitude = -93.6
time_zone = "America/Chicago"
elevation = "880 ft"
soil = "silt loam"
first_frost = "10-08"
use = "home-lawn"
local_ban = false

[[area]]
id = "front"
size = "3200 ft^2"
turf = ["Kentucky bluegrass"]
irrigation = "none"
soil_state = "moist"
soil_seen = 2026-09-20

[[area]]
id = "back"
size = "5400 ft^2"
turf = ["tall fescue", "Kentucky bluegrass"]
slope = "gentle"

[[area.irrigation]]
days = ["Tue", "Fri"]
at = "05:30"
depth = "0.15 in"

[[area.neighbour]]
name = "vegetable bed"
kind = "edible"
distance = "12 ft"
bearing = "90 deg"

[[sprayer]]
id = "knapsack"
tank = "4 gal"
carrier_rate = "1 gal/1000 ft^2"
work_rate = "9000 ft^2/h"
rinsed = true

[hours]
weekdays = ["06:30-08:30", "16:30-20:00"]
weekend = "08:00-19:00"

[notices]
evening = "18:30"

[[notices.channel]]
kind = "terminal"

[floors]
safety = 0.95
"""

LABEL = """\
# invented
product = "Test Concentrate"
registration_number = "TEST-1"
mode = "foliar"
sites = ["home-lawn"]
turf_species = ["Kentucky bluegrass", "tall fescue"]
rate = "1.5 floz/1000 ft^2"
maximum_per_application = "1.5 floz/1000 ft^2"
maximum_per_year = "3 floz/1000 ft^2"
minimum_interval = "14 days"
rainfast_time = "6 h"
re_entry = "when dry"
wind_max = "10 mph"
temperature_max = "85 degF"

[[active_ingredient]]
name = "exemplic acid"
acid_equivalent = "2 lb/gal"
"""

TREATMENT = """\
name = "Broadleaf weeds"
label = "concentrate"
areas = ["front", "back"]
target = "dandelion"
life_cycle = "perennial"
sprayer = "knapsack"
passes = 2
follow_up_from = "2 weeks"
follow_up_until = "3 weeks"
"""

HISTORY = """\
area,treatment,product,active_ingredients,started_at,ended_at,amount,size,who,note
front,broadleaf,Test Concentrate,exemplic acid,2026-08-25 17:05,2026-08-25 17:27,4.8 floz,3200 ft^2,me,
back,broadleaf,Test Concentrate,exemplic acid,2026-08-25 17:40,2026-08-25 18:16,8.1 floz,5400 ft^2,me,
"""

TEXTS = {
    "lawn.toml": LAWN,
    "labels/concentrate.toml": LABEL,
    "treatments/broadleaf.toml": TREATMENT,
    "history.csv": HISTORY,
}


def write(folder: Path, changes: dict[str, str | None] | None = None) -> Path:
    """The household in a folder, with other texts for some files; None leaves a file out."""
    for name, text in {**TEXTS, **(changes or {})}.items():
        if text is not None:
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
    return folder


def changed(name: str, old: str, new: str) -> dict[str, str]:
    """One file with one place changed; the place must be there exactly once."""
    assert TEXTS[name].count(old) == 1, (name, old)
    return {name: TEXTS[name].replace(old, new)}


def line_with(text: str, piece: str) -> int:
    """Number of the first line that holds a piece of text."""
    return next(number for number, line in enumerate(text.split("\n"), 1) if piece in line)
