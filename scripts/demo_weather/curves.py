"""Smooth, seeded, physically consistent hourly series from a few anchors. No clock, no files."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta

import numpy as np

from advisor.atmosphere.extraterrestrial import extraterrestrial_hourly
from advisor.atmosphere.moisture import relative_humidity, wet_bulb
from advisor.atmosphere.radiation import clear_sky_shortwave, shortwave_from_cloud

HOUR = np.timedelta64(1, "h")
MPH = 0.44704
#: local hour and the share of the day's warming that is reached by then, from the morning's minimum
_WARMING = ((7, 0.0), (8, 0.09), (10, 0.42), (13, 0.87), (16, 1.0))
#: local hour and the share of the cooling to the next morning's minimum
_COOLING = ((17, 0.06), (19, 0.36), (22, 0.64), (25, 0.82), (28, 0.94))


def hours(first: str, last: str) -> np.ndarray:
    """Full hours of UTC from the first to the last, both included, datetime64[h]."""
    return np.arange(np.datetime64(first, "h"), np.datetime64(last, "h") + HOUR, HOUR)


def local(text: str, offset: int, year: int) -> np.datetime64:
    """UTC of a wall time such as "09-22 17", whose clock is `offset` hours ahead of UTC."""
    wall = datetime.strptime(f"{year}-{text}", "%Y-%m-%d %H")  # noqa: DTZ007
    return np.datetime64(wall, "h") - offset * HOUR


def smooth(anchors: Mapping[np.datetime64, float], axis: np.ndarray) -> np.ndarray:
    """Monotone cubic through anchors, flat beyond them: no overshoot between two anchors.

    References
    ----------
    Fritsch and Carlson (1980) SIAM J. Numer. Anal. 17:238-246.
    """
    ordered = sorted(anchors.items())
    at = np.array([(key - axis[0]) / HOUR for key, _ in ordered], dtype=float)
    value = np.array([value for _, value in ordered], dtype=float)
    width, rise = np.diff(at), np.diff(value) / np.diff(at)
    slope = np.zeros(len(at))
    same = rise[:-1] * rise[1:] > 0.0
    weight_1, weight_2 = 2 * width[1:] + width[:-1], width[1:] + 2 * width[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (weight_1 + weight_2) / (weight_1 / rise[:-1] + weight_2 / rise[1:])
    slope[1:-1] = np.where(same, mean, 0.0)
    x = np.clip((axis - axis[0]) / HOUR, at[0], at[-1])
    piece = np.clip(np.searchsorted(at, x, side="right") - 1, 0, len(width) - 1)
    step = width[piece]
    t = (x - at[piece]) / step
    return (
        value[piece] * (1 + 2 * t) * (1 - t) ** 2
        + slope[piece] * step * t * (1 - t) ** 2
        + value[piece + 1] * t**2 * (3 - 2 * t)
        + slope[piece + 1] * step * t**2 * (t - 1)
    )


def wobble(length: int, size: float, seed: str, memory: float = 0.7) -> np.ndarray:
    """Red noise of a standard deviation `size`; the same for the same seed on every machine."""
    chance = random.Random(seed)
    out, level = np.empty(length), 0.0
    for at in range(length):
        level = memory * level + (1 - memory**2) ** 0.5 * (2 * chance.random() - 1) * 3**0.5
        out[at] = size * level
    return out


def day_and_night(extremes: Mapping[date, tuple[float, float]], offset: int) -> dict[np.datetime64, float]:
    """Temperature anchors from each local day's morning minimum and afternoon maximum.

    The last day given supplies the minimum that its day before cools to, and nothing after its own maximum.
    """
    anchors: dict[np.datetime64, float] = {}
    for day, (low, high) in extremes.items():
        midnight = np.datetime64(day.isoformat(), "h") - offset * HOUR
        for hour, share in _WARMING:
            anchors[midnight + hour * HOUR] = low + share * (high - low)
        following = extremes.get(day + timedelta(days=1))
        if following is not None:
            for hour, share in _COOLING:
                anchors[midnight + hour * HOUR] = high + share * (following[0] - high)
    return anchors


def rain(axis_ends: np.ndarray, events: Mapping[np.datetime64, Sequence[float]]) -> np.ndarray:
    """[mm] of the hour that ends at each label, from the start of each event and its hourly amounts."""
    out = np.zeros(len(axis_ends))
    for start, amounts in events.items():
        first = int((start + HOUR - axis_ends[0]) / HOUR)
        for at, amount in enumerate(amounts, first):
            if 0 <= at < len(out):
                out[at] += amount
    return out


def rain_chance(amounts: np.ndarray, background: np.ndarray) -> np.ndarray:
    """[%] for each hour: high where it rains, lower in the two hours around, the background elsewhere."""
    wet = np.where(amounts > 0.0, np.clip(58.0 + 18.0 * amounts, 0.0, 96.0), 0.0)
    padded = np.pad(wet, 2)
    near = np.maximum(padded[1:-3], padded[3:-1])
    far = np.maximum(padded[:-4], padded[4:])
    return np.maximum.reduce([background, wet, 0.6 * near, 0.3 * far])


def shortwave(
    starts: np.ndarray, latitude: float, longitude: float, elevation: float, cloud: np.ndarray
) -> np.ndarray:
    """[W/m2] mean of each hour from the sun and the hour's mean cloud [%]."""
    above = extraterrestrial_hourly(starts, latitude, longitude) * 1e6 / 3600.0
    return np.asarray(shortwave_from_cloud(cloud, clear_sky_shortwave(above, elevation)))


