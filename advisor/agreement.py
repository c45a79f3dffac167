"""A second source as a cross-check: where two sources contradict each other, the weather is not known.

The rule, hour by hour, for hours still to come in which both sources have a value:

===================  ==========================================  =============================================
variable             they contradict each other when             makes unknown in that hour
===================  ==========================================  =============================================
air temperature      further apart than `BEYOND` times the       air temperature
dew point            assumed spread of their difference; of the  dew point and humidity
wind speed           wind in square roots; its direction wider   wind speed
wind direction       in light wind                               wind direction
humidity, gust       the same                                    humidity, gust
cloud                the same                                    cloud
rain                 one has `RAIN_MM` or more in six hours and  rain in those six hours
                     the other nothing measurable in the twelve
                     hours around them
===================  ==========================================  =============================================

Chances of rain are not compared: those of an hour and of a block of six say different things. Radiation, pressure and
soil are not either: they have no stated error, or only one source has them.

The assumed spread of the difference of two forecasts is sqrt(2) times that of one (`advisor.spread.stated`), as if
their errors had nothing to do with each other; real sources share some of their errors, so that they stand closer
together and the rule speaks seldom. Of an ensemble its mean is compared, and its own spread counts where it is wider.

What a contradiction does to the chance: every rule that rests on the variable is unknown in every member at that
hour. The lower chance of such a start falls to 0, the upper one stays, and the start cannot be a go. It never makes a
no-go of a start by itself, and agreement never raises a chance. A second opinion that is missing, stale or silent
about an hour changes nothing there, and the notes say so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from advisor.atmosphere import moisture
from advisor.forecast import Forecast, Reason, on_axis
from advisor.quality_checks import blank, raised
from advisor.spread import stated
from advisor.spread.pairs import mean_known
from advisor.variables import MEASURABLE_RAIN_MM, VARIABLES

#: contradictory from so many assumed spreads of the difference. Two is what one in twenty pairs of unrelated errors
#: exceeds. Common practice, no source.
BEYOND = 2.0
#: rain of one source that the other would have to know of [mm]: 0.1 in, ten times what counts as measurable. Common
#: practice, no source.
RAIN_MM = 2.5
#: length of the blocks that rain is compared in, and by how much the other source may be early or late [h]
RAIN_BLOCK, RAIN_SHIFT = 6, 3
#: light winds may come from anywhere: the direction's spread grows as the wind falls below that of the stated error,
#: up to so many times
_WIDEST_DIRECTION = 3.0
_COMPARED = (
    "air_temperature", "dew_point", "relative_humidity", "wind_speed_10m", "wind_from_direction", "wind_gust",
    "cloud_cover",
)  # fmt: skip
_ALSO = {"dew_point": ("dew_point", "relative_humidity")}


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two sources' values of one variable on one axis.

    Attributes
    ----------
    compared : ndarray of bool (site, hour)
        Hours in which both know it and that are still to come.
    contradict : ndarray of bool (site, hour)
    apart : ndarray (site, hour)
        Distance [canonical unit]; NaN where not compared.
    """

    compared: np.ndarray
    contradict: np.ndarray
    apart: np.ndarray


def compare(forecast: Forecast, other: Forecast, now: datetime) -> dict[str, Comparison]:
    """Both sources' values beside each other, by variable, on the axis of `forecast`.

    Parameters
    ----------
    forecast, other : Forecast
        Of the same sites, after quality control.
    now : datetime
        Aware; hours that are over are not compared.
    """
    start = min(forecast.start, other.start)
    end = max(one.axis[-1] + np.timedelta64(1, "h") for one in (forecast, other))
    ours, theirs = (on_axis(one, start, int((end - start) / np.timedelta64(1, "h"))) for one in (forecast, other))
    coming = stated.still_to_come(ours, now)
    lead = np.maximum(stated.lead_hours(ours, now), stated.lead_hours(theirs, now))
    found = {}
    wind = _middle(ours, "wind_speed_10m"), _middle(theirs, "wind_speed_10m")
    for name in _COMPARED:
        a, b = _middle(ours, name), _middle(theirs, name)
        apart = _apart(name, a, b)
        measure = np.abs(_root(a) - _root(b)) if name == "wind_speed_10m" else apart
        assumed = _spread(name, lead, wind)
        spread = [np.maximum(assumed, _own_spread(one, name)) for one in (ours, theirs)]
        known = coming & ~np.isnan(apart)
        contradict = known & (measure > BEYOND * np.hypot(*spread))
        found[name] = Comparison(known, contradict, np.where(known, apart, np.nan))
    found["precipitation"] = _rain(ours, theirs, coming)
    first = int((forecast.start - start) / np.timedelta64(1, "h"))
    there = slice(first, first + forecast.hours)
    return {
        name: Comparison(one.compared[:, there], one.contradict[:, there], one.apart[:, there])
        for name, one in found.items()
    }


