"""Soil temperature under a lawn from the air temperature above it: a damped and delayed copy."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "SoilTemperatureFit",
    "amplitude_at_depth",
    "damping_depth",
    "fit_soil_temperature",
    "lag_at_depth",
    "soil_temperature",
]

HOUR = 3600.0
# Typical of a moist mineral soil (the textbook example of the references); fit it where a soil layer is
# known.
TYPICAL_DIFFUSIVITY = 0.5e-6


class SoilTemperatureFit(NamedTuple):
    """What :func:`fit_soil_temperature` found, each of shape (...).

    Parameters
    ----------
    diffusivity : numpy.ndarray
        Best thermal diffusivity of the trial values [m2/s].
    offset : numpy.ndarray
        What to add to :func:`soil_temperature` with that diffusivity [K].
    rms_error : numpy.ndarray
        Root mean square of what is left [K].
    hours : numpy.ndarray
        Number of hours compared.
    """

    diffusivity: np.ndarray
    offset: np.ndarray
    rms_error: np.ndarray
    hours: np.ndarray


def damping_depth(diffusivity, period):
    """Depth at which a temperature wave has shrunk to 1/e, d = sqrt(diffusivity period / pi).

    Parameters
    ----------
    diffusivity : array_like
        Thermal diffusivity of the soil, commonly 0.2e-6 to 1e-6 [m2/s].
    period : array_like
        Period of the wave [s], 86,400 for a day.

    Returns
    -------
    numpy.ndarray or float
        Damping depth [m]; NaN where an input is not positive.

    References
    ----------
    Ochsner T, Rain or Shine: An introduction to soil physical properties and processes, section 13.4
    (Oklahoma State University); the same in Hillel D (1998) Environmental Soil Physics.
    """
    spread, wave = as_floats(diffusivity, period)
    possible = (spread > 0) & (wave > 0)
    return np.sqrt(np.where(possible, spread * wave / math.pi, np.nan)).astype(spread.dtype)[()]


def amplitude_at_depth(surface_amplitude, depth, damping_depth):
    """Swing of a temperature wave at a depth, A exp(-z/d).

    Parameters
    ----------
    surface_amplitude : array_like
        Half the range at the surface [K].
    depth, damping_depth : array_like
        Depth and damping depth [m].

    Returns
    -------
    numpy.ndarray or float
        Half the range at the depth [K]; NaN for a negative depth.

    References
    ----------
    Ochsner T, Rain or Shine, section 13.4 (Oklahoma State University).
    """
    swing, level, damping = as_floats(surface_amplitude, depth, damping_depth)
    ratio = np.where((level >= 0) & (damping > 0), level / np.where(damping > 0, damping, 1), np.nan)
    return (swing * np.exp(-ratio)).astype(swing.dtype)[()]


def lag_at_depth(depth, damping_depth, period):
    """Delay of a temperature wave at a depth, (z/d) period / (2 pi).

    Parameters
    ----------
    depth, damping_depth : array_like
        Depth and damping depth [m].
    period : array_like
        Period of the wave [s].

    Returns
    -------
    numpy.ndarray or float
        Delay [s]; NaN for a negative depth.

    References
    ----------
    Ochsner T, Rain or Shine, section 13.4 (Oklahoma State University).
    """
    level, damping, wave = as_floats(depth, damping_depth, period)
    ratio = np.where((level >= 0) & (damping > 0), level / np.where(damping > 0, damping, 1), np.nan)
    return (ratio * wave / (2 * math.pi)).astype(level.dtype)[()]


def _weights(depth: float, diffusivity: float, hours: int) -> np.ndarray:
    """Weights of the last instants (newest first) for the temperature at depth, linear between instants."""

    def ramp(hour: float) -> float:
        # Response to a surface that warms by 1 K an hour from hour 0: 4 t i2erfc(z / (2 sqrt(a t))) [K].
        if hour <= 0:
            return 0.0
        x = depth / (2 * math.sqrt(diffusivity * hour * HOUR))
        return hour * ((1 + 2 * x * x) * math.erfc(x) - 2 * x * math.exp(-x * x) / math.sqrt(math.pi))

    response = np.array([ramp(hour) for hour in range(-1, hours + 1)])
    weights = response[2:] - 2 * response[1:-1] + response[:-2]
    # What lies farther back than the memory is given the mean of the memory.
    return weights + (1 - weights.sum()) / hours


def soil_temperature(
    air_temperature, depth: float, diffusivity: float = TYPICAL_DIFFUSIVITY, spin_up: int = 240
):
    """Temperature in the soil from the hours before, heat conduction below a surface at air temperature.

    Parameters
    ----------
    air_temperature : array_like, shape (..., hour)
        Hourly instants without a break [degC].
    depth : float
        Depth [m].
    diffusivity : float
        Thermal diffusivity of the soil [m2/s].
    spin_up : int
        Hours of air temperature that a value needs, whole days [h].

    Returns
    -------
    numpy.ndarray, shape (..., hour)
        Instants [degC]. NaN until ``spin_up`` hours are known, and wherever one of the last ``spin_up``
        hours is missing.

    Notes
    -----
    Only hours up to the hour itself are used. The weights are exact for air temperature that is linear
    between instants (Carslaw and Jaeger's step response erfc(z / (2 sqrt(a t))), integrated twice). Their
    sum over the spin-up is short of 1 by about z / sqrt(pi a t): 4 % at 5 cm after 10 days; that part takes
    the mean of the spin-up, so a trend of 5 K over the weeks before costs about 0.2 K.

    ==================================  =================================================================
    assumption                          effect
    ==================================  =================================================================
    surface at air temperature          too cold under sun on bare ground, too warm on clear nights
    one diffusivity, no freezing        wrong near 0 degC in wet soil
    no grass or thatch above            the true swing is smaller: fit with :func:`fit_soil_temperature`
    ==================================  =================================================================

    References
    ----------
    Carslaw HS, Jaeger JC (1959) Conduction of Heat in Solids, section 2.4 to 2.5.
    """
    air = as_floats(air_temperature)
    if air.ndim == 0:
        raise ValueError("Soil temperature needs an hour axis: give air_temperature by hour.")
    if spin_up < 24 or spin_up % 24:
        raise ValueError(f"spin_up must be whole days of hours (24, 48, ...), not {spin_up!r}.")
    hours = air.shape[-1]
    usable = math.isfinite(depth) and math.isfinite(diffusivity) and depth >= 0 and diffusivity > 0
    if hours < spin_up or not usable:
        return np.full(air.shape, np.nan, dtype=air.dtype)

    weights = _weights(float(depth), float(diffusivity), spin_up)
    newest = np.arange(spin_up - 1, hours)
    back = newest[None, :] - np.arange(hours)[:, None]
    inside = (back >= 0) & (back < spin_up)
    matrix = np.where(inside, weights[np.clip(back, 0, spin_up - 1)], 0).astype(air.dtype)
    missing = ~np.isfinite(air)
    # Around the row's first known value the sums stay small, which keeps float32 good to a few thousandths
    # of a kelvin.
    known = np.where(missing, 0, air)
    count = np.maximum((~missing).sum(axis=-1, keepdims=True), 1)
    level = known.sum(axis=-1, keepdims=True) / count.astype(air.dtype)
    response = level + np.where(missing, 0, air - level) @ matrix
    gaps = np.cumsum(np.concatenate([np.zeros((*air.shape[:-1], 1), int), missing], axis=-1), axis=-1)
    broken = gaps[..., spin_up:] > gaps[..., : hours - spin_up + 1]
    result = np.full(air.shape, np.nan, dtype=air.dtype)
    result[..., spin_up - 1 :] = np.where(broken, np.nan, response)
    return result


def fit_soil_temperature(
    air_temperature, layer_temperature, depth: float, spin_up: int = 240
) -> SoilTemperatureFit:
    """Fit diffusivity and offset to a provider's soil layer, least squares over trial diffusivities.

    Parameters
    ----------
    air_temperature, layer_temperature : array_like, shape (..., hour)
        Air and soil layer at the same hours [degC].
    depth : float
        Depth that the layer stands for [m].
    spin_up : int
        As in :func:`soil_temperature` [h].

    Returns
    -------
    SoilTemperatureFit
        NaN where fewer than 48 hours can be compared.

    Notes
    -----
    Forty trial values from 0.02e-6 to 3e-6 m2/s, evenly spaced in the logarithm. A layer under grass looks
    like a deeper one, so the fitted value stands for soil, thatch and grass together.
    """
    air, layer = as_floats(air_temperature, layer_temperature)
    air, layer = np.broadcast_arrays(air, layer)
    best = None
    for diffusivity in np.geomspace(0.02e-6, 3e-6, 40):
        gap = layer - soil_temperature(air, depth, float(diffusivity), spin_up)
        known = np.isfinite(gap)
        hours = known.sum(axis=-1)
        enough = np.maximum(hours, 1)
        offset = np.where(known, gap, 0).sum(axis=-1) / enough
        square = np.where(known, gap - offset[..., None], 0) ** 2
        error = np.where(hours >= 48, np.sqrt(square.sum(axis=-1) / enough), np.nan)
        if best is None:
            best = [np.full(error.shape, np.nan), np.full(error.shape, np.nan), np.full(error.shape, np.nan)]
        better = (error < best[2]) | (np.isnan(best[2]) & np.isfinite(error))
        for store, value in zip(best, (diffusivity, offset, error), strict=True):
            store[better] = np.broadcast_to(value, error.shape)[better]
    return SoilTemperatureFit(*(item[()] for item in best), hours=hours[()])
