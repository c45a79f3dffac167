"""Position of the sun, sunrise, sunset and radiation above the air against pvlib and PyEphem."""

from __future__ import annotations

import importlib

import numpy as np

from advisor import sun
from advisor.atmosphere import radiation, wind

from .comparison import Comparison, version_of


def sun_position_pvlib() -> Comparison:
    pvlib = importlib.import_module("pvlib")
    pandas = importlib.import_module("pandas")
    random = np.random.default_rng(20240501)
    worst = 0.0
    for latitude, longitude in zip(random.uniform(-70, 75, 30), random.uniform(-180, 180, 30), strict=True):
        seconds = random.uniform(0, 60 * 365.25 * 86400, 200).astype("timedelta64[s]")
        times = np.datetime64("1990-01-01", "s") + seconds
        index = pandas.DatetimeIndex(times, tz="UTC")
        theirs = pvlib.solarposition.get_solarposition(index, latitude, longitude, method="nrel_numpy")
        elevation, azimuth = sun.solar_position(times, latitude, longitude)
        around = wind.angle_between(azimuth, theirs["azimuth"].to_numpy()) * np.cos(np.radians(elevation))
        worst = max(worst, np.abs(elevation - theirs["elevation"].to_numpy()).max(), around.max())
    return Comparison(
        "position of the sun", "NOAA solar calculator equations", version_of("pvlib") + " (NREL SPA)",
        worst, 0.02, "degrees",
        "1990 to 2050, 70 S to 75 N: the low-accuracy theory leaves out planets and parallax",
    )  # fmt: skip


def sun_events_ephem(latitudes=(-55, -35, 0, 20, 36, 45, 52, 60), bound=12.0) -> Comparison:
    ephem = importlib.import_module("ephem")
    worst = 0.0
    for latitude in latitudes:
        for longitude in (-170.0, -122.0, -75.0, 0.0, 20.0, 100.0, 175.0):
            for day in np.arange(np.datetime64("2024-01-01"), np.datetime64("2025-01-01"), 9):
                events = sun.sun_events(day, float(latitude), longitude)
                observer = ephem.Observer()
                observer.lat, observer.lon = str(latitude), str(longitude)
                observer.pressure, observer.horizon = 0, "-0:34"
                observer.date = ephem.Date(events.transit.astype("datetime64[ms]").item())
                disc = ephem.Sun()
                theirs = (observer.previous_rising(disc), observer.next_setting(disc))
                for ours, stamp in zip((events.sunrise, events.sunset), theirs, strict=True):
                    gap = (ours - np.datetime64(stamp.datetime(), "ms")) / np.timedelta64(1, "s")
                    worst = max(worst, abs(gap))
    return Comparison(
        f"sunrise and sunset, latitudes {min(latitudes)} to {max(latitudes)}",
        "NOAA solar calculator equations", version_of("ephem"), worst, bound, "s",
        "2024: PyEphem's disc varies with the distance, NOAA's zenith is 90.833 degrees all year; "
        "the gap grows where the sun grazes the horizon",
    )  # fmt: skip


def sun_events_ephem_near_the_circle() -> Comparison:
    return sun_events_ephem((64, 65.5), 40.0)


def extraterrestrial_pvlib() -> Comparison:
    pvlib = importlib.import_module("pvlib")
    days = np.arange(1, 366)
    step = np.timedelta64(600, "s")
    times = np.datetime64("2023-01-01T00:05:00", "s") + np.arange(365 * 144) * step
    normal = pvlib.irradiance.get_extra_radiation(days, method="spencer")
    worst = 0.0
    for latitude in (-35.0, 0.0, 25.0, 40.0, 50.0):
        height = np.radians(sun.solar_elevation(times, latitude, 0.0))
        energy = np.maximum(np.sin(height), 0.0).reshape(365, 144).sum(axis=1) * 600 * normal / 1e6
        worst = max(worst, np.abs(radiation.extraterrestrial_daily(latitude, days) - energy).max())
    return Comparison(
        "extraterrestrial radiation", "FAO-56 eq. 21",
        version_of("pvlib") + " (Spencer), integrated over the day", worst, 0.9, "MJ m-2 d-1",
        "FAO-56 takes one declination a day, up to 0.6 degrees off, and a solar constant of 1367 W/m2",
    )  # fmt: skip
