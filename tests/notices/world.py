"""A household and a weather of these tests' own invention: every afternoon is good, until a test spoils some hours."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta

LAWN = """
name = "Test lawn"
units = "us"

[site]
latitude = 41.6
longitude = -93.6
time_zone = "America/Chicago"
elevation = "880 ft"
soil = "silty clay loam"
slope = "flat"
first_frost = "10-08"
use = "home-lawn"
local_ban = false

[[area]]
id = "front"
name = "front lawn"
size = "3,200 ft^2"
turf = ["Kentucky bluegrass"]
turf_state = "active"
irrigation = "none"
rooting_depth = "12 in"
soil_state = "wet"
soil_seen = 2026-09-20
green_share = 0.95
last_mowed = 2026-09-16
open_flowers = false

[[area]]
id = "back"
name = "back lawn"
size = "5,400 ft^2"
turf = ["Kentucky bluegrass"]
turf_state = "active"
irrigation = "none"
rooting_depth = "12 in"
soil_state = "wet"
soil_seen = 2026-09-20
green_share = 0.95
last_mowed = 2026-09-16
open_flowers = false

[[sprayer]]
id = "knapsack"
tank = "4 gal"
measure = "measuring cylinder, steps of 0.1 fl oz"
carrier_rate = "1 gal/1000 ft^2"
work_rate = "20000 ft^2/h"
clean_up = "20 min"
last_contents = "Test Concentrate"
rinsed = true

[hours]
every_day = "11:00-17:00"

[notices]
evening = "18:30"
morning = "06:00"
{settings}
[[notices.channel]]
kind = "file"
path = "notices"

[decision]
horizon = "96 h"
assumed_members = 0
"""

LABEL = """
product = "Test Concentrate"
registration_number = "TEST-0001"
invented = true
mode = "foliar"
formulation = "liquid"
sites = ["home-lawn"]
turf_species = ["Kentucky bluegrass"]
rate = "1.5 floz/1000 ft^2"
maximum_per_application = "1.5 floz/1000 ft^2"
maximum_per_year = "3 floz/1000 ft^2"
maximum_passes_per_year = 2
minimum_interval = "14 days"
rainfast_time = "6 h"
wind_min = "3 mph"
wind_max = "10 mph"
temperature_max = "85 degF"
weeks_to_effect = "3 weeks"
re_entry = "when the spray has dried"
volatile = false
root_active = false
restricted_use = false
adjuvant = "forbidden"

[[active_ingredient]]
name = "exemplic acid"
acid_equivalent = "2 lb/gal"
"""

TREATMENT = """
name = "Broadleaf weeds"
label = "concentrate"
areas = ["front", "back"]
method = "broadcast"
target = ["dandelion"]
life_cycle = "perennial"
stage = "vegetative"
sprayer = "knapsack"
passes = 2
follow_up_from = "2 weeks"
follow_up_until = "3 weeks"
start_from = 2026-08-20
"""

HISTORY = """area,treatment,product,active_ingredients,started_at,ended_at,amount,size,who,note
front,broadleaf,Test Concentrate,exemplic acid,2026-08-25 17:05,2026-08-25 17:27,4.8 floz,"3,200 ft^2",one,
back,broadleaf,Test Concentrate,exemplic acid,2026-08-25 17:40,2026-08-25 18:16,8.1 floz,"5,400 ft^2",one,
"""

UNITS = {
    "temperature_2m": "°C", "relative_humidity_2m": "%", "dew_point_2m": "°C", "wind_speed_10m": "m/s",
    "wind_direction_10m": "°", "wind_gusts_10m": "m/s", "precipitation": "mm", "precipitation_probability": "%",
    "cloud_cover": "%", "shortwave_radiation": "W/m²", "surface_pressure": "hPa", "soil_temperature_0_to_10cm": "°C",
}  # fmt: skip
_WOBBLE = ("wind_speed_10m", "wind_gusts_10m", "temperature_2m", "dew_point_2m", "surface_pressure")
#: the lawn was watered well by rain before these days
ALWAYS = (("2026-09-19T20:00", "2026-09-20T04:00", {"precipitation": 2.5, "precipitation_probability": 90.0}),)
FIRST, DAYS = datetime(2026, 9, 10, tzinfo=UTC), 26
#: strong gusts and a shower, as what is added to the good weather
STORM = {"wind_gusts_10m": 17.0}
SHOWER = {"precipitation": 0.4, "precipitation_probability": 90.0}


def write(folder, **settings) -> None:
    lines = "".join(f"{key} = {json.dumps(value)}\n" for key, value in settings.items())
    for name, text in (
        ("lawn.toml", LAWN.replace("{settings}", lines)), ("labels/concentrate.toml", LABEL),
        ("treatments/broadleaf.toml", TREATMENT), ("history.csv", HISTORY),
    ):  # fmt: skip
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)


def answer(*spoilt) -> bytes:
    """An answer in the shape of Open-Meteo; each of `spoilt` is (from, until, what is added), UTC."""
    times = [FIRST + timedelta(hours=hour) for hour in range(24 * DAYS)]
    names = [time.strftime("%Y-%m-%dT%H:%M") for time in times]
    hourly = {"time": names, **{name: [] for name in UNITS}}
    for name, time in zip(names, times, strict=True):
        for key, value in _good((time.hour - 5.5) % 24).items():
            # The same value for days would count as a stuck sensor.
            wobble = 0.05 * math.sin(time.timestamp() / 5000.0) if key in _WOBBLE else 0.0
            more = sum(changes.get(key, 0.0) for since, until, changes in ALWAYS + spoilt if since <= name < until)
            hourly[key].append(round(value + wobble + more, 2))
    whole = {
        "remark": "Invented.", "latitude": 41.604, "longitude": -93.597, "utc_offset_seconds": 0, "timezone": "GMT",
        "timezone_abbreviation": "GMT", "elevation": 268.0, "generationtime_ms": 0.5,
        "hourly_units": {"time": "iso8601", **UNITS}, "hourly": hourly,
    }  # fmt: skip
    return json.dumps(whole).encode()


def _good(hour: float) -> dict[str, float]:
    """The weather at an hour of local time: mild nights, a breeze in the afternoon, some cloud, no rain."""
    warm = math.cos((hour - 15.0) / 24.0 * 2.0 * math.pi)
    sun = max(math.sin((hour - 6.5) / 12.0 * math.pi), 0.0)
    humidity = 62.0 - 16.0 * warm
    temperature = 17.0 + 5.0 * warm
    return {
        "temperature_2m": round(temperature, 1), "relative_humidity_2m": round(humidity),
        "dew_point_2m": round(temperature - (100.0 - humidity) / 5.0, 1), "wind_speed_10m": round(3.0 + 0.4 * warm, 2),
        "wind_direction_10m": 200, "wind_gusts_10m": 4.2, "precipitation": 0.0, "precipitation_probability": 0,
        "cloud_cover": 20, "shortwave_radiation": round(620.0 * sun), "surface_pressure": 985.0,
        "soil_temperature_0_to_10cm": 17.0,
    }  # fmt: skip
