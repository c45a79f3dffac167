"""Comparisons of our formulas with general reference libraries on wide grids, and with real observations.

Every comparison returns what was compared, the largest difference found, the bound that the tests hold it to
and why the two disagree at all. ``report`` runs them all, for a table of the validation.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from advisor import sun
from advisor.atmosphere import evapotranspiration, moisture, radiation, stability, wind


@dataclass(frozen=True)
class Comparison:
    """One line of the validation: `largest` may not exceed `bound`, both in `unit`."""

    topic: str
    method: str
    against: str
    largest: float
    bound: float
    unit: str
    why: str

    def __str__(self) -> str:
        return (
            f"{self.topic}, {self.method} against {self.against}: largest difference {self.largest:.4g} "
            f"{self.unit}, bound {self.bound:g}; {self.why}"
        )


def _version(name: str) -> str:
    from importlib.metadata import version

    return f"{name} {version(name)}"


def _temperature_humidity(lowest=0.0, highest=50.0, driest=1.0):
    temperatures = np.arange(lowest, highest + 0.1, 2.5)
    humidities = np.array([1.0, 2, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 99, 100])
    grid = np.meshgrid(temperatures, humidities[humidities >= driest], indexing="ij")
    return grid[0].ravel(), grid[1].ravel()


def _psychrolib():
    psychrolib = importlib.import_module("psychrolib")
    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib


def saturation_psychrolib() -> Comparison:
    library = _psychrolib()
    temperatures = np.arange(0.5, 50.1, 0.5)
    theirs = np.array([library.GetSatVapPres(value) for value in temperatures]) / 1000.0
    ours = moisture.saturation_vapour_pressure(temperatures)
    return Comparison(
        "saturation vapour pressure", "FAO-56 eq. 11", _version("psychrolib"),
        100 * np.abs(ours / theirs - 1).max(), 0.12, "%",
        "Tetens' fit against Hyland and Wexler's over water, 0 to 50 degC",
    )  # fmt: skip


def saturation_metpy() -> Comparison:
    metpy, units = _metpy()
    temperatures = np.arange(-20.0, 50.1, 0.5)
    theirs = metpy.saturation_vapor_pressure(temperatures * units.degC).to("kPa").m
    ours = moisture.saturation_vapour_pressure(temperatures)
    return Comparison(
        "saturation vapour pressure", "FAO-56 eq. 11", _version("metpy"),
        100 * np.abs(ours / theirs - 1).max(), 0.8, "%", "two fits over water, -20 to 50 degC",
    )  # fmt: skip


def dew_point_psychrolib() -> Comparison:
    library = _psychrolib()
    temperature, humidity = _temperature_humidity()
    theirs = np.array(
        [library.GetTDewPointFromRelHum(t, h / 100) for t, h in zip(temperature, humidity, strict=True)]
    )
    above = theirs > 0
    ours = moisture.dew_point(temperature, humidity)
    return Comparison(
        "dew point", "FAO-56 eq. 11 inverted", _version("psychrolib"),
        np.abs(ours - theirs)[above].max(), 0.02, "K",
        "dew points above 0 degC; below, psychrolib gives frost points, which are up to 4 K higher",
    )  # fmt: skip


def dew_point_metpy() -> Comparison:
    metpy, units = _metpy()
    temperature, humidity = _temperature_humidity(-20.0, driest=5.0)
    theirs = metpy.dewpoint_from_relative_humidity(temperature * units.degC, humidity * units.percent).m
    ours = moisture.dew_point(temperature, humidity)
    return Comparison(
        "dew point", "FAO-56 eq. 11 inverted", _version("metpy"), np.abs(ours - theirs).max(), 0.35, "K",
        "two fits over water, -20 to 50 degC, 5 to 100 %; they part only at dew points below -40 degC",
    )  # fmt: skip


def wet_bulb_psychrolib() -> Comparison:
    library = _psychrolib()
    temperature, humidity = _temperature_humidity()
    worst = 0.0
    for pressure in (70.0, 85.0, 101.325):
        theirs = np.array(
            [
                library.GetTWetBulbFromRelHum(t, h / 100, 1000 * pressure)
                for t, h in zip(temperature, humidity, strict=True)
            ]
        )
        difference = moisture.wet_bulb(temperature, humidity, pressure) - theirs
        worst = max(worst, np.abs(difference[theirs > 0.01]).max())
    return Comparison(
        "wet bulb", "psychrometer equation, FAO-56 eq. 15", _version("psychrolib"), worst, 0.35, "K",
        "0 to 50 degC, 1 to 100 %, 70 to 101 kPa, wet bulb above freezing: the ventilated psychrometer reads "
        "above the thermodynamic wet bulb in dry air; within 0.15 K in ordinary weather",
    )  # fmt: skip


def wet_bulb_psychrolib_ordinary() -> Comparison:
    library = _psychrolib()
    temperature, humidity = _temperature_humidity(5.0, 35.0, driest=20.0)
    pairs = zip(temperature, humidity, strict=True)
    theirs = np.array([library.GetTWetBulbFromRelHum(t, h / 100, 101325) for t, h in pairs])
    difference = (moisture.wet_bulb(temperature, humidity) - theirs)[theirs > 0.01]
    return Comparison(
        "wet bulb, ordinary weather", "psychrometer equation, FAO-56 eq. 15", _version("psychrolib"),
        np.abs(difference).max(), 0.2, "K", "5 to 35 degC, 20 to 100 %, sea level: two definitions",
    )  # fmt: skip


def wet_bulb_metpy() -> Comparison:
    metpy, units = _metpy()
    temperature, humidity = _temperature_humidity(5.0, 35.0, driest=20.0)
    dew = metpy.dewpoint_from_relative_humidity(temperature * units.degC, humidity * units.percent)
    theirs = metpy.wet_bulb_temperature(101.325 * units.kPa, temperature * units.degC, dew).to("degC").m
    difference = moisture.wet_bulb(temperature, humidity) - theirs
    assert difference.min() > -0.02, f"MetPy's wet bulb is never the higher one, found {difference.min()}"
    return Comparison(
        "wet bulb", "psychrometer equation, FAO-56 eq. 15", _version("metpy"),
        np.abs(difference).max(), 0.6, "K",
        "5 to 35 degC, 20 to 100 %: MetPy's is pseudo-adiabatic and always lower, most in dry air",
    )  # fmt: skip


def wet_bulb_residual() -> Comparison:
    temperature, humidity = _temperature_humidity(-20.0)
    worst = 0.0
    for pressure in (55.0, 70.0, 101.325, 107.0):
        wet = moisture.wet_bulb(temperature, humidity, pressure)
        vapour = moisture.vapour_pressure_from_psychrometer(temperature, wet, pressure)
        wanted = moisture.vapour_pressure_from_relative_humidity(temperature, humidity)
        worst = max(worst, np.abs(vapour - wanted).max())
    return Comparison(
        "wet bulb", "psychrometer equation, FAO-56 eq. 15", "the equation itself", worst, 1e-9, "kPa",
        "residual of the solver, -20 to 50 degC, 1 to 100 %, 55 to 107 kPa: it converges everywhere",
    )  # fmt: skip


def stull_against_psychrometer() -> Comparison:
    temperature, humidity = _temperature_humidity(5.0, 35.0, driest=20.0)
    inside = humidity <= 99.0
    difference = moisture.wet_bulb_stull(temperature, humidity) - moisture.wet_bulb(temperature, humidity)
    return Comparison(
        "wet bulb", "psychrometer equation, FAO-56 eq. 15", "Stull (2011) eq. 1",
        np.abs(difference[inside]).max(), 1.0, "K",
        "5 to 35 degC, 20 to 99 %: the paper gives its own error as -1 to +0.65 K; the fit is not used",
    )  # fmt: skip


def _metpy():
    calculations = importlib.import_module("metpy.calc")
    return calculations, importlib.import_module("metpy.units").units


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
        "position of the sun", "NOAA solar calculator equations", _version("pvlib") + " (NREL SPA)",
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
        "sunrise and sunset", "NOAA solar calculator equations", _version("ephem"), worst, bound, "s",
        f"2024, latitudes {min(latitudes)} to {max(latitudes)}: PyEphem's disc varies with the distance, "
        "NOAA's zenith is 90.833 degrees all year; the gap grows where the sun grazes the horizon",
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
        _version("pvlib") + " (Spencer), integrated over the day", worst, 0.9, "MJ m-2 d-1",
        "FAO-56 takes one declination a day, up to 0.6 degrees off, and a solar constant of 1367 W/m2",
    )  # fmt: skip


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
    return Comparison("daily evapotranspiration", method, _version("refet"), largest, bound, "mm/d", why)


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
        "hourly evapotranspiration", f"ASCE-EWRI eq. 1, {surface}", _version("refet"),
        np.abs(found - theirs)[counted].max(), 1e-9, "mm/h",
        "the same equations, " + ("by night" if by_night else "sun above 20 degrees"),
    )  # fmt: skip


def hourly_short_night_refet() -> Comparison:
    return _hourly_refet("short", by_night=True)


def hourly_tall_night_refet() -> Comparison:
    return _hourly_refet("tall", by_night=True)


def hourly_short_refet() -> Comparison:
    return _hourly_refet("short")


def hourly_tall_refet() -> Comparison:
    return _hourly_refet("tall")


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


GREENSBORO = {"latitude": 36.1, "longitude": -79.95, "elevation": 273.0}


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


COMPARISONS = (
    saturation_psychrolib,
    saturation_metpy,
    dew_point_psychrolib,
    dew_point_metpy,
    wet_bulb_residual,
    wet_bulb_psychrolib,
    wet_bulb_psychrolib_ordinary,
    wet_bulb_metpy,
    stull_against_psychrometer,
    sun_position_pvlib,
    sun_events_ephem,
    sun_events_ephem_near_the_circle,
    extraterrestrial_pvlib,
    daily_short_refet,
    daily_tall_refet,
    daily_fao_refet,
    hourly_short_refet,
    hourly_tall_refet,
    hourly_short_night_refet,
    hourly_tall_night_refet,
    greensboro_hourly_and_daily_et,
    greensboro_extraterrestrial,
    greensboro_shortwave_from_cloud,
)


def report() -> list[tuple[str, str, str, str]]:
    """Rows (topic, method, checked against, largest difference) of the comparisons that can be run here."""
    rows = []
    for compare in COMPARISONS:
        try:
            found = compare()
        except ImportError:
            continue
        rows.append((found.topic, found.method, found.against, f"{found.largest:.3g} {found.unit}"))
    return rows