def raining(fallen_before: np.ndarray, fallen_after: np.ndarray) -> np.ndarray:
    """Share of rain's own air at an instant, 0 to 1: half at its edges, fading for hours after."""
    now = 0.5 * ((fallen_before > 0.0).astype(float) + (fallen_after > 0.0))
    out, level = np.empty(len(now)), 0.0
    for at, share in enumerate(now):
        level = max(share, 0.5 * level if level > 0.1 else 0.0)
        out[at] = level
    return out


def with_rain(
    air_temperature: np.ndarray, dew_point: np.ndarray, share: np.ndarray, pressure_kpa: float
) -> tuple[np.ndarray, np.ndarray]:
    """Air temperature and dew point, to a tenth, with the dew point below the air.

    Rain that evaporates cools the air and moistens it: both move towards the wet bulb, by a share, and keep
    half a degree from it.
    """
    dew_point = np.minimum(dew_point, air_temperature - 0.4)
    wet = np.asarray(wet_bulb(air_temperature, relative_humidity(air_temperature, dew_point), pressure_kpa))
    air = air_temperature + share * (np.minimum(wet + 0.5, air_temperature) - air_temperature)
    dew = dew_point + share * (np.maximum(wet - 0.4, dew_point) - dew_point)
    return np.round(air, 1), np.round(np.minimum(dew, air - 0.3), 1)


def humidity(air_temperature: np.ndarray, dew_point: np.ndarray) -> np.ndarray:
    """[%] from both, at most 100."""
    return np.minimum(np.asarray(relative_humidity(air_temperature, dew_point)), 100.0)


def lagged(air_temperature: np.ndarray, sun: np.ndarray, hours_of_lag: float) -> np.ndarray:
    """Soil temperature near the surface: air temperature and a little sun, with a first-order lag."""
    out, level = np.empty(len(air_temperature)), float(np.mean(air_temperature[:24]))
    for at, target in enumerate(air_temperature + 0.006 * sun):
        level += (target - level) / hours_of_lag
        out[at] = level
    return out


def plain(values: np.ndarray, digits: int) -> list:
    """Rounded Python numbers for JSON; whole ones as integers when no digits are wanted; never -0.0."""
    if digits == 0:
        return [int(value) for value in np.rint(values)]
    return [round(float(value), digits) + 0.0 for value in values]