def cross_checked(forecast: Forecast, other: Forecast, now: datetime) -> Forecast:
    """The forecast with everything unknown that the other source contradicts; notes and flags say what that was.

    Parameters
    ----------
    forecast : Forecast
        What verdicts rest on, after quality control.
    other : Forecast
        Of the same sites, after quality control; nothing of it is taken over.
    now : datetime
        Aware.
    """
    found = compare(forecast, other, now)
    fields, flags, told = dict(forecast.fields), [], []
    for name, one in found.items():
        if not one.contradict.any():
            continue
        where = one.contradict[:, None, :]
        for made in _ALSO.get(name, (name,)):
            if made in fields:
                fields[made] = blank(fields[made], where, Reason.DISAGREEMENT)
        hours = int(one.contradict.any(axis=0).sum())
        says = (
            f"{VARIABLES[name].says}: {hours} {'hour' if hours == 1 else 'hours'} in which "
            f"{forecast.provenance.source} and {other.provenance.source} contradict each other"
        )
        flags.append(raised(forecast, where, "sources-disagree", name, says, _ALSO.get(name, (name,))))
        told.append(f"{VARIABLES[name].says} ({hours} h)")
    note = _note(other, found, told)
    provenance = replace(
        forecast.provenance,
        notes=(*forecast.provenance.notes, note),
        attribution="; ".join(
            dict.fromkeys(
                one.attribution for one in (forecast.provenance, other.provenance) if one.attribution
            )
        ),
    )
    return replace(forecast.with_fields(fields, flags), provenance=provenance)


def _note(other: Forecast, found: Mapping[str, Comparison], told: list[str]) -> str:
    source = other.provenance.source
    hours = int(np.any([one.compared.any(axis=0) for one in found.values()], axis=0).sum())
    if not hours:
        return f"not cross-checked: {source} has no hour to compare"
    if not told:
        return f"cross-checked with {source} over {hours} h: no contradiction"
    return f"cross-checked with {source} over {hours} h, contradicted and so not known: {', '.join(told)}"


def _middle(forecast: Forecast, name: str) -> np.ndarray:
    """(site, hour): the mean of the members, of directions along the mean vector; the dew point also from humidity."""
    if name == "wind_from_direction":
        angle = np.deg2rad(forecast.values(name))
        east, north = mean_known(np.sin(angle), 1), mean_known(np.cos(angle), 1)
        return np.where(np.hypot(east, north) > 1e-6, np.rad2deg(np.arctan2(east, north)) % 360.0, np.nan)
    values = forecast.values(name)
    if name == "dew_point" and name not in forecast.fields:
        values = moisture.dew_point(forecast.values("air_temperature"), forecast.values("relative_humidity"))
    return mean_known(values, 1)


def _apart(name: str, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    apart = np.abs(a - b)
    return np.minimum(apart, 360.0 - apart) if name == "wind_from_direction" else apart


def _root(values: np.ndarray) -> np.ndarray:
    return np.sqrt(np.maximum(values, 0.0))


def _spread(name: str, lead: np.ndarray, wind: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Assumed spread of one forecast (hour,) or (site, hour); of the wind, of its square root."""
    if name == "wind_speed_10m":
        return stated.root_wind_error(lead)
    if name != "wind_from_direction":
        return stated.stated_error(name, lead)
    light = np.fmin(*wind)
    wider = np.clip(stated.WIND_OF_STATED_ERROR / np.maximum(light, 0.1), 1.0, _WIDEST_DIRECTION)
    return stated.stated_error(name, lead) * np.where(np.isnan(wider), _WIDEST_DIRECTION, wider)


def _own_spread(forecast: Forecast, name: str) -> np.ndarray:
    """Standard deviation between the members (site, hour), in the measure that is compared; 0 without members."""
    values = forecast.values(name)
    if values.shape[1] < 2 or name == "wind_from_direction":
        return np.zeros((values.shape[0], values.shape[-1]))
    if name == "wind_speed_10m":
        values = _root(values)
    away = values - mean_known(values, 1)[:, None, :]
    return np.sqrt(np.nan_to_num(mean_known(away * away, 1)))


def _rain(ours: Forecast, theirs: Forecast, coming: np.ndarray) -> Comparison:
    a, b = _middle(ours, "precipitation"), _middle(theirs, "precipitation")
    sites = np.broadcast_shapes(a.shape, b.shape)[0]
    shape = (sites, len(coming))
    a, b = np.broadcast_to(a, shape), np.broadcast_to(b, shape)
    block = ours.axis.astype(int) // RAIN_BLOCK
    index = block - block[0]
    here = [_in_blocks(values, index) for values in (a, b)]
    around = [_in_blocks(_sum_around(values), index, whole=False) for values in (a, b)]
    contradict, compared = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    for wet, other in ((0, 1), (1, 0)):
        known = ~np.isnan(here[wet]) & ~np.isnan(around[other])
        compared |= known[:, index]
        odd = known & (here[wet] >= RAIN_MM) & (around[other] < MEASURABLE_RAIN_MM)
        contradict |= odd[:, index]
    apart = np.where(compared, np.abs(here[0] - here[1])[:, index], np.nan)
    return Comparison(compared & coming, contradict & coming, np.where(coming, apart, np.nan))


def _in_blocks(values: np.ndarray, index: np.ndarray, whole: bool = True) -> np.ndarray:
    """(site, block): the total of each block of hours, NaN where an hour of it is unknown or off the axis; or, where
    the values are totals already, that of the block's first hour."""
    starts = np.flatnonzero(np.diff(index, prepend=-1))
    if not whole:
        return values[:, starts]
    lengths = np.diff(np.append(starts, len(index)))
    total = np.add.reduceat(values, starts, axis=1)
    return np.where(lengths == RAIN_BLOCK, total, np.nan)


def _sum_around(values: np.ndarray) -> np.ndarray:
    """Total from `RAIN_SHIFT` hours before the block that begins at each hour to as many after it; NaN off the axis."""
    reach = RAIN_BLOCK + 2 * RAIN_SHIFT
    padded = np.pad(values, ((0, 0), (RAIN_SHIFT, reach)), constant_values=np.nan)
    return np.lib.stride_tricks.sliding_window_view(padded, reach, axis=1)[:, : values.shape[1]].sum(axis=-1)

