"""A week of September in the US Midwest, invented: one story a day, each with its own reason.

Mon 21  windy all day
Tue 22  a light easterly breeze and sun, mild and dry until Wednesday evening
Wed 23  a southerly, then a front with rain from late afternoon on
Thu 24  behind the front fresh and dry; the night to Friday is frosty
Fri 25  high pressure, hardly a breath of wind; a still, clear evening and another frost
Sat 26  fair, the breeze from the west
Sun 27  hot and gusty until a front brings rain in the evening
Mon 28  behind a front, fair; the data end in the evening

Written as local wall times (five hours behind UTC), degrees Fahrenheit and miles per hour, which are
easier to picture for this place; the answer is in UTC and SI.
"""

from __future__ import annotations

from datetime import date

import numpy as np

from . import curves

YEAR, OFFSET = 2026, -5
#: the place of the answer: a cell of the model, a little off the household's point
LATITUDE, LONGITUDE, ELEVATION = 41.604, -93.597, 268.0
NOW = np.datetime64("2026-09-21T12", "h")
FIRST, LAST = "2026-09-11T00", "2026-09-28T23"
#: beyond these leads [h] the provider's chances are six-hour chances and its amounts three-hour sums
HOURLY_CHANCES, HOURLY_AMOUNTS = 36, 120

