"""A household and a fortnight of weather of the tests' own, so that no story told elsewhere decides here.

Everything is invented. The weather is mild, dry and breezy from 11 to 29 September 2026, with rain in the week before
the 20th and on Tuesday the 22nd, 17:00 to 19:00 local time; on Friday the 25th, 16:00, every limit holds on both areas.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

LAWN = """\
name = "Test lawn"
units = "us"
for_hire = false

[site]
latitude = 41.6
longitude = -93.6
time_zone = "America/Chicago"
elevation = "880 ft"
soil = "silty clay loam"
first_frost = "10-08"
use = "home-lawn"
local_ban = false

[[area]]
id = "front"
name = "front lawn"
size = "3,200 ft^2"
turf = ["Kentucky bluegrass", "perennial ryegrass"]
irrigation = "none"
soil_state = "moist"
soil_seen = 2026-09-20
green_share = "95 percent"
last_mowed = 2026-09-18
open_flowers = false

[[area]]
id = "back"
name = "back lawn"
size = "5,400 ft^2"
turf = ["Kentucky bluegrass", "tall fescue"]
soil_state = "moist"
soil_seen = 2026-09-20
green_share = "90 percent"
last_mowed = 2026-09-18
open_flowers = false

[[area.irrigation]]
days = ["Tue", "Fri"]
at = "05:30"
depth = "0.15 in"
duration = "40 min"

[[area.neighbour]]
name = "vegetable bed"
kind = "edible"
distance = "12 ft"
bearing = "90 deg"
arc = "50 deg"
sensitivity = "high"

[[sprayer]]
id = "knapsack"
name = "four-gallon knapsack"
tank = "4 gal"
measure = "measuring cylinder, steps of 0.1 fl oz"
carrier_rate = "1 gal/1000 ft^2"
work_rate = "9000 ft^2/h"
clean_up = "20 min"
last_contents = "Test Concentrate"
rinsed = true

[hours]
weekdays = ["11:30-13:30", "15:30-19:00"]
weekend = "08:00-19:00"

[notices]
evening = "18:30"

[[notices.channel]]
kind = "terminal"

[decision]
assumed_members = 0
horizon = "48 h"
"""

LABEL = """\
product = "Test Concentrate"
registration_number = "TEST-0001"
invented = true
mode = "foliar"
formulation = "liquid"
sites = ["home-lawn"]
turf_species = ["Kentucky bluegrass", "perennial ryegrass", "tall fescue"]
stages = ["vegetative", "rosette"]
rate = "1.5 floz/1000 ft^2"
maximum_per_application = "1.5 floz/1000 ft^2"
maximum_per_year = "3 floz/1000 ft^2"
maximum_passes_per_year = 2
minimum_interval = "14 days"
rainfast_time = "6 h"
wind_min = "3 mph"
wind_max = "10 mph"
temperature_max = "85 degF"
mowing_before = "2 days"
mowing_after = "2 days"
weeks_to_effect = "3 weeks"
re_entry = "when the spray has dried"
signal_word = "CAUTION"
volatile = false
root_active = false
restricted_use = false
adjuvant = "allowed"
adjuvant_share = "0.25 percent"

[[active_ingredient]]
name = "exemplic acid"
acid_equivalent = "2 lb/gal"

[[active_ingredient]]
name = "samplopyr"
acid_equivalent = "0.25 lb/gal"
"""

TREATMENT = """\
name = "Broadleaf weeds"
label = "concentrate"
areas = ["front", "back"]
target = ["dandelion", "white clover"]
life_cycle = "perennial"
stage = "vegetative"
sprayer = "knapsack"
passes = 2
follow_up_from = "2 weeks"
follow_up_until = "3 weeks"
"""

HISTORY = """\
area,treatment,product,active_ingredients,started_at,ended_at,amount,size,who,note
front,broadleaf,,,2026-08-25 17:05,2026-08-25 17:27,4.8 floz,"3,200 ft^2",me,"mild, light wind"
back,broadleaf,,,2026-08-25 17:40,2026-08-25 18:16,8.1 floz,"5,400 ft^2",me,"mild, light wind"
"""

TEXTS = {
    "lawn.toml": LAWN,
    "labels/concentrate.toml": LABEL,
    "treatments/broadleaf.toml": TREATMENT,
    "history.csv": HISTORY,
}

FIRST, HOURS = np.datetime64("2026-09-11T05", "h"), 18 * 24


def write(folder: Path) -> Path:
    """The household's folder, with its weather beside it in `weather.json`."""
    for name, text in TEXTS.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    (folder / "weather.json").write_bytes(answer())
    return folder


def series(first: np.datetime64 = FIRST, hours: int = HOURS) -> dict[str, np.ndarray]:
    """Mild, dry, breezy weather by the hour, in SI."""
    axis = first + np.arange(hours)
    local = axis.astype("datetime64[h]").astype(int) - 5
    day, hour = local // 24, local % 24
    swing = np.cos((hour - 15) / 24 * 2 * np.pi)
    date = np.array([np.datetime64(int(one), "D") for one in day])
    week_before = (date < np.datetime64("2026-09-20")) & (hour == 3)
    tuesday = (date == np.datetime64("2026-09-22")) & (hour >= 17) & (hour < 19)
    return {
        "air_temperature": 17.0 + 5.0 * swing + 0.8 * np.sin(day),
        "relative_humidity": 62.0 - 18.0 * swing,
        "wind_speed_10m": 2.9 + 0.3 * swing,
        "wind_from_direction": np.full(hours, 126.0),
        "wind_gust": 4.6 + 0.3 * swing,
        "cloud_cover": np.full(hours, 30.0),
        "precipitation": np.where(tuesday, 6.0, np.where(week_before, 8.0, 0.0)),
    }


def answer() -> bytes:
    """The weather in the shape of an Open-Meteo answer, which does not say when it was fetched."""
    names = {
        "air_temperature": ("temperature_2m", "°C"), "relative_humidity": ("relative_humidity_2m", "%"),
        "wind_speed_10m": ("wind_speed_10m", "m/s"), "wind_from_direction": ("wind_direction_10m", "°"),
        "wind_gust": ("wind_gusts_10m", "m/s"), "cloud_cover": ("cloud_cover", "%"),
        "precipitation": ("precipitation", "mm"),
    }  # fmt: skip
    values = series()
    times = [str(one) + ":00" for one in FIRST + np.arange(HOURS)]
    hourly = {"time": times, "precipitation_probability": [5] * HOURS}
    # what a provider states of an hour's rain, gust and chance is of the hour before its time
    for ours, (theirs, _) in names.items():
        row = np.round(values[ours], 2)
        if ours in ("precipitation", "wind_gust"):
            row = np.concatenate([row[:1], row[:-1]])
        hourly[theirs] = row.tolist()
    units = dict(names.values())
    whole = {
        "latitude": 41.6, "longitude": -93.6, "elevation": 268.0, "generationtime_ms": 0.1, "utc_offset_seconds": 0,
        "timezone": "GMT", "timezone_abbreviation": "GMT",
        "hourly_units": {"time": "iso8601", "precipitation_probability": "%", **units}, "hourly": hourly,
    }  # fmt: skip
    return json.dumps(whole, ensure_ascii=False).encode()
