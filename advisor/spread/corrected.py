"""Members moved and widened by what a site has taught: the forecast's own pattern stays, members keep their ranks."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from advisor.clock import HOUR
from advisor.forecast import Field, Forecast
from advisor.spread import stated
from advisor.spread.assumed import (
    gust_with_wind,
    humidity_as_dew_point,
    keep_dew_point_below_air,
    with_assumed_members,
)
from advisor.spread.learned import VARIANCE_WEIGHT, Learned, band_of, chance_of_rain
from advisor.spread.noise import Draws
from advisor.spread.pairs import mean_known
from advisor.variables import MEASURABLE_RAIN_MM, VARIABLES

#: members closer together than this share of the learned spread say nothing about it; the rest is then noise
_LEAST_SPREAD = 0.1
_LOCATION_SCALE = ("air_temperature", "dew_point", "wind_speed_10m")


def apply_learned(
    forecast: Forecast, now: datetime, learned: Learned | None, members: int = 51, key: str = ""
) -> Forecast:
    """Forecast with its members corrected; lead bands that are not learned yet stay as they are.

    Parameters
    ----------
    forecast : Forecast
        After quality control. One without members gets assumed ones first.
    now : datetime
        Aware. Hours that ended before it stay as they are.
    learned : Learned, optional
        Without it this is `with_assumed_members`.
    members, key
        As there.

    Returns
    -------
    Forecast
        `provenance.spread` is "learned from N days", N the fewest days of any band and variable that was used;
        `provenance.notes` name what was not learned. What is not known stays unknown.
    """
    forecast = with_assumed_members(forecast, now, members, key)
    if learned is None or forecast.members < 2:
        return forecast
    lead, coming = stated.lead_hours(forecast, now), stated.still_to_come(forecast, now)
    band = band_of(lead)
    fields = dict(forecast.fields)
    humidity_as_dew_point(fields)
    memory = np.array([stated.MEMORY[name] for name in _LOCATION_SCALE])
    spare = Draws(key, forecast, "learned").red_noise(memory, forecast.members, forecast)
    used: list[int] = []
    for name, noise in zip(_LOCATION_SCALE, spare, strict=True):
        where = coming & learned.usable(name)[band]
        if name in fields and where.any():
            before = fields[name]
            fields[name] = replace(before, values=_moved(name, before.values, learned, lead, where, noise))
            used += [learned.fits[name][at].days for at in np.unique(band[where])]
            if name == "wind_speed_10m" and "wind_gust" in fields:
                gust = fields["wind_gust"]
                scaled = gust_with_wind(gust.values, before.values, fields[name].values)
                kept = np.isnan(scaled) | ~where
                fields["wind_gust"] = replace(gust, values=np.where(kept, gust.values, scaled))
    keep_dew_point_below_air(fields)
    where = coming & learned.usable("precipitation")[band]
    if "precipitation" in fields and where.any():
        fields["precipitation"] = rain_corrected(
            fields["precipitation"], forecast, learned, lead, coming, Draws(key, forecast, "learned rain")
        )
        used += [learned.fits["precipitation"][at].days for at in np.unique(band[where])]
    if not used:
        return forecast
    return replace(forecast, fields=fields, provenance=_told(forecast, learned, min(used)))


def _told(forecast: Forecast, learned: Learned, days: int):
    told = [name for name in (*_LOCATION_SCALE, "precipitation") if name in forecast.fields]
    rest = [VARIABLES[name].says for name in told if not learned.usable(name).any()]
    notes = forecast.provenance.notes
    if rest:
        notes = (*notes, f"not learned yet: {', '.join(rest)}")
    return replace(forecast.provenance, spread=f"learned from {days} days", notes=notes)


def _by_hour(learned: Learned, name: str, lead: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Bias and variance of a member (hour,): the variance of Student's t, over the stated one."""
    fits = learned.fits[name]
    degrees = np.array([fit.weight + VARIANCE_WEIGHT for fit in fits])
    factor = np.array([fit.factor for fit in fits]) * degrees / (degrees - 2.0)
    band = band_of(lead)
    return np.array([fit.bias for fit in fits])[band], factor[band]


def _moved(
    name: str, values: np.ndarray, learned: Learned, lead: np.ndarray, where: np.ndarray, noise: np.ndarray
) -> np.ndarray:
    """Values with the learned mean and spread, members in their order; of the wind in square roots."""
    root = name == "wind_speed_10m"
    x = np.sqrt(np.maximum(values, 0.0)) if root else values
    bias, factor = _by_hour(learned, name, lead)
    size = np.sqrt(factor) * (stated.root_wind_error(lead) if root else stated.stated_error(name, lead))
    moved = location_scale(x, bias, size, noise)
    moved = np.maximum(moved, 0.0) ** 2 if root else moved
    variable = VARIABLES[name]
    moved = np.clip(moved, variable.low, variable.high)
    return np.where(where, moved, values).astype(values.dtype)


