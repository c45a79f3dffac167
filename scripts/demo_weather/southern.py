"""Spring in the south-east of Australia, invented: hourly, then six hours apart.

Tue 22  a strong northerly before a change: too windy
Wed 23  behind the change a light north-westerly off the rose bed; the week's rain is to water the product in
Thu 24  a light easterly, straight at the rose bed
Fri 25  and later: values six hours apart, and what lies between is not known; rain every day from Saturday on

Written as local wall times, ten hours ahead of UTC (the clocks change after this week).
"""

from __future__ import annotations

from datetime import date

import numpy as np

from . import curves

YEAR, OFFSET = 2026, 10
LATITUDE, LONGITUDE, ELEVATION = -37.8, 145.0, 60
NOW = np.datetime64("2026-09-21T21", "h")
UPDATED = "2026-09-21T20:14:27Z"
#: the last hourly entry, the first six-hourly one, and the last, which has an instant only
LAST_HOURLY, FIRST_COARSE, LAST = "2026-09-24T11", "2026-09-24T12", "2026-10-01T12"

#: minimum and maximum [degC] of each local day
EXTREMES = {
    (9, 21): (9, 20), (9, 22): (12, 24), (9, 23): (9, 16.5), (9, 24): (7, 18), (9, 25): (9, 22),
    (9, 26): (11, 15), (9, 27): (8, 14), (9, 28): (8, 15), (9, 29): (7, 17), (9, 30): (8, 18),
    (10, 1): (9, 19), (10, 2): (9, 19),
}  # fmt: skip
DEW_POINT = {
    "09-22 06": 8.5, "09-22 15": 7.5, "09-22 20": 10, "09-23 06": 7.5, "09-23 14": 6.5, "09-24 06": 6,
    "09-24 15": 8.5, "09-25 06": 8.5, "09-25 18": 11, "09-26 06": 10, "09-26 18": 7.5, "09-28 06": 7,
    "09-29 06": 6, "09-30 18": 8, "10-01 23": 9,
}  # fmt: skip
#: mean wind at 10 m [m/s]
WIND = {
    "09-22 06": 6.5, "09-22 10": 9.5, "09-22 14": 11, "09-22 18": 9, "09-22 20": 7.5, "09-23 04": 4.2,
    "09-23 09": 2.5, "09-23 12": 2.4, "09-23 15": 2.4, "09-23 20": 1.8, "09-24 05": 1.2,
    "09-24 11": 2.3, "09-24 15": 2.4, "09-24 21": 1.8, "09-25 10": 3.5, "09-25 16": 5.5,
    "09-26 04": 6.5, "09-26 16": 5.5, "09-27 10": 4.5, "09-28 10": 3.8, "09-29 04": 1.8, "09-29 16": 3,
    "09-30 16": 3.2, "10-01 22": 2.5,
}  # fmt: skip
DIRECTION = {
    "09-22 06": 352, "09-22 18": 345, "09-22 20": 262, "09-23 06": 280, "09-23 12": 293,
    "09-23 18": 293, "09-23 23": 230, "09-24 06": 130, "09-24 12": 108, "09-24 21": 95, "09-25 10": 10,
    "09-25 22": 345, "09-26 04": 250, "09-27 10": 235, "09-28 16": 225, "09-29 16": 200,
    "09-30 16": 160, "10-01 22": 90,
}  # fmt: skip
CLOUD = {
    "09-22 06": 35, "09-22 14": 55, "09-22 20": 95, "09-23 03": 80, "09-23 11": 40, "09-23 17": 30,
    "09-24 06": 15, "09-24 18": 20, "09-25 10": 45, "09-25 22": 98, "09-26 16": 90, "09-27 16": 80,
    "09-28 16": 70, "09-29 16": 30, "10-01 22": 35,
}  # fmt: skip
#: start and hourly amounts [mm]
RAIN = {
    "09-22 19": (0.2, 0.4, 0.1),
    "09-26 15": (0.4, 0.8, 1.1, 1.4, 1.6, 1.6, 1.4, 1.1, 0.9, 0.7, 0.5, 0.4),
    "09-27 12": (0.4, 0.8, 1.1, 1.4, 1.6, 1.6, 1.4, 1.1, 0.9, 0.7, 0.5, 0.4),
    "09-28 06": (1.1, 1.4, 1.6, 1.6, 1.4, 1.1, 0.9, 0.7, 0.5, 0.4),
    "09-29 04": (1.1, 1.4, 1.6, 1.6, 1.4, 1.1, 0.9, 0.7, 0.5, 0.4),
    "09-29 22": (1.4, 1.6, 1.6, 1.4, 1.1, 0.9),
}
#: at sea level [hPa]
PRESSURE = {
    "09-22 06": 1009, "09-22 19": 1001, "09-23 12": 1015, "09-24 10": 1024, "09-25 10": 1014,
    "09-26 02": 1004, "09-27 10": 1010, "09-29 10": 1023, "10-01 22": 1019,
}  # fmt: skip

UNITS = {
    "air_pressure_at_sea_level": "hPa", "air_temperature": "celsius", "air_temperature_max": "celsius",
    "air_temperature_min": "celsius", "cloud_area_fraction": "%", "cloud_area_fraction_high": "%",
    "cloud_area_fraction_low": "%", "cloud_area_fraction_medium": "%",
    "dew_point_temperature": "celsius", "fog_area_fraction": "%", "precipitation_amount": "mm",
    "relative_humidity": "%", "ultraviolet_index_clear_sky": "1", "wind_from_direction": "degrees",
    "wind_speed": "m/s",
}  # fmt: skip


