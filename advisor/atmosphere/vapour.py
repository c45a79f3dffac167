"""Vapour pressure of the air, by every route of FAO-56 chapter 3, and the pressure it depends on."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

STANDARD_PRESSURE = 101.325
"""Pressure at sea level [kPa]."""

PSYCHROMETER_VENTILATED = 0.000662
"""Coefficient of a ventilated (Asmann) psychrometer, about 5 m/s [1/degC] (FAO-56 eq. 16)."""

PSYCHROMETER_NATURAL = 0.000800
"""Coefficient of a naturally ventilated psychrometer, about 1 m/s [1/degC] (FAO-56 eq. 16)."""

PSYCHROMETER_INDOOR = 0.001200
"""Coefficient of a non-ventilated psychrometer indoors [1/degC] (FAO-56 eq. 16)."""


def saturation_vapour_pressure(air_temperature):
    """Saturation vapour pressure over water by Tetens' formula (FAO-56 eq. 11).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature, any shape. [degC]

    Returns
    -------
    numeric
        Saturation vapour pressure. [kPa]

    Notes
    -----
    Validity -30 to 50 degC. Over water at all temperatures, also below freezing. In float32 the result is
    within 3e-6 (relative) of float64.

    References
    ----------
    Allen RG, Pereira LS, Raes D, Smith M (1998) Crop evapotranspiration. FAO Irrigation and Drainage
    Paper 56, Rome.
    """
    temperature = as_floats(air_temperature)
    with np.errstate(all="ignore"):
        return (0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)))[()]


def saturation_slope(air_temperature):
    """Slope of the saturation vapour pressure curve (FAO-56 eq. 13).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature, any shape. [degC]

    Returns
    -------
    numeric
        Slope. [kPa/degC]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    temperature = as_floats(air_temperature)
    with np.errstate(all="ignore"):
        return (4098.0 * saturation_vapour_pressure(temperature) / (temperature + 237.3) ** 2)[()]


def atmospheric_pressure(elevation):
    """Mean atmospheric pressure at an elevation (FAO-56 eq. 7).

    Parameters
    ----------
    elevation : numeric
        Height above sea level, -500 to 5000. [m]

    Returns
    -------
    numeric
        Pressure; 101.3 at sea level. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    height = as_floats(elevation)
    with np.errstate(all="ignore"):
        return (101.3 * ((293.0 - 0.0065 * height) / 293.0) ** 5.26)[()]


def psychrometric_constant(pressure):
    """Psychrometric constant (FAO-56 eq. 8).

    Parameters
    ----------
    pressure : numeric
        Atmospheric pressure. [kPa]

    Returns
    -------
    numeric
        Psychrometric constant. [kPa/degC]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    return (0.665e-3 * as_floats(pressure))[()]


def mean_saturation_vapour_pressure(temperature_maximum, temperature_minimum):
    """Mean saturation vapour pressure of a day from its extremes (FAO-56 eq. 12).

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Daily extremes of the air temperature. [degC]

    Returns
    -------
    numeric
        Mean saturation vapour pressure; more than that of the mean temperature. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    highest, lowest = as_floats(temperature_maximum, temperature_minimum)
    return (0.5 * (saturation_vapour_pressure(highest) + saturation_vapour_pressure(lowest)))[()]


def vapour_pressure_from_dew_point(dew_point):
    """Actual vapour pressure from the dew point (FAO-56 eq. 14).

    Parameters
    ----------
    dew_point : numeric
        Dew point temperature. [degC]

    Returns
    -------
    numeric
        Actual vapour pressure. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    return saturation_vapour_pressure(dew_point)


def vapour_pressure_from_psychrometer(
    dry_bulb, wet_bulb_temperature, pressure=STANDARD_PRESSURE, coefficient=PSYCHROMETER_VENTILATED
):
    """Actual vapour pressure from dry and wet bulb (FAO-56 eq. 15, 16).

    Parameters
    ----------
    dry_bulb, wet_bulb_temperature : numeric
        Readings of the psychrometer. [degC]
    pressure : numeric
        Atmospheric pressure. [kPa]
    coefficient : numeric
        Psychrometer coefficient, 0.000662 when ventilated. [1/degC]

    Returns
    -------
    numeric
        Actual vapour pressure. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    dry, wet, air_pressure, factor = as_floats(dry_bulb, wet_bulb_temperature, pressure, coefficient)
    return (saturation_vapour_pressure(wet) - factor * air_pressure * (dry - wet))[()]


def vapour_pressure_from_relative_humidity_extremes(
    temperature_maximum, temperature_minimum, relative_humidity_maximum, relative_humidity_minimum
):
    """Actual vapour pressure of a day from the extremes of relative humidity (FAO-56 eq. 17).

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Daily extremes of the air temperature. [degC]
    relative_humidity_maximum, relative_humidity_minimum : numeric
        Daily extremes of the relative humidity; the highest goes with the lowest temperature. [%]

    Returns
    -------
    numeric
        Actual vapour pressure. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    highest, lowest, moist, dry = as_floats(
        temperature_maximum, temperature_minimum, relative_humidity_maximum, relative_humidity_minimum
    )
    pair = saturation_vapour_pressure(lowest) * moist + saturation_vapour_pressure(highest) * dry
    return (pair / 200.0)[()]


def vapour_pressure_from_maximum_relative_humidity(temperature_minimum, relative_humidity_maximum):
    """Actual vapour pressure of a day from the highest relative humidity alone (FAO-56 eq. 18).

    Parameters
    ----------
    temperature_minimum : numeric
        Lowest air temperature of the day. [degC]
    relative_humidity_maximum : numeric
        Highest relative humidity of the day. [%]

    Returns
    -------
    numeric
        Actual vapour pressure. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    lowest, moist = as_floats(temperature_minimum, relative_humidity_maximum)
    return (saturation_vapour_pressure(lowest) * moist / 100.0)[()]


def vapour_pressure_from_mean_relative_humidity(
    temperature_maximum, temperature_minimum, relative_humidity_mean
):
    """Actual vapour pressure of a day from the mean relative humidity (FAO-56 eq. 19).

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Daily extremes of the air temperature. [degC]
    relative_humidity_mean : numeric
        Mean relative humidity. [%]

    Returns
    -------
    numeric
        Actual vapour pressure; the least desirable of the routes. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    highest, lowest, mean = as_floats(temperature_maximum, temperature_minimum, relative_humidity_mean)
    return (mean / 100.0 * mean_saturation_vapour_pressure(highest, lowest))[()]


def vapour_pressure_from_relative_humidity(air_temperature, relative_humidity):
    """Actual vapour pressure at one moment (FAO-56 eq. 10, solved for the vapour pressure).

    Parameters
    ----------
    air_temperature : numeric
        Air temperature. [degC]
    relative_humidity : numeric
        Relative humidity over water. [%]

    Returns
    -------
    numeric
        Actual vapour pressure. [kPa]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    temperature, humidity = as_floats(air_temperature, relative_humidity)
    return (saturation_vapour_pressure(temperature) * humidity / 100.0)[()]
