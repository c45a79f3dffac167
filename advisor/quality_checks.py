"""Checks of a forecast's values, alone and against each other. `advisor.quality` lists the rules and runs
them.

Each check takes the forecast, its fields as they stand after the checks before it, and the list of flags, and
replaces the fields that it finds fault with.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from advisor.atmosphere.moisture import relative_humidity
from advisor.forecast import Field, Flag, Forecast, Reason
from advisor.sun import solar_elevation
from advisor.variables import MEASURABLE_RAIN_MM, VARIABLES

#: longest believable run of one value [h], about twice the longest seen in 17 real answers of three providers
#: (air temperature 5 h, humidity 13 h, dew point 23 h, wind and gust 16 h; wind direction 29 h and so not
#: checked)
STUCK_HOURS: dict[str, int] = {
    "air_temperature": 24,
    "relative_humidity": 30,
    "dew_point": 48,
    "wind_speed_10m": 36,
    "wind_gust": 36,
    "shortwave_radiation": 12,
}
#: values that may stand for as long as they like: calm, no sun, saturated air
_MAY_STAND: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "relative_humidity": lambda values: values >= 99.0,
    "wind_speed_10m": lambda values: values <= 0.0,
    "wind_gust": lambda values: values <= 0.0,
    "shortwave_radiation": lambda values: values <= 0.0,
}
#: whole degrees Fahrenheit of both values allow half a degree each: 0.56 K, and 0.6 with decimals
ROUNDING_OF_DEW_POINT = 0.6
#: percentages may exceed their bound by rounding
ROUNDING_OF_PERCENT = 0.5
#: the three providers' own values differ by up to 3.6 points; beyond this they are of different air. Common
#: practice.
HUMIDITY_DISAGREES = 20.0
#: sun lower than this at both ends and the middle of the hour, radiation above that [deg, W/m2]
NIGHT_ELEVATION, NIGHT_RADIATION = -3.0, 50.0

#: a gust below this share of a wind that blows at least so strong [1, m/s] is none: nothing was written as 0. The least
#: share in such a wind is 0.65 in real answers (Open-Meteo). Common practice, no source.
NO_GUST_SHARE, NO_GUST_WIND = 0.5, 2.0

#: wind of these sources is an instant, so that the hour's gust also covers the wind at its end
_INSTANT_WIND = ("open-meteo", "met-norway")


def blank(one: Field, where: np.ndarray, reason: Reason) -> Field:
    """Field without the values at `where` (site, member, hour); the reason is set where no member is left."""
    values = np.where(where, np.array(np.nan, dtype=one.values.dtype), one.values)
    lost = where.any(axis=1, keepdims=True) & np.isnan(values).all(axis=1, keepdims=True)
    lost = np.broadcast_to(lost, np.broadcast_shapes(lost.shape, one.reason.shape))
    return replace(one, values=values, reason=np.where(lost, np.uint8(reason), one.reason))


def raised(
    forecast: Forecast, where: np.ndarray, check: str, variable: str, says: str, makes: tuple[str, ...] = ()
) -> Flag:
    hours = np.flatnonzero(where.any(axis=(0, 1)))
    axis = forecast.axis
    return Flag(check, variable, says, axis[hours[0]], axis[hours[-1]], makes)


def _hours(where: np.ndarray) -> str:
    count = int(where.any(axis=(0, 1)).sum())
    return "1 hour" if count == 1 else f"{count} hours"


def bounds(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    for name, one in fields.items():
        variable = VARIABLES.get(name)
        if variable is None:
            continue
        slack = ROUNDING_OF_PERCENT if variable.dimension == "percent" else 0.0
        values = one.values
        outside = (values < variable.low - slack) | (values > variable.high + slack)
        if slack:
            one = replace(one, values=np.clip(values, variable.low, variable.high))
        if outside.any():
            worst = values[outside][0]
            says = f"{_hours(outside)} of {variable.says} impossible, such as {worst:.4g}"
            flags.append(raised(forecast, outside, "bounds", name, says, (name,)))
            one = blank(one, outside, Reason.IMPLAUSIBLE)
        fields[name] = one


def run_lengths(values: np.ndarray) -> np.ndarray:
    """Length of the run of equal known values around each element of the last axis; 0 where unknown."""
    known = ~np.isnan(values)
    length = values.shape[-1]
    position = np.arange(length)
    begins = np.ones(values.shape, dtype=bool)
    begins[..., 1:] = values[..., 1:] != values[..., :-1]  # NaN differs from everything, itself included
    ends = np.ones(values.shape, dtype=bool)
    ends[..., :-1] = begins[..., 1:]
    first = np.maximum.accumulate(np.where(begins, position, 0), axis=-1)
    last = np.flip(
        np.minimum.accumulate(np.flip(np.where(ends, position, length - 1), axis=-1), axis=-1), axis=-1
    )
    return np.where(known, last - first + 1, 0)


def stuck(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    for name, limit in STUCK_HOURS.items():
        if name not in fields:
            continue
        one = fields[name]
        stuck = run_lengths(one.values) > limit
        if name in _MAY_STAND:
            stuck &= ~_MAY_STAND[name](one.values)
        if stuck.any():
            says = f"{VARIABLES[name].says} stands at one value for more than {limit} h"
            flags.append(raised(forecast, stuck, "stuck", name, says, (name,)))
            fields[name] = blank(one, stuck, Reason.STUCK)


def dew_point(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    if not {"air_temperature", "dew_point"} <= fields.keys():
        return
    air, dew = fields["air_temperature"], fields["dew_point"]
    above = dew.values - air.values
    wrong = above > ROUNDING_OF_DEW_POINT
    if wrong.any():
        names = tuple(
            name for name in ("air_temperature", "dew_point", "relative_humidity") if name in fields
        )
        says = (
            f"{_hours(wrong)} with the dew point above the air temperature, by up to {np.nanmax(above):.1f} K"
        )
        flags.append(raised(forecast, wrong, "dew-point-above-air", "dew_point", says, names))
        for name in names:
            fields[name] = blank(fields[name], _fit(wrong, fields[name]), Reason.CONTRADICTION)
    air, dew = fields["air_temperature"], fields["dew_point"]
    if above.shape == dew.values.shape:
        fields["dew_point"] = replace(dew, values=np.where(above > 0.0, air.values, dew.values))


def humidity(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    if not {"air_temperature", "dew_point", "relative_humidity"} <= fields.keys():
        return
    follows = relative_humidity(fields["air_temperature"].values, fields["dew_point"].values)
    off = np.abs(follows - fields["relative_humidity"].values)
    wrong = off > HUMIDITY_DISAGREES
    if wrong.any():
        says = (
            f"{_hours(wrong)} in which humidity and dew point disagree, by up to {np.nanmax(off):.0f} points"
        )
        names = ("relative_humidity", "dew_point")
        flags.append(raised(forecast, wrong, "humidity-disagrees", "relative_humidity", says, names))
        for name in names:
            fields[name] = blank(fields[name], _fit(wrong, fields[name]), Reason.CONTRADICTION)


def night(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    """Radiation at night means that the hours are shifted, so none of it can be used."""
    there = forecast.provenance
    if "shortwave_radiation" not in fields or there.latitude is None or there.longitude is None:
        return
    radiation = fields["shortwave_radiation"]
    if radiation.values.shape[0] > 1:
        return
    half_hours = forecast.start.astype("datetime64[m]") + np.arange(2 * forecast.hours + 1) * np.timedelta64(
        30, "m"
    )
    elevation = np.asarray(solar_elevation(half_hours, there.latitude, there.longitude)).reshape(-1)
    highest = np.maximum(np.maximum(elevation[:-2:2], elevation[1:-1:2]), elevation[2::2])
    wrong = (radiation.values > NIGHT_RADIATION) & (highest < NIGHT_ELEVATION)
    if wrong.any():
        says = f"{_hours(wrong)} of sunshine at night: the hours are shifted"
        flags.append(
            raised(forecast, wrong, "sun-at-night", "shortwave_radiation", says, ("shortwave_radiation",))
        )
        fields["shortwave_radiation"] = blank(radiation, radiation.known, Reason.CONTRADICTION)


def gust(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    if not {"wind_gust", "wind_speed_10m"} <= fields.keys():
        return
    gust, wind = fields["wind_gust"], fields["wind_speed_10m"].values
    least = wind
    if forecast.provenance.source in _INSTANT_WIND:
        least = wind.copy()
        least[..., :-1] = np.fmax(wind[..., :-1], wind[..., 1:])
    none = (gust.values < NO_GUST_SHARE * least) & (least >= NO_GUST_WIND)
    if none.any():
        says = f"{_hours(none)} with a gust below half of the mean wind: it is not believed"
        flags.append(raised(forecast, none, "no-gust", "wind_gust", says, ("wind_gust",)))
        gust = fields["wind_gust"] = blank(gust, none, Reason.CONTRADICTION)
    low = gust.values < least - 1e-6
    if low.any():
        says = f"{_hours(low)} with a gust below the mean wind; the mean wind is taken instead"
        flags.append(raised(forecast, low, "gust-below-wind", "wind_gust", says))
        fields["wind_gust"] = replace(
            gust, values=np.where(low, least, gust.values).astype(gust.values.dtype)
        )


def rain(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    if not {"precipitation", "precipitation_probability"} <= fields.keys():
        return
    rain, chance = fields["precipitation"].values, fields["precipitation_probability"].values
    odd = (chance <= 0.0) & (rain >= MEASURABLE_RAIN_MM)
    if odd.any():
        says = f"{_hours(odd)} of measurable rain at a stated chance of 0 %; the amount counts"
        flags.append(raised(forecast, odd, "rain-without-chance", "precipitation_probability", says))


def _fit(where: np.ndarray, one: Field) -> np.ndarray:
    """A mask over members, for a field that may have them or not."""
    if one.values.shape[1] == where.shape[1]:
        return where
    where = where.any(axis=1, keepdims=True)
    return np.broadcast_to(where, one.values.shape)


#: in the order in which they run
CHECKS = (bounds, stuck, dew_point, humidity, night, gust, rain)