def _anchors(table: dict[str, float]) -> dict[np.datetime64, float]:
    return {curves.local(text, OFFSET, YEAR): value for text, value in table.items()}


def series() -> tuple[np.ndarray, dict[str, np.ndarray], np.ndarray]:
    """Hours (UTC), instants by the provider's names, and the rain [mm] of the hour that begins at each."""
    axis = curves.hours(str(NOW), "2026-10-01T18")
    count = len(axis)
    extremes = {date(YEAR, *day): (float(low), float(high)) for day, (low, high) in EXTREMES.items()}
    events = {curves.local(at, OFFSET, YEAR): amounts for at, amounts in RAIN.items()}
    fallen = curves.rain(axis + curves.HOUR, events)
    raining = curves.raining(np.append(0.0, fallen[:-1]), fallen)
    air = curves.smooth(curves.day_and_night(extremes, OFFSET), axis)
    air = air + curves.wobble(count, 0.1, "southern air")
    dew = curves.smooth(_anchors(DEW_POINT), axis) + curves.wobble(count, 0.1, "southern dew")
    air, dew = curves.with_rain(air, dew, raining, 100.7)
    cloud = np.clip(
        curves.smooth(_anchors(CLOUD), axis) + curves.wobble(count, 4.0, "southern cloud"), 0.0, 100.0
    )
    cloud = np.where(raining >= 0.5, np.maximum(cloud, 90.0), cloud)
    low = cloud * (0.6 + 0.3 * raining)
    sun = curves.shortwave(axis, LATITUDE, LONGITUDE, ELEVATION, np.zeros(count))
    wind = curves.smooth(_anchors(WIND), axis) * (1.0 + curves.wobble(count, 0.02, "southern wind"))
    turn = curves.smooth(_anchors(DIRECTION), axis) + curves.wobble(count, 2.0, "southern direction")
    return axis, {
        "air_pressure_at_sea_level": curves.smooth(_anchors(PRESSURE), axis),
        "air_temperature": air,
        "cloud_area_fraction": cloud,
        "cloud_area_fraction_high": 0.3 * cloud,
        "cloud_area_fraction_low": low,
        "cloud_area_fraction_medium": 0.5 * cloud,
        "dew_point_temperature": dew,
        "fog_area_fraction": np.zeros(count),
        "relative_humidity": curves.humidity(air, dew),
        # of a clear sky: about a hundredth of the irradiance
        "ultraviolet_index_clear_sky": sun / 115.0,
        "wind_from_direction": np.round(turn, 1) % 360.0,
        "wind_speed": wind,
    }, fallen  # fmt: skip


def answer() -> dict:
    """The whole answer, in the shape of a complete locationforecast."""
    axis, instants, fallen = series()
    written = {name: curves.plain(values, 1) for name, values in instants.items()}
    coarse, last = np.datetime64(FIRST_COARSE, "h"), np.datetime64(LAST, "h")
    entries = []
    for at, hour in enumerate(axis):
        if hour > last or (hour >= coarse and hour.astype("int64") % 6):
            continue
        hourly = hour < coarse
        gone = () if hourly else ("fog_area_fraction", "ultraviolet_index_clear_sky")
        data = {
            "instant": {"details": {name: values[at] for name, values in written.items() if name not in gone}}
        }
        if hour < last:
            if hour + 12 * curves.HOUR <= (coarse if hourly else last):
                data["next_12_hours"] = {"summary": {"symbol_code": _symbol(instants, fallen, at, 12)}}
            if hourly:
                data["next_1_hours"] = _period(instants, fallen, at, 1)
            # The last five hourly entries have none: it would end between two later entries.
            if not hourly or hour + 6 * curves.HOUR <= coarse:
                data["next_6_hours"] = _period(instants, fallen, at, 6)
        entries.append({"time": f"{hour}:00:00Z", "data": data})
    return {
        "type": "Feature",
        "remark": "Invented for demonstration, in the shape of a MET Norway answer.",
        "geometry": {"type": "Point", "coordinates": [LONGITUDE, LATITUDE, ELEVATION]},
        "properties": {"meta": {"updated_at": UPDATED, "units": UNITS}, "timeseries": entries},
    }


def _period(instants: dict[str, np.ndarray], fallen: np.ndarray, at: int, hours: int) -> dict:
    details = {"precipitation_amount": round(float(fallen[at : at + hours].sum()), 1)}
    if hours == 6:
        air = instants["air_temperature"][at : at + 7]
        details = {"air_temperature_max": float(air.max()), "air_temperature_min": float(air.min())} | details
    return {"summary": {"symbol_code": _symbol(instants, fallen, at, hours)}, "details": details}


def _symbol(instants: dict[str, np.ndarray], fallen: np.ndarray, at: int, hours: int) -> str:
    """The provider's word for the sky: by the rain, else by the cloud and whether the sun is up."""
    amount = float(fallen[at : at + hours].sum())
    if amount > 0.1 * hours:
        return "rain" if amount > 0.4 * hours else "lightrain"
    cloud = float(instants["cloud_area_fraction"][at : at + hours].mean())
    if cloud > 80.0:
        return "cloudy"
    words = "clearsky" if cloud < 13.0 else "fair" if cloud < 38.0 else "partlycloudy"
    return words + ("_day" if instants["ultraviolet_index_clear_sky"][at] > 0.0 else "_night")