#: minimum and maximum [degF] of each local day of September; the last gives the night's fall only
EXTREMES = {
    10: (58, 81), 11: (58, 82), 12: (60, 83), 13: (62, 81), 14: (61, 73), 15: (57, 69), 16: (51, 71),
    17: (54, 70), 18: (50, 70), 19: (52, 72), 20: (55, 69), 21: (55, 70), 22: (50, 70), 23: (51, 69),
    24: (44, 63), 25: (29.2, 63), 26: (31.4, 66), 27: (54, 83), 28: (56, 70), 29: (49, 70),
}  # fmt: skip
#: dew point of the air mass [degC]; at night it is held below the air temperature
DEW_POINT = {
    "09-10 19": 14.0, "09-13 12": 15.5, "09-14 21": 15.0, "09-15 12": 11.5, "09-16 12": 8.5,
    "09-17 15": 11.5, "09-18 12": 8.0, "09-19 18": 10.0, "09-20 04": 12.0, "09-20 15": 8.5,
    "09-21 14": 7.0, "09-22 06": 7.5, "09-22 15": 8.5, "09-23 06": 9.0, "09-23 13": 11.5,
    "09-23 19": 10.5, "09-23 23": 5.5, "09-24 08": 1.5, "09-24 15": 0.5, "09-25 06": -2.5,
    "09-25 14": -1.0, "09-26 07": -1.0, "09-26 13": 5.0, "09-26 20": 9.0, "09-27 07": 12.0,
    "09-27 17": 15.5, "09-27 23": 15.0, "09-28 05": 10.5, "09-28 14": 8.0, "09-28 20": 7.0,
}  # fmt: skip
#: mean wind at 10 m [mph]
WIND = {
    "09-10 19": 7, "09-11 15": 11, "09-12 03": 6, "09-12 15": 12, "09-13 03": 8, "09-13 15": 13,
    "09-14 20": 11, "09-15 06": 8, "09-15 15": 10, "09-16 04": 4, "09-16 15": 8, "09-17 15": 10,
    "09-18 04": 4, "09-18 14": 8, "09-19 05": 4, "09-19 15": 9, "09-20 04": 9, "09-20 14": 11,
    "09-20 23": 7, "09-21 05": 8, "09-21 09": 13, "09-21 11": 15.5, "09-21 14": 18, "09-21 17": 16.5,
    "09-21 20": 10, "09-22 01": 4, "09-22 08": 4, "09-22 11": 6.1, "09-22 17": 5.9, "09-22 20": 4,
    "09-23 01": 4, "09-23 08": 4.5, "09-23 13": 5.2, "09-23 15": 7, "09-23 17": 12, "09-23 20": 10,
    "09-24 01": 7, "09-24 08": 5.5, "09-24 12": 7.5, "09-24 15": 5.1, "09-24 17": 5.1,
    "09-24 20": 2, "09-25 05": 0.8, "09-25 11": 0.6, "09-25 17": 0.6, "09-25 21": 0.7, "09-26 05": 2,
    "09-26 09": 4.5, "09-26 13": 5.8, "09-26 17": 5.8, "09-26 21": 6, "09-27 04": 10, "09-27 09": 16,
    "09-27 14": 20, "09-27 19": 17, "09-27 23": 13, "09-28 05": 9, "09-28 10": 6,
    "09-28 16": 5, "09-28 20": 4,
}  # fmt: skip
#: gust over mean wind before the sun heats the ground: a steady breeze on the days that are to be worked
GUSTINESS = {
    "09-21 17": 1.4, "09-22 00": 1.3, "09-22 08": 1.15, "09-22 18": 1.18, "09-23 12": 1.18,
    "09-23 18": 1.4, "09-24 03": 1.4, "09-24 09": 1.16, "09-24 18": 1.16, "09-25 00": 1.4, "09-26 05": 1.4,
    "09-26 09": 1.2, "09-26 18": 1.2, "09-27 00": 1.4, "09-28 03": 1.4, "09-28 09": 1.2,
}  # fmt: skip
#: where the wind comes from [degrees], not wrapped, so that a veer keeps its sense
DIRECTION = {
    "09-10 19": 190, "09-13 12": 200, "09-14 22": 240, "09-15 12": 310, "09-16 12": 290,
    "09-17 12": 200, "09-18 06": 320, "09-19 06": 280, "09-19 18": 190, "09-20 06": 270,
    "09-20 20": 300, "09-21 12": 285, "09-21 22": 330, "09-22 04": 410, "09-22 10": 454,
    "09-22 17": 450, "09-23 00": 480, "09-23 08": 530, "09-23 15": 560, "09-23 18": 600,
    "09-23 21": 670, "09-24 08": 685, "09-24 17": 695, "09-25 06": 740, "09-25 17": 830,
    "09-26 04": 910, "09-26 09": 985, "09-26 17": 990, "09-26 22": 920, "09-27 06": 910,
    "09-27 18": 925, "09-27 23": 1040, "09-28 08": 1150, "09-28 18": 1175,
}  # fmt: skip
#: [%] of the sky
CLOUD = {
    "09-10 19": 30, "09-12 12": 35, "09-13 15": 60, "09-14 18": 95, "09-15 06": 90, "09-15 18": 45,
    "09-16 12": 20, "09-17 13": 85, "09-17 20": 60, "09-18 12": 20, "09-19 12": 30, "09-19 23": 90,
    "09-20 08": 80, "09-20 18": 30, "09-21 06": 20, "09-21 15": 45, "09-21 22": 15, "09-22 10": 8,
    "09-22 18": 10, "09-23 05": 25, "09-23 11": 55, "09-23 16": 92, "09-23 21": 96, "09-24 03": 70,
    "09-24 09": 15, "09-24 14": 30, "09-24 20": 4, "09-25 09": 5, "09-25 14": 25, "09-25 20": 3,
    "09-26 08": 8, "09-26 14": 20, "09-27 06": 15, "09-27 13": 35, "09-27 18": 80, "09-27 22": 95,
    "09-28 05": 94, "09-28 11": 45, "09-28 18": 30,
}  # fmt: skip
#: chance of rain where none falls [%]
DRY_CHANCE = {
    "09-10 19": 4, "09-14 12": 18, "09-15 12": 5, "09-17 08": 15, "09-18 06": 3, "09-19 20": 15,
    "09-20 12": 4, "09-21 12": 1, "09-22 08": 1, "09-22 10": 0, "09-22 20": 0, "09-23 06": 2, "09-23 12": 4,
    "09-23 21": 30, "09-24 04": 5, "09-24 08": 0, "09-25 18": 0, "09-26 17": 1, "09-27 04": 4,
    "09-27 12": 15, "09-27 18": 35, "09-28 01": 30, "09-28 05": 8, "09-28 09": 2, "09-28 12": 1,
}  # fmt: skip
#: start of the rain, and its hourly amounts [mm]
RAIN = {
    "09-14 20": (1.0, 2.4, 3.1, 2.6, 2.2, 1.4, 0.9, 0.4),
    "09-17 15": (0.6, 2.1, 1.5, 0.5, 0.3),
    "09-20 02": (1.2, 2.9, 3.6, 2.8, 1.6, 0.7),
    "09-23 17": (0.8, 1.7, 2.2, 1.8, 1.4, 1.0, 0.7, 0.4, 0.3, 0.2),
    "09-27 19": (2.1, 3.0, 2.4, 2.0, 1.2, 0.6, 0.4, 0.2, 0.1),
}
#: pressure at the ground [hPa]
PRESSURE = {
    "09-10 19": 985, "09-13 12": 981, "09-14 22": 976, "09-16 12": 987, "09-17 15": 981,
    "09-18 20": 988, "09-20 03": 978, "09-20 20": 983, "09-21 14": 985, "09-22 10": 992,
    "09-23 06": 985, "09-23 18": 977, "09-24 06": 986, "09-25 06": 996, "09-26 06": 990,
    "09-27 18": 977, "09-28 02": 978, "09-28 18": 988,
}  # fmt: skip


def _anchors(table: dict[str, float], factor: float = 1.0) -> dict[np.datetime64, float]:
    return {curves.local(text, OFFSET, YEAR): factor * value for text, value in table.items()}


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


