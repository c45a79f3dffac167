"""How long leaves stay wet after rain: an energy-balance estimate with a leaf that holds a limited film.

The evaporation of the film is the Penman-Monteith equation without surface resistance (Monteith 1965, as in
interception models after Rutter et al. 1971); the film fills with rain up to its capacity and empties with
the evaporation. An estimate: no model of leaf water is accurate to the hour.
"""

from __future__ import annotations

import numpy as np

from advisor.atmosphere.vapour import psychrometric_constant, saturation_slope, saturation_vapour_pressure
from advisor.floats import as_floats

LEAF_CAPACITY = 0.6
"""Water that the leaves of turf hold [mm]: 0.2 mm a unit of leaf area (Dickinson 1984, from memory) on 2.9
units (FAO-56 box 5, 24 x 0.12 m); shorter turf holds less, so that this errs on the wet side."""


def wet_surface_evaporation(air_temperature, vapour_pressure, wind_speed_2m, net_radiation, pressure):
    """Evaporation from wet leaves of short grass (Penman-Monteith without surface resistance, FAO-56 eq. 3).

    Parameters
    ----------
    air_temperature : numeric
        Mean air temperature of the hour. [degC]
    vapour_pressure : numeric
        Actual vapour pressure. [kPa]
    wind_speed_2m : numeric
        Wind speed at 2 m. [m/s]
    net_radiation : numeric
        Net radiation. [MJ m-2 h-1]
    pressure : numeric
        Atmospheric pressure. [kPa]

    Returns
    -------
    numeric
        Evaporation, 0 where dew would fall instead. [mm/h]

    References
    ----------
    Allen et al. (1998) FAO Irrigation and Drainage Paper 56, eq. 3, 4 and 53 with r_s = 0. Rutter AJ, Kershaw
    KA, Robins PC, Morton AJ (1971) A predictive model of rainfall interception in forests. Agric. Meteorol.
    9:367-384.
    """
    temperature, moisture, wind, energy, air_pressure = as_floats(
        air_temperature, vapour_pressure, wind_speed_2m, net_radiation, pressure
    )
    slope, gamma = saturation_slope(temperature), psychrometric_constant(air_pressure)
    deficit = saturation_vapour_pressure(temperature) - moisture
    with np.errstate(all="ignore"):
        aerodynamic = gamma * 37.0 / (temperature + 273.0) * wind * deficit
        return np.maximum((0.408 * slope * energy + aerodynamic) / (slope + gamma), 0.0)[()]


def drying_time(water_depth, evaporation):
    """Hours until a film of water has evaporated at a constant rate (depth over rate).

    Parameters
    ----------
    water_depth : numeric
        Water on the leaves, 0 and above. [mm]
    evaporation : numeric
        Evaporation from the wet leaf. [mm/h]

    Returns
    -------
    numeric
        Time; infinite where nothing evaporates. [h]
    """
    depth, rate = as_floats(water_depth, evaporation)
    with np.errstate(all="ignore"):
        time = np.where(depth > 0, depth / np.maximum(rate, 0.0), 0.0)
    return np.where(np.isnan(depth) | np.isnan(rate) | (depth < 0), np.nan, time).astype(depth.dtype)[()]


def leaf_water(precipitation, evaporation, capacity=LEAF_CAPACITY, initial=np.nan):
    """Water on the leaves at the end of consecutive hours (bucket after Rutter et al. 1971, hourly).

    Parameters
    ----------
    precipitation : numeric, shape (..., hour)
        Rain of the hour. [mm]
    evaporation : numeric, shape (..., hour)
        Evaporation from wet leaves (`wet_surface_evaporation`). [mm/h]
    capacity : float
        What the leaves hold. [mm]
    initial : numeric, shape (...) or ()
        Water before the first hour; NaN when not known. [mm]

    Returns
    -------
    numeric, shape (..., hour)
        Water left; 0 is dry. NaN while the unknown start or an unknown hour can still make a difference. [mm]

    References
    ----------
    Rutter AJ, Kershaw KA, Robins PC, Morton AJ (1971) A predictive model of rainfall interception in forests.
    Agric. Meteorol. 9:367-384.
    """
    rain, loss, start = as_floats(precipitation, evaporation, initial)
    change = np.atleast_1d(rain - loss)
    # Two runs, one with the unknown as wet as possible, one as dry as possible; known where they agree.
    runs = []
    for unknown, first in ((capacity, capacity), (-capacity, 0.0)):
        steps = np.where(np.isnan(change), change.dtype.type(unknown), change)
        begin = np.where(np.isnan(start), start.dtype.type(first), start)
        runs.append(_bucket(steps, capacity, begin[..., None]))
    highest, lowest = runs
    rounding = capacity * (1e-5 if change.dtype == np.float32 else 1e-9)
    result = np.where(highest - lowest <= rounding, highest, change.dtype.type(np.nan))
    return result if np.ndim(rain - loss) else result[0]


def _bucket(change, capacity, start):
    """Bucket limited to 0..capacity after each step, by composing all steps pairwise (a prefix scan).

    One step is s -> min(top, max(bottom, s + shift)); so is every chain of steps, which lets log2(hours)
    passes over the array do the work of a loop over the hours.
    """
    shift = change.copy()
    bottom = np.zeros_like(change)
    top = np.full_like(change, capacity)
    reach, hours = 1, change.shape[-1]
    while reach < hours:
        later = (..., slice(reach, None))
        earlier = (..., slice(None, hours - reach))
        new_bottom = np.clip(bottom[earlier] + shift[later], bottom[later], top[later])
        new_top = np.clip(top[earlier] + shift[later], bottom[later], top[later])
        new_shift = shift[earlier] + shift[later]
        bottom[later], top[later], shift[later] = new_bottom, new_top, new_shift
        reach *= 2
    return np.clip(start + shift, bottom, top)
