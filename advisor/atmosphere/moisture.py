"""Moisture of the air: dew point, relative humidity, wet bulb, Delta T, vapour pressure deficit.

The vapour pressures themselves stand in ``vapour`` and can be had from here too.
"""

from __future__ import annotations

import numpy as np

from advisor.atmosphere.vapour import (
    PSYCHROMETER_INDOOR,
    PSYCHROMETER_NATURAL,
    PSYCHROMETER_VENTILATED,
    STANDARD_PRESSURE,
    atmospheric_pressure,
    mean_saturation_vapour_pressure,
    psychrometric_constant,
    saturation_slope,
    saturation_vapour_pressure,
    vapour_pressure_from_dew_point,
    vapour_pressure_from_maximum_relative_humidity,
    vapour_pressure_from_mean_relative_humidity,
    vapour_pressure_from_psychrometer,
    vapour_pressure_from_relative_humidity,
    vapour_pressure_from_relative_humidity_extremes,
)
from advisor.floats import as_floats

__all__ = [
    "PSYCHROMETER_INDOOR",
    "PSYCHROMETER_NATURAL",
    "PSYCHROMETER_VENTILATED",
    "STANDARD_PRESSURE",
    "atmospheric_pressure",
    "delta_t",
    "dew_point",
    "dew_point_from_vapour_pressure",
    "mean_saturation_vapour_pressure",
    "psychrometric_constant",
    "relative_humidity",
    "saturation_slope",
    "saturation_vapour_pressure",
    "vapour_pressure_deficit",
    "vapour_pressure_from_dew_point",
    "vapour_pressure_from_maximum_relative_humidity",
    "vapour_pressure_from_mean_relative_humidity",
    "vapour_pressure_from_psychrometer",
    "vapour_pressure_from_relative_humidity",
    "vapour_pressure_from_relative_humidity_extremes",
    "wet_bulb",
    "wet_bulb_stull",
]

_WET_BULB_STEPS = 30


def dew_point_from_vapour_pressure(vapour_pressure):
    """Dew point at which the air holds this vapour pressure (inverse of FAO-56 eq. 11).

    Parameters
    ----------
    vapour_pressure : numeric
        Actual vapour pressure, above 0. [kPa]

    Returns
    -------
    numeric
        Dew point over water; NaN where the vapour pressure is not above 0. [degC]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    pressure = as_floats(vapour_pressure)
    with np.errstate(all="ignore"):
        logarithm = np.log(np.where(pressure > 0, pressure, np.nan) / 0.6108)
        return (237.3 * logarithm / (17.27 - logarithm))[()]


def dew_point(air_temperature, relative_humidity, method="fao"):
    """Dew point from temperature and relative humidity (FAO-56 eq. 11 inverted, or Magnus as fitted in 1996).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature. [degC]
    relative_humidity : numeric
        Relative humidity over water, above 0. [%]
    method : {"fao", "alduchov-eskridge"}
        Coefficients: 17.27 and 237.3, or 17.625 and 243.04.

    Returns
    -------
    numeric
        Dew point; NaN where the humidity is not above 0. [degC]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    Alduchov OA, Eskridge RE (1996) Improved Magnus form approximation of saturation vapor pressure.
    J. Appl. Meteor. 35:601-609.
    """
    if method == "fao":
        factor, offset = 17.27, 237.3
    elif method == "alduchov-eskridge":
        factor, offset = 17.625, 243.04
    else:
        raise ValueError(f"dew_point: method {method!r} is not known; use 'fao' or 'alduchov-eskridge'")
    temperature, humidity = as_floats(air_temperature, relative_humidity)
    with np.errstate(all="ignore"):
        ratio = np.where(humidity > 0, humidity, np.nan) / 100.0
        exponent = np.log(ratio) + factor * temperature / (offset + temperature)
        return (offset * exponent / (factor - exponent))[()]


def relative_humidity(air_temperature, dew_point):
    """Relative humidity from temperature and dew point (FAO-56 eq. 10).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature. [degC]
    dew_point : numeric
        Dew point over water. [degC]

    Returns
    -------
    numeric
        Relative humidity; above 100 only where the dew point exceeds the temperature. [%]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    temperature, dew = as_floats(air_temperature, dew_point)
    return (100.0 * saturation_vapour_pressure(dew) / saturation_vapour_pressure(temperature))[()]


