"""Moisture formulas against psychrolib and MetPy on wide grids."""

from __future__ import annotations

import importlib

import numpy as np

from advisor.atmosphere import moisture

from .comparison import Comparison, version_of


def _temperature_humidity(lowest=0.0, highest=50.0, driest=1.0):
    temperatures = np.arange(lowest, highest + 0.1, 2.5)
    humidities = np.array([1.0, 2, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 99, 100])
    grid = np.meshgrid(temperatures, humidities[humidities >= driest], indexing="ij")
    return grid[0].ravel(), grid[1].ravel()


def _psychrolib():
    psychrolib = importlib.import_module("psychrolib")
    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib


def _metpy():
    calculations = importlib.import_module("metpy.calc")
    return calculations, importlib.import_module("metpy.units").units


def saturation_psychrolib() -> Comparison:
    library = _psychrolib()
    temperatures = np.arange(0.5, 50.1, 0.5)
    theirs = np.array([library.GetSatVapPres(value) for value in temperatures]) / 1000.0
    ours = moisture.saturation_vapour_pressure(temperatures)
    return Comparison(
        "saturation vapour pressure", "FAO-56 eq. 11", version_of("psychrolib"),
        100 * np.abs(ours / theirs - 1).max(), 0.12, "%",
        "Tetens' fit against Hyland and Wexler's over water, 0 to 50 degC",
    )  # fmt: skip


def saturation_metpy() -> Comparison:
    metpy, units = _metpy()
    temperatures = np.arange(-20.0, 50.1, 0.5)
    theirs = metpy.saturation_vapor_pressure(temperatures * units.degC).to("kPa").m
    ours = moisture.saturation_vapour_pressure(temperatures)
    return Comparison(
        "saturation vapour pressure", "FAO-56 eq. 11", version_of("metpy"),
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
        "dew point", "FAO-56 eq. 11 inverted", version_of("psychrolib"),
        np.abs(ours - theirs)[above].max(), 0.02, "K",
        "dew points above 0 degC; below, psychrolib gives frost points, which are up to 4 K higher",
    )  # fmt: skip


def dew_point_metpy() -> Comparison:
    metpy, units = _metpy()
    temperature, humidity = _temperature_humidity(-20.0, driest=5.0)
    theirs = metpy.dewpoint_from_relative_humidity(temperature * units.degC, humidity * units.percent).m
    ours = moisture.dew_point(temperature, humidity)
    return Comparison(
        "dew point", "FAO-56 eq. 11 inverted", version_of("metpy"), np.abs(ours - theirs).max(), 0.35, "K",
        "two fits over water, -20 to 50 degC, 5 to 100 %; they part only at dew points below -40 degC",
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
        "wet bulb", "psychrometer equation, FAO-56 eq. 15", version_of("psychrolib"), worst, 0.35, "K",
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
        "wet bulb, ordinary weather", "psychrometer equation, FAO-56 eq. 15", version_of("psychrolib"),
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
        "wet bulb", "psychrometer equation, FAO-56 eq. 15", version_of("metpy"),
        np.abs(difference).max(), 0.6, "K",
        "5 to 35 degC, 20 to 100 %: MetPy's is pseudo-adiabatic and always lower, most in dry air",
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
