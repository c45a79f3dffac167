"""The Penman-Monteith equations of FAO-56 and of ASCE-EWRI, from net radiation."""

from __future__ import annotations

import numpy as np

from advisor.atmosphere.vapour import (
    mean_saturation_vapour_pressure,
    psychrometric_constant,
    saturation_slope,
    saturation_vapour_pressure,
)
from advisor.floats import as_floats

# ASCE-EWRI table 1: Cn, Cd daily; Cn hourly, Cd by day and by night; G/Rn by day and by night.
_ASCE = {
    "short": (900.0, 0.34, 37.0, 0.24, 0.96, 0.1, 0.5),
    "tall": (1600.0, 0.38, 66.0, 0.25, 1.7, 0.04, 0.2),
}

# ASCE-EWRI eq. 5 rounds the constant of the slope to 2503; FAO-56 eq. 13 has 4098 x 0.6108 = 2503.06.
_ASCE_SLOPE = 2503.0 / (4098.0 * 0.6108)


def _combination(slope, gamma, available, temperature, wind_speed, deficit, numerator, denominator):
    """The combination equation that FAO-56 eq. 6 and 53 and ASCE-EWRI eq. 1 share."""
    aerodynamic = gamma * numerator / (temperature + 273.0) * wind_speed * deficit
    with np.errstate(all="ignore"):
        return (
            (0.408 * slope * available + aerodynamic) / (slope + gamma * (1.0 + denominator * wind_speed))
        )[()]


def _daily(
    highest, lowest, moisture, wind, radiation, air_pressure, ground, slope_factor, numerator, denominator
):
    """A day of the combination equation, at the mean of the extremes."""
    mean = 0.5 * (highest + lowest)
    return _combination(
        saturation_slope(mean) * slope_factor,
        psychrometric_constant(air_pressure),
        radiation - ground,
        mean,
        wind,
        mean_saturation_vapour_pressure(highest, lowest) - moisture,
        numerator,
        denominator,
    )


def reference_et_daily(
    temperature_maximum,
    temperature_minimum,
    vapour_pressure,
    wind_speed_2m,
    net_radiation,
    pressure,
    soil_heat_flux=0.0,
):
    """Reference evapotranspiration of a day (FAO-56 eq. 6).

    Parameters
    ----------
    temperature_maximum, temperature_minimum : numeric
        Daily extremes of the air temperature; their mean is the day's temperature (eq. 9). [degC]
    vapour_pressure : numeric
        Actual vapour pressure. [kPa]
    wind_speed_2m : numeric
        Mean wind speed at 2 m. [m/s]
    net_radiation, soil_heat_flux : numeric
        Net radiation and soil heat flux, the latter 0 over a day (eq. 42). [MJ m-2 d-1]
    pressure : numeric
        Atmospheric pressure. [kPa]

    Returns
    -------
    numeric
        Reference evapotranspiration; below 0 means condensation. [mm/d]

    References
    ----------
    Allen RG, Pereira LS, Raes D, Smith M (1998) Crop evapotranspiration. FAO Irrigation and Drainage
    Paper 56, Rome.
    """
    values = as_floats(
        temperature_maximum,
        temperature_minimum,
        vapour_pressure,
        wind_speed_2m,
        net_radiation,
        pressure,
        soil_heat_flux,
    )
    return _daily(*values, 1.0, 900.0, 0.34)


def reference_et_hourly(
    air_temperature, vapour_pressure, wind_speed_2m, net_radiation, soil_heat_flux, pressure
):
    """Reference evapotranspiration of an hour (FAO-56 eq. 53).

    Parameters
    ----------
    air_temperature : numeric
        Mean air temperature of the hour. [degC]
    vapour_pressure : numeric
        Actual vapour pressure. [kPa]
    wind_speed_2m : numeric
        Mean wind speed at 2 m. [m/s]
    net_radiation, soil_heat_flux : numeric
        Net radiation and soil heat flux. [MJ m-2 h-1]
    pressure : numeric
        Atmospheric pressure. [kPa]

    Returns
    -------
    numeric
        Reference evapotranspiration; below 0 means condensation. [mm/h]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56.
    """
    temperature, moisture, wind, radiation, ground, air_pressure = as_floats(
        air_temperature, vapour_pressure, wind_speed_2m, net_radiation, soil_heat_flux, pressure
    )
    return _combination(
        saturation_slope(temperature),
        psychrometric_constant(air_pressure),
        radiation - ground,
        temperature,
        wind,
        saturation_vapour_pressure(temperature) - moisture,
        37.0,
        0.34,
    )


def asce_et_daily(
    temperature_maximum,
    temperature_minimum,
    vapour_pressure,
    wind_speed_2m,
    net_radiation,
    pressure,
    soil_heat_flux=0.0,
    surface="short",
):
    """Standardised reference evapotranspiration of a day (ASCE-EWRI eq. 1, table 1).

    Parameters
    ----------
    temperature_maximum, temperature_minimum, vapour_pressure, wind_speed_2m, net_radiation, pressure, \
soil_heat_flux : numeric
        As in `reference_et_daily`.
    surface : {"short", "tall"}
        Clipped grass, with which the equation is that of FAO-56, or alfalfa.

    Returns
    -------
    numeric
        Reference evapotranspiration. [mm/d]

    References
    ----------
    ASCE-EWRI (2005) The ASCE Standardized Reference Evapotranspiration Equation. Task Committee report.
    """
    values = as_floats(
        temperature_maximum,
        temperature_minimum,
        vapour_pressure,
        wind_speed_2m,
        net_radiation,
        pressure,
        soil_heat_flux,
    )
    return _daily(*values, _ASCE_SLOPE, *_constants(surface)[:2])


def asce_et_hourly(
    air_temperature, vapour_pressure, wind_speed_2m, net_radiation, pressure, is_daylight, surface="short"
):
    """Standardised reference evapotranspiration of an hour (ASCE-EWRI eq. 1, table 1).

    Parameters
    ----------
    air_temperature, vapour_pressure, wind_speed_2m, net_radiation, pressure : numeric
        As in `reference_et_hourly`; the soil heat flux follows from the net radiation.
    is_daylight : bool array
        By day; ASCE-EWRI takes the hours with net radiation above 0.
    surface : {"short", "tall"}
        Clipped grass or alfalfa.

    Returns
    -------
    numeric
        Reference evapotranspiration. [mm/h]

    References
    ----------
    ASCE-EWRI (2005) The ASCE Standardized Reference Evapotranspiration Equation. Task Committee report.
    """
    temperature, moisture, wind, radiation, air_pressure = as_floats(
        air_temperature, vapour_pressure, wind_speed_2m, net_radiation, pressure
    )
    day = np.asarray(is_daylight, dtype=bool)
    _, _, numerator, by_day, by_night, ground_day, ground_night = _constants(surface)
    ground = np.where(day, ground_day, ground_night).astype(temperature.dtype)
    return _combination(
        saturation_slope(temperature) * _ASCE_SLOPE,
        psychrometric_constant(air_pressure),
        radiation * (1.0 - ground),
        temperature,
        wind,
        saturation_vapour_pressure(temperature) - moisture,
        numerator,
        np.where(day, by_day, by_night).astype(temperature.dtype),
    )


def _constants(surface):
    if surface not in _ASCE:
        raise ValueError(f"evapotranspiration: surface {surface!r} is not known; use 'short' or 'tall'")
    return _ASCE[surface]
