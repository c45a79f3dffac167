"""Reference evapotranspiration against refet on random weather."""

from __future__ import annotations

import importlib

import numpy as np

from advisor import sun
from advisor.atmosphere import evapotranspiration, moisture, radiation, wind

from .comparison import Comparison, version_of


def _random_weather(count=4000):
    random = np.random.default_rng(56)
    weather = {"lat": random.uniform(25, 60, count), "doy": random.integers(1, 366, count).astype(float)}
    weather["elev"] = random.uniform(0, 2500, count)
    weather["tmin"] = random.uniform(-5, 25, count)
    weather["tmax"] = weather["tmin"] + random.uniform(2, 20, count)
    weather["ea"] = moisture.saturation_vapour_pressure(weather["tmin"]) * random.uniform(0.4, 1, count)
    weather["share"] = random.uniform(0.05, 0.78, count)
    weather["uz"] = random.uniform(0.3, 8, count)
    return random, weather


def _daily_refet(surface: str, ours: str, bound: float, why: str) -> Comparison:
    refet = importlib.import_module("refet")
    _, w = _random_weather()
    above = radiation.extraterrestrial_daily(w["lat"], w["doy"])
    incoming, clear = above * w["share"], radiation.clear_sky_shortwave(above, w["elev"])
    speed, pressure = wind.wind_speed_2m(w["uz"]), moisture.atmospheric_pressure(w["elev"])
    theirs = refet.Daily(
        tmin=w["tmin"], tmax=w["tmax"], ea=w["ea"], rs=incoming, uz=w["uz"], zw=10.0, elev=w["elev"],
        lat=w["lat"], doy=w["doy"], method="asce",
    )  # fmt: skip
    theirs = theirs.eto() if surface == "short" else theirs.etr()
    if ours == "asce":
        longwave = radiation.net_longwave_daily(w["tmax"], w["tmin"], w["ea"], incoming, clear, "asce")
        energy = radiation.net_radiation(radiation.net_shortwave(incoming), longwave)
        found = evapotranspiration.asce_et_daily(
            w["tmax"], w["tmin"], w["ea"], speed, energy, pressure, surface=surface
        )
    else:
        found = evapotranspiration.reference_et_daily_from_weather(
            w["tmax"], w["tmin"], w["ea"], speed, incoming, w["lat"], w["doy"], w["elev"]
        )
    method = f"ASCE-EWRI eq. 1, {surface}" if ours == "asce" else "FAO-56 eq. 6"
    largest = np.abs(found - theirs).max()
    return Comparison("daily evapotranspiration", method, version_of("refet"), largest, bound, "mm/d", why)


def daily_short_refet() -> Comparison:
    return _daily_refet("short", "asce", 1e-9, "the same equations")


def daily_tall_refet() -> Comparison:
    return _daily_refet("tall", "asce", 1e-9, "the same equations")


def daily_fao_refet() -> Comparison:
    return _daily_refet("short", "fao", 0.005, "constants rounded differently in the two publications")


def _hourly_refet(surface: str, by_night: bool = False) -> Comparison:
    refet = importlib.import_module("refet")
    random, w = _random_weather()
    longitude = random.uniform(-120, -70, w["lat"].size)
    hour = random.integers(4, 9, w["lat"].size) if by_night else random.integers(15, 23, w["lat"].size)
    time = np.datetime64("2023-01-01T00", "h") + ((w["doy"] - 1) * 24 + hour).astype("timedelta64[h]")
    above = radiation.extraterrestrial_hourly(time, w["lat"], longitude)
    incoming, clear = above * w["share"], radiation.clear_sky_shortwave(above, w["elev"])
    # refet takes a clear sky at a low sun, where ours is carried from the hours before.
    ratio = np.ones_like(clear) if by_night else radiation.clear_sky_ratio(incoming, clear)
    longwave = radiation.net_longwave_hourly(w["tmax"], w["ea"], ratio, "asce")
    energy = radiation.net_radiation(radiation.net_shortwave(incoming), longwave)
    speed, pressure = wind.wind_speed_2m(w["uz"]), moisture.atmospheric_pressure(w["elev"])
    found = evapotranspiration.asce_et_hourly(
        w["tmax"], w["ea"], speed, energy, pressure, energy >= 0, surface=surface
    )
    theirs = refet.Hourly(
        tmean=w["tmax"], ea=w["ea"], rs=incoming, uz=w["uz"], zw=10.0, elev=w["elev"], lat=w["lat"],
        lon=longitude, doy=w["doy"], time=hour.astype(float), method="asce",
    )  # fmt: skip
    theirs = theirs.eto() if surface == "short" else theirs.etr()
    elevation = sun.solar_elevation(time, w["lat"], longitude)
    counted = elevation < -5.0 if by_night else elevation > 20.0
    assert counted.sum() > 1000
    return Comparison(
        "hourly evapotranspiration, " + ("night" if by_night else "day"),
        f"ASCE-EWRI eq. 1, {surface}", version_of("refet"),
        np.abs(found - theirs)[counted].max(), 1e-9, "mm/h",
        "the same equations, " + ("by night" if by_night else "sun above 20 degrees"),
    )  # fmt: skip


def hourly_short_refet() -> Comparison:
    return _hourly_refet("short")


def hourly_tall_refet() -> Comparison:
    return _hourly_refet("tall")


def hourly_short_night_refet() -> Comparison:
    return _hourly_refet("short", by_night=True)


def hourly_tall_night_refet() -> Comparison:
    return _hourly_refet("tall", by_night=True)