def wet_bulb(air_temperature, relative_humidity, pressure=STANDARD_PRESSURE):
    """Wet bulb temperature by solving the psychrometer equation (FAO-56 eq. 15, ventilated, by Newton steps).

    Solves ``ea = e(Tw) - 0.000662 P (T - Tw)`` for ``Tw``.

    Parameters
    ----------
    air_temperature : numeric
        Air temperature, -20 to 50. [degC]
    relative_humidity : numeric
        Relative humidity over water, 0 to 100. [%]
    pressure : numeric
        Atmospheric pressure. [kPa]

    Returns
    -------
    numeric
        Wet bulb temperature over water, also below freezing; NaN for a negative humidity. [degC]

    Notes
    -----
    The right side rises with ``Tw`` and is convex, so Newton steps pass the root at most once and then come down to
    it: they converge for every input. Against ASHRAE's thermodynamic wet bulb the
    psychrometer equation is at most 0.2 K higher in ordinary weather. In float32 the result is within
    5e-5 degC of float64.

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    temperature, humidity, air_pressure = as_floats(air_temperature, relative_humidity, pressure)
    shape = np.broadcast_shapes(temperature.shape, humidity.shape, air_pressure.shape)
    temperature, humidity, air_pressure = np.atleast_1d(temperature, humidity, air_pressure)
    with np.errstate(all="ignore"):
        factor = PSYCHROMETER_VENTILATED * air_pressure
        ratio = humidity * 0.01
        target = saturation_vapour_pressure(temperature) * ratio + factor * temperature
        if not np.all(ratio >= 0):
            target = np.where(ratio >= 0, target, np.nan)
        # A first guess, a fit to the equation: within 1.3 K from -5 to 38 degC above 15 % and 85 kPa.
        dryness = np.subtract(1.0, ratio, out=ratio)
        wet = 0.1986 * dryness
        wet += 0.2459
        wet = wet * temperature
        wet += 5.84
        wet *= dryness
        wet = np.subtract(temperature, wet, out=wet)
        if wet.shape != target.shape:
            wet = np.array(np.broadcast_to(wet, target.shape))
        single = wet.dtype == np.float32
        # A Newton step of this size leaves an error of a fiftieth of its square [K].
        enough = 0.05 if single else 1e-5
        for _ in range(2 if single else 3):
            step = _wet_bulb_step(wet, factor, target)
        # Every value takes its own further steps, whatever stands beside it in the array.
        left = np.nonzero(np.abs(step, out=step) > enough)
        for _ in range(_WET_BULB_STEPS):
            if not left[0].size:
                break
            some, rest = wet[left], [np.broadcast_to(part, wet.shape)[left] for part in (factor, target)]
            step = _wet_bulb_step(some, *rest)
            wet[left] = some
            left = tuple(index[np.abs(step) > enough] for index in left)
    return wet.reshape(shape)[()]


def _wet_bulb_step(wet, factor, target):
    """One Newton step, taken off `wet` in place, and returned."""
    nearness = wet + 237.3
    np.divide(1.0, nearness, out=nearness)
    vapour = wet * nearness
    vapour *= 17.27
    np.exp(vapour, out=vapour)
    vapour *= 0.6108
    slope = np.multiply(nearness, nearness, out=nearness)
    slope *= vapour
    slope *= 4098.0
    slope += factor
    step = factor * wet
    step += vapour
    step -= target
    step /= slope
    wet -= step
    return step


def wet_bulb_stull(air_temperature, relative_humidity):
    """Wet bulb temperature by Stull's fit (2011, eq. 1): for comparison only, never for a limit.

    Parameters
    ----------
    air_temperature : numeric
        Air temperature, -20 to 50. [degC]
    relative_humidity : numeric
        Relative humidity, 5 to 99. [%]

    Returns
    -------
    numeric
        Wet bulb temperature at sea level, off by -1 to +0.65 K. [degC]

    References
    ----------
    Stull R (2011) Wet-bulb temperature from relative humidity and air temperature. J. Appl. Meteor. Climatol.
    50:2267-2269, doi:10.1175/JAMC-D-11-0143.1.
    """
    temperature, humidity = as_floats(air_temperature, relative_humidity)
    with np.errstate(all="ignore"):
        return (
            temperature * np.arctan(0.151977 * np.sqrt(humidity + 8.313659))
            + np.arctan(temperature + humidity)
            - np.arctan(humidity - 1.676331)
            + 0.00391838 * humidity**1.5 * np.arctan(0.023101 * humidity)
            - 4.686035
        )[()]


def delta_t(air_temperature, relative_humidity, pressure=STANDARD_PRESSURE):
    """Delta T, the wet bulb depression: dry bulb minus wet bulb (psychrometer equation, FAO-56 eq. 15).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature. [degC]
    relative_humidity : numeric
        Relative humidity over water. [%]
    pressure : numeric
        Atmospheric pressure. [kPa]

    Returns
    -------
    numeric
        Delta T, 0 in saturated air; larger means faster evaporation of droplets. [K]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    temperature, humidity, air_pressure = as_floats(air_temperature, relative_humidity, pressure)
    return (temperature - wet_bulb(temperature, humidity, air_pressure))[()]


def vapour_pressure_deficit(air_temperature, relative_humidity):
    """Vapour pressure deficit at one moment, es - ea (FAO-56 eq. 10, 11).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature. [degC]
    relative_humidity : numeric
        Relative humidity over water. [%]

    Returns
    -------
    numeric
        Vapour pressure deficit. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    temperature, humidity = as_floats(air_temperature, relative_humidity)
    return (saturation_vapour_pressure(temperature) * (1.0 - humidity / 100.0))[()]