def _blocks(axis_ends: np.ndarray, values: np.ndarray, lead: int, hours: int, join) -> np.ndarray:
    """Beyond a lead, whole groups of hours that share one value, as the provider fills them."""
    out = values.copy()
    group = ((axis_ends - curves.HOUR).astype("int64")) // hours
    beyond = (axis_ends - curves.HOUR - NOW) / curves.HOUR >= lead
    for one in np.unique(group[beyond]):
        where = group == one
        out[where] = join(values[where])
    return out


def series() -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Hour labels (UTC) and the values by the provider's names, in SI."""
    axis = curves.hours(FIRST, LAST)
    count = len(axis)
    past = axis <= NOW

    def rough(size: float, seed: str) -> np.ndarray:
        """What was observed is rougher than what is forecast."""
        return curves.wobble(count, size, seed) * np.where(past, 1.0, 0.4)

    extremes = {date(YEAR, 9, day): (_celsius(low), _celsius(high)) for day, (low, high) in EXTREMES.items()}
    air = curves.smooth(curves.day_and_night(extremes, OFFSET), axis) + rough(0.2, "prairie air")
    dew = curves.smooth(_anchors(DEW_POINT), axis) + rough(0.25, "prairie dew")
    fallen = curves.rain(axis, {curves.local(at, OFFSET, YEAR): amounts for at, amounts in RAIN.items()})
    raining = curves.raining(fallen, np.append(fallen[1:], 0.0))
    air, dew = curves.with_rain(air, dew, raining, 98.2)
    steady = curves.smooth(_anchors(WIND, curves.MPH), axis)
    wind = np.round(np.maximum(steady * (1.0 + rough(0.06, "prairie wind")), 0.1), 2)
    turn = curves.smooth(_anchors(DIRECTION), axis) + rough(6.0, "prairie direction")
    cloud = np.clip(curves.smooth(_anchors(CLOUD), axis) + rough(6.0, "prairie cloud"), 0.0, 100.0)
    cloud = np.where(raining >= 0.5, np.maximum(cloud, 92.0), cloud)
    before = np.append(cloud[:1], cloud[:-1])
    sun = curves.shortwave(axis - curves.HOUR, LATITUDE, LONGITUDE, ELEVATION, 0.5 * (before + cloud))
    strongest = np.maximum(wind, np.append(wind[:1], wind[:-1]))
    # a little gustier where the sun heats the ground
    gusty = curves.smooth(_anchors(GUSTINESS), axis) * (1.0 + 0.03 * np.minimum(sun / 500.0, 1.0))
    factor = gusty + np.abs(rough(0.06, "prairie gust"))
    gust = strongest * factor + 0.05
    background = curves.smooth(_anchors(DRY_CHANCE), axis) * (1.0 + rough(0.2, "prairie chance"))
    chance = np.rint(np.clip(curves.rain_chance(fallen, background), 0.0, 100.0))
    pressure = curves.smooth(_anchors(PRESSURE), axis) + rough(0.15, "prairie pressure")
    return axis, {
        "temperature_2m": air,
        "relative_humidity_2m": curves.humidity(air, dew),
        "dew_point_2m": dew,
        "wind_speed_10m": wind,
        "wind_direction_10m": np.rint(turn) % 360.0,
        "wind_gusts_10m": gust,
        "precipitation": _blocks(axis, fallen, HOURLY_AMOUNTS, 3, np.mean),
        "precipitation_probability": _blocks(axis, chance, HOURLY_CHANCES, 6, np.max),
        "cloud_cover": cloud,
        "shortwave_radiation": sun,
        "surface_pressure": pressure,
        "soil_temperature_0_to_10cm": curves.lagged(air, sun, 9.0),
    }


#: unit and decimals as the provider writes them
WRITTEN = {
    "temperature_2m": ("°C", 1), "relative_humidity_2m": ("%", 0), "dew_point_2m": ("°C", 1),
    "wind_speed_10m": ("m/s", 2), "wind_direction_10m": ("°", 0), "wind_gusts_10m": ("m/s", 2),
    "precipitation": ("mm", 1), "precipitation_probability": ("%", 0), "cloud_cover": ("%", 0),
    "shortwave_radiation": ("W/m²", 0), "surface_pressure": ("hPa", 1),
    "soil_temperature_0_to_10cm": ("°C", 1),
}  # fmt: skip


def answer() -> dict:
    """The whole answer, in the shape of an Open-Meteo forecast in GMT and SI units."""
    axis, values = series()
    return {
        "remark": "Invented for demonstration, in the shape of an Open-Meteo answer.",
        "latitude": LATITUDE,
        "longitude": LONGITUDE,
        "generationtime_ms": 0.5,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": ELEVATION,
        "hourly_units": {"time": "iso8601"} | {name: unit for name, (unit, _) in WRITTEN.items()},
        "hourly": {"time": [str(at) + ":00" for at in axis]}
        | {name: curves.plain(values[name], digits) for name, (_, digits) in WRITTEN.items()},
    }
