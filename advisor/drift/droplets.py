"""How fast spray drops fall, how soon they dry up and how far the wind takes them meanwhile."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from advisor.floats import as_floats

__all__ = [
    "DropletFlight",
    "drift_distance",
    "droplet_flight",
    "evaporation_lifetime",
    "simmel_velocity",
    "stokes_velocity",
    "terminal_velocity",
]

GRAVITY = 9.81
AIR_DENSITY = 1.204  # dry air at 20 degC and sea level [kg/m3]
AIR_VISCOSITY = 1.81e-5  # the same air [Pa s]
WATER_DENSITY = 998.2  # 20 degC [kg/m3]
# Amsden's constant: a drop of d micrometres lasts d^2 / (80 Delta T) seconds.
EVAPORATION = 80.0


class DropletFlight(NamedTuple):
    """What becomes of a drop, see :func:`droplet_flight`.

    Parameters
    ----------
    time : numpy.ndarray or float
        Until it lands or has dried up [s].
    distance : numpy.ndarray or float
        Carried by the wind meanwhile [m].
    diameter_end : numpy.ndarray or float
        Diameter when it lands, 0 where it dries up in the air [um].
    """

    time: np.ndarray
    distance: np.ndarray
    diameter_end: np.ndarray


def stokes_velocity(diameter_um, air_density=AIR_DENSITY, air_viscosity=AIR_VISCOSITY):
    """Terminal velocity of a very small drop, Stokes: g (rho_water - rho_air) d^2 / (18 mu).

    Parameters
    ----------
    diameter_um : array_like
        Diameter of the drop, valid below about 80 [um].
    air_density : array_like
        Density of the air [kg/m3].
    air_viscosity : array_like
        Dynamic viscosity of the air [Pa s].

    Returns
    -------
    numpy.ndarray or float
        Fall speed [m/s]; NaN for a negative diameter.

    References
    ----------
    Stokes GG (1851), in any text on fluid mechanics.
    """
    size, density, viscosity = as_floats(diameter_um, air_density, air_viscosity)
    diameter = np.where(size >= 0, size, np.nan) * 1e-6
    viscosity = np.where(viscosity > 0, viscosity, np.nan)
    weight = GRAVITY * (WATER_DENSITY - density)
    return (weight * diameter * diameter / (18 * viscosity)).astype(size.dtype)[()]


def terminal_velocity(diameter_um, air_density=AIR_DENSITY, air_viscosity=AIR_VISCOSITY):
    """Terminal velocity of a water drop in still air, Schiller-Naumann drag solved by Newton's method.

    Parameters
    ----------
    diameter_um : array_like
        Diameter of the drop, 0 to about 1,000 [um].
    air_density : array_like
        Density of the air [kg/m3].
    air_viscosity : array_like
        Dynamic viscosity of the air [Pa s].

    Returns
    -------
    numpy.ndarray or float
        Fall speed [m/s]; NaN for a negative diameter.

    Notes
    -----
    Drag coefficient Cd = 24/Re (1 + 0.15 Re^0.687). Against the measurements of Gunn and Kinzer: within 5 %
    from 200 to 1,000 um, within 12 % below. Larger drops flatten and fall more slowly than this says.

    References
    ----------
    Schiller L, Naumann A (1933), as quoted in Clift R, Grace JR, Weber ME (1978) Bubbles, Drops, and
    Particles. Gunn R, Kinzer GD (1949) The terminal velocity of fall for water droplets in stagnant air. J.
    Meteor. 6:243-248.
    """
    size, density, viscosity = as_floats(diameter_um, air_density, air_viscosity)
    density, viscosity = np.where(density > 0, density, np.nan), np.where(viscosity > 0, viscosity, np.nan)
    scale = density * size * 1e-6 / viscosity
    stokes = np.asarray(stokes_velocity(size, density, viscosity))
    target = stokes * scale
    # Re (1 + 0.15 Re^0.687) = target is increasing and convex: from the Stokes value Newton's steps only
    # fall.
    reynolds = target
    for _ in range(12):
        lift = 0.15 * reynolds**0.687
        reynolds = reynolds - (reynolds * (1 + lift) - target) / (1 + 1.687 * lift)
    speed = np.where(scale > 0, reynolds / np.where(scale > 0, scale, 1), stokes)
    return speed.astype(size.dtype)[()]


def simmel_velocity(diameter_um):
    """Terminal velocity of a water drop by a power law of its mass, Simmel et al. (2002).

    Parameters
    ----------
    diameter_um : array_like
        Diameter of the drop [um].

    Returns
    -------
    numpy.ndarray or float
        Fall speed [m/s]; NaN for a negative diameter.

    Notes
    -----
    Within 12 % of Gunn and Kinzer from 78 to 1,000 um; here as a second opinion on :func:`terminal_velocity`.

    References
    ----------
    Simmel M, Trautmann T, Tetzlaff G (2002) Numerical solution of the stochastic collection equation -
    comparison of the linear discrete method with other methods. Atmos. Res. 61:135-148 (branches as coded
    in libcloudph++).
    """
    size = as_floats(diameter_um)
    known = np.where(size >= 0, size, np.nan)
    mass = WATER_DENSITY * 1e-3 * math.pi / 6 * (known * 1e-4) ** 3  # [g], diameter in cm
    centimetres = np.select(
        [known < 134.43, known < 1511.64, known < 3477.84, known >= 3477.84],
        [4.5795e5 * mass ** (2 / 3), 4.962e3 * mass ** (1 / 3), 1.732e3 * mass ** (1 / 6), 9.17e2],
        np.nan,
    )
    return (centimetres / 100).astype(size.dtype)[()]


def evaporation_lifetime(diameter_um, delta_t):
    """Time until a drop of water has dried up in still air, Amsden (1962): d^2 / (80 Delta T).

    Parameters
    ----------
    diameter_um : array_like
        Diameter at the start [um].
    delta_t : array_like
        Dry bulb less wet bulb [K].

    Returns
    -------
    numpy.ndarray or float
        Lifetime [s], infinite in saturated air; NaN for a negative input.

    Notes
    -----
    Formula from memory: neither the paper nor the formula could be opened. Pure water; a drop with salts or
    an oil in it stops shrinking earlier.

    References
    ----------
    Amsden RC (1962) Reducing the evaporation of sprays. Agric. Aviat. 4:88-93 (from memory).
    """
    size, depression = as_floats(diameter_um, delta_t)
    possible = (size >= 0) & (depression >= 0)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        time = np.where(depression > 0, size * size / (EVAPORATION * depression), np.inf)
    return np.where(possible, time, np.nan).astype(size.dtype)[()]


def droplet_flight(diameter_um, release_height, wind_speed, delta_t, steps: int = 200) -> DropletFlight:
    """Follow a shrinking drop from the nozzle to the ground, terminal velocity and Amsden's evaporation.

    Parameters
    ----------
    diameter_um : array_like
        Diameter at the nozzle [um].
    release_height : array_like
        Height of the nozzle above the grass [m].
    wind_speed : array_like
        Mean wind along the fall [m/s].
    delta_t : array_like
        Dry bulb less wet bulb [K].
    steps : int
        Time steps over the life of the drop.

    Returns
    -------
    DropletFlight
        Time, distance and diameter at the end.

    Notes
    -----
    An explanation for people, not a drift model: it has no turbulence, no speed out of the nozzle and no
    downdraught. A drop that dries up leaves its active ingredient in the air; the distance is then only
    where the water ends.

    References
    ----------
    :func:`terminal_velocity` and :func:`evaporation_lifetime`.
    """
    size, height, wind, depression = as_floats(diameter_um, release_height, wind_speed, delta_t)
    size, height, wind, depression = np.broadcast_arrays(size, height, wind, depression)
    possible = (size > 0) & (height >= 0) & (wind >= 0) & (depression >= 0)
    life = np.asarray(evaporation_lifetime(size, depression))
    # A drop that lives three times as long as its undiminished fall takes has landed by then, even one in
    # Stokes's range.
    with np.errstate(divide="ignore", invalid="ignore"):
        horizon = np.minimum(life, 3 * height / np.asarray(terminal_velocity(size)))
        step = np.where(possible, horizon, np.nan) / steps
    time = np.zeros_like(size)
    fallen = np.zeros_like(size)
    aloft = np.ones(size.shape, dtype=bool)
    for number in range(steps):
        left = np.clip(1 - (number + 0.5) * step / np.where(life > 0, life, 1), 0, 1)
        drop = np.asarray(terminal_velocity(size * np.sqrt(left))) * step
        reach = height - fallen
        lands = aloft & (drop >= reach)
        part = np.where(lands, reach / np.where(drop > 0, drop, 1), 1)
        time = time + np.where(aloft, part * step, 0)
        fallen = fallen + np.where(aloft, drop, 0)
        aloft = aloft & ~lands
    time = np.where(possible, time, np.nan)
    left = np.clip(1 - time / np.where(life > 0, life, 1), 0, 1)
    end = np.where(possible, np.where(aloft, 0, size * np.sqrt(left)), np.nan)
    return DropletFlight(*(item.astype(size.dtype)[()] for item in (time, time * wind, end)))


def drift_distance(diameter_um, release_height, wind_speed, delta_t):
    """How far the wind takes a drop before it lands or has dried up; see :func:`droplet_flight`.

    Parameters
    ----------
    diameter_um : array_like
        Diameter at the nozzle [um]: about 100 for a fine drop, 400 for a coarse one.
    release_height : array_like
        Height of the nozzle above the grass [m].
    wind_speed : array_like
        Mean wind along the fall [m/s].
    delta_t : array_like
        Dry bulb less wet bulb [K].

    Returns
    -------
    numpy.ndarray or float
        Distance [m].

    References
    ----------
    :func:`terminal_velocity` and :func:`evaporation_lifetime`.
    """
    return droplet_flight(diameter_um, release_height, wind_speed, delta_t).distance