def location_scale(members: np.ndarray, bias, size, noise: np.ndarray) -> np.ndarray:
    """Members (site, member, hour) moved by `bias` and spread to the standard deviation `size`, both (hour,).

    Deviations from the mean are scaled, so that members keep their ranks. Where the members agree to within a tenth
    of `size`, scaling would blow up rounding: the rest is then filled with `noise`, stratified and red.
    """
    mean = mean_known(members, 1)[:, None, :]
    away = members - mean
    own = np.sqrt(mean_known(away * away, 1))[:, None, :]
    size = np.asarray(size, dtype=float)
    least = _LEAST_SPREAD * size
    scale = size / np.maximum(own, least)
    rest = np.sqrt(np.maximum(1.0 - (own / least) ** 2, 0.0)) * size
    return mean + bias + away * scale + rest * noise


def rain_corrected(
    field: Field,
    forecast: Forecast,
    learned: Learned,
    lead: np.ndarray,
    coming: np.ndarray,
    random: Draws,
) -> Field:
    """Rain of which as many members are wet, period by period, as the learned chance says.

    Too many wet members: the driest of them become dry. Too few: the wettest of the dry ones get 0.254 mm in one block
    of hours, drawn where the other members have their rain. Members keep their order.

    Notes
    -----
    Periods of `learned.rain_period` hours begin at whole multiples of it in UTC, as when they were learned. A
    period that has begun, lies partly off the axis, or is not known in any member stays as it is.
    """
    values = field.values.copy()
    sites, members, hours = values.shape
    period, fits = learned.rain_period, learned.fits["precipitation"]
    coefficients = np.array([fit.rain for fit in fits])
    begin = int(-(forecast.start.astype("datetime64[h]").astype(int)) % period)
    count = (hours - begin) // period
    if members < 2 or count < 1:
        return field
    span = begin + np.arange(count * period)
    blocks = values[..., span].reshape(sites, members, count, period)
    end_lead = lead[span].reshape(count, period)[:, -1] + 1.0
    band = band_of(end_lead)
    whole = coming[span].reshape(count, period).all(axis=1) & learned.usable("precipitation")[band]
    totals = np.moveaxis(blocks.sum(axis=-1), 1, -1)
    known = ~np.isnan(totals)
    chance = chance_of_rain(totals, coefficients[band])
    target = np.rint(np.nan_to_num(chance) * known.sum(axis=-1)).astype(int)
    # order from the wettest, lost members last, ties by lot
    even = random.uniform((sites, period + 1, members), forecast.start + begin * HOUR, count, period)
    lot = np.moveaxis(even[:, 0], 1, 2) * 1e-9
    order = np.argsort(np.argsort(-np.where(known, totals + lot, -1.0), axis=-1), axis=-1)
    wanted = (order < target[..., None]) & known
    wet = totals >= MEASURABLE_RAIN_MM * (1.0 - 1e-6)
    change = whole[:, None] & known
    dried = np.moveaxis(change & wet & ~wanted, -1, 1)
    wetted = np.moveaxis(change & ~wet & wanted, -1, 1)
    added = _one_block(blocks, field, span, np.moveaxis(even[:, 1:], 1, 3)) * MEASURABLE_RAIN_MM
    blocks = np.where(dried[..., None], 0.0, np.where(wetted[..., None], added, blocks))
    values[..., span] = blocks.reshape(sites, members, count * period)
    return replace(field, values=values)


def _one_block(blocks: np.ndarray, field: Field, span: np.ndarray, even: np.ndarray) -> np.ndarray:
    """Share of a period's rain by hour (site, member, period, hour): all of it in one block of hours a member, chosen
    by uniform random numbers `even` of that shape."""
    mean = mean_known(blocks, 1)[:, None]
    weight = np.nan_to_num(mean) + 1e-6
    # the largest of weight^(1/u) in logarithms: a draw in proportion to the weights
    drawn = np.log(weight) - np.log(-np.log(even))
    chosen = drawn == drawn.max(axis=-1, keepdims=True)
    if field.block_first is None:
        return chosen / chosen.sum(axis=-1, keepdims=True)
    shape = (field.block_first.shape[0], 1, *blocks.shape[2:])
    first = np.broadcast_to(field.block_first[..., span].reshape(shape), blocks.shape)
    inside = first == np.where(chosen, first, np.iinfo(np.int32).min).max(axis=-1, keepdims=True)
    return inside / inside.sum(axis=-1, keepdims=True)
