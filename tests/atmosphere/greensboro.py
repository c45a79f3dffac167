"""The typical meteorological year of Greensboro NC in pvlib: a year of real hours to check against."""

from __future__ import annotations

import importlib
from pathlib import Path

import numpy as np

from advisor import sun
from advisor.atmosphere import evapotranspiration, moisture, radiation, stability, wind

from .comparison import Comparison

GREENSBORO = {"latitude": 36.1, "longitude": -79.95, "elevation": 273.0}


def greensboro():
    """The typical year of Greensboro NC in pvlib: hours stamped at their END, local standard time (UTC-5).

    Returns
    -------
    dict
        Arrays by hour: time (start of the hour, UTC), and dry, dew, wind, cloud, ceiling, radiation in SI.
    """
    pandas = importlib.import_module("pandas")
    path = Path(importlib.import_module("pvlib").__file__).parent / "data" / "723170TYA.CSV"
    table = pandas.read_csv(path, skiprows=1)
    month_day = table["Date (MM/DD/YYYY)"].str.slice(0, 5)
    hour_end = table["Time (HH:MM)"].str.slice(0, 2).astype(int).to_numpy()
    # Months of different years are stitched together; the sun is that of one common year. Another year moves
    # up to eight hours over an edge of the sun's elevation.
    days = ("1990-" + month_day.str.replace("/", "-", regex=False)).to_numpy().astype("datetime64[D]")
    time = days.astype("datetime64[s]") + ((hour_end - 1 + 5) * 3600).astype("timedelta64[s]")
    ceiling = table["CeilHgt (m)"].to_numpy(float)
    return {
        "time": time,
        "local_day": days,
        "air_temperature": table["Dry-bulb (C)"].to_numpy(float),
        "dew_point": table["Dew-point (C)"].to_numpy(float),
        "wind_speed": table["Wspd (m/s)"].to_numpy(float),
        "cloud_cover": table["TotCld (tenths)"].to_numpy(float) * 10.0,
        "ceiling": np.where(ceiling >= 77777, np.inf, ceiling),
        "shortwave": table["GHI (W/m^2)"].to_numpy(float),
        "extraterrestrial": table["ETR (W/m^2)"].to_numpy(float),
        "relative_humidity": table["RHum (%)"].to_numpy(float),
    }


def greensboro_turner_hours() -> np.ndarray:
    """Hours of the Greensboro year in each Turner class 1 to 7; see the rule in the test."""
    weather = greensboro()
    place = (GREENSBORO["latitude"], GREENSBORO["longitude"])
    middle = weather["time"] + np.timedelta64(1800, "s")
    hour = np.timedelta64(3600, "s")
    day = (sun.solar_elevation(middle - hour, *place) > 0) & (sun.solar_elevation(middle + hour, *place) > 0)
    classes = stability.turner_class(
        sun.solar_elevation(middle, *place), ~day, weather["cloud_cover"], weather["wind_speed"],
        weather["ceiling"],
    )  # fmt: skip
    return np.array([(classes == number).sum() for number in range(1, 8)])


def greensboro_july_et() -> np.ndarray:
    """Daily FAO-56 reference evapotranspiration of Greensboro's July [mm/d]."""
    weather = greensboro()
    july = weather["local_day"].astype("datetime64[M]") == np.datetime64("1990-07")
    by_day = {key: value[july].reshape(31, 24) for key, value in weather.items()}
    days = by_day["local_day"][:, 0]
    return evapotranspiration.reference_et_daily_from_weather(
        by_day["air_temperature"].max(axis=1),
        by_day["air_temperature"].min(axis=1),
        moisture.vapour_pressure_from_dew_point(by_day["dew_point"].mean(axis=1)),
        wind.wind_speed_2m(by_day["wind_speed"].mean(axis=1)),
        by_day["shortwave"].sum(axis=1) * 0.0036,
        GREENSBORO["latitude"],
        (days - np.datetime64("1990-01-01")).astype(float) + 1,
        GREENSBORO["elevation"],
    )


TURNER_HOURS = np.array([128, 726, 1153, 3389, 1139, 1495, 730])
"""Hours in class 1 to 7, counted independently on this file with the tables of EPA-454/R-99-005."""


def greensboro_turner() -> Comparison:
    return Comparison(
        "Turner classes", "EPA-454/R-99-005 tables 6-4 to 6-6", "an independent count on Greensboro's year",
        np.abs(greensboro_turner_hours() - TURNER_HOURS).max(), 0, "h", "the same tables, exactly",
    )  # fmt: skip


def greensboro_july_sum() -> Comparison:
    return Comparison(
        "July evapotranspiration", "FAO-56 eq. 6", "refet 0.5.0 on Greensboro's July: 156.7 mm",
        abs(greensboro_july_et().sum() - 156.7), 0.5, "mm", "the constants of FAO-56 and ASCE-EWRI",
    )  # fmt: skip


def greensboro_hourly_and_daily_et() -> Comparison:
    weather = greensboro()
    hourly = evapotranspiration.reference_et_hourly_from_weather(
        weather["time"], weather["air_temperature"],
        moisture.vapour_pressure_from_dew_point(weather["dew_point"]),
        wind.wind_speed_2m(weather["wind_speed"]), weather["shortwave"], **GREENSBORO,
    )  # fmt: skip
    july = weather["local_day"].astype("datetime64[M]") == np.datetime64("1990-07")
    gap = abs(hourly[july].sum() / greensboro_july_et().sum() - 1)
    return Comparison(
        "hourly evapotranspiration", "FAO-56 eq. 53",
        "FAO-56 eq. 6 on Greensboro's July (pvlib's typical year)", 100 * gap, 10.0, "%",
        "sum of the hours against the days: eq. 53 keeps 0.34 by day, which lowers it",
    )  # fmt: skip


def _greensboro_above(weather):
    return radiation.extraterrestrial_hourly(weather["time"], GREENSBORO["latitude"], GREENSBORO["longitude"])


def greensboro_extraterrestrial() -> Comparison:
    weather = greensboro()
    ours = _greensboro_above(weather) / 0.0036
    return Comparison(
        "extraterrestrial radiation, hourly", "FAO-56 eq. 28",
        "the typical year's own (Greensboro, in pvlib)",
        np.abs(ours - weather["extraterrestrial"]).max(), 25.0, "W/m2",
        "FAO-56's declination of the day, largest in the low sun of September",
    )  # fmt: skip


def greensboro_shortwave_from_cloud() -> Comparison:
    weather = greensboro()
    above = _greensboro_above(weather)
    clear = radiation.clear_sky_shortwave(above, GREENSBORO["elevation"])
    estimate = radiation.shortwave_from_cloud(weather["cloud_cover"], clear)
    month = weather["local_day"].astype("datetime64[M]").astype(int) % 12
    sums = [(estimate[month == m].sum(), 0.0036 * weather["shortwave"][month == m].sum()) for m in range(12)]
    return Comparison(
        "shortwave from cloud", "Kasten and Czeplak (1980)", "Greensboro's radiation (pvlib's typical year)",
        100 * max(abs(ours / theirs - 1) for ours, theirs in sums), 20.0, "%",
        "sums of the months; total cloud says nothing about how thick it is",
    )  # fmt: skip
