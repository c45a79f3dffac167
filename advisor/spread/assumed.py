"""Members for a source that has none, from the forecast and a stated error model that grows with lead time.

=====================  ==================================================================================
air temperature        correlated error (`stated.MEMORY`) of the size that the variable states
dew point              the same, correlated with that of the air; never above the air temperature
relative humidity      not kept: it follows from the two above
wind                   error in the square root, so that it is never negative
gust                   scaled with the member's own wind, never below it
direction              its error grows as the wind falls below 4 m/s, up to three times
cloud, soil            error within the bounds
rain                   chance and amount together, see `rain_members`; the stated chance is then carried by
                       the members and no longer a field of its own
sun, pressure, thunder shared by all members
=====================  ==================================================================================
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from advisor.atmosphere import moisture
from advisor.forecast import Field, Forecast, Reason
from advisor.spread import stated
from advisor.spread.noise import Draws, ranked, standardised
from advisor.spread.rain_members import rain_members, without_chance
from advisor.variables import VARIABLES

ASSUMED = "assumed spread"
CARRIED_BY_MEMBERS = "the stated chance of rain is carried by the members"
#: order of the noise: what is drawn for one variable does not depend on which others the source has
_DRAWN = (
    "air_temperature", "dew_point", "soil_temperature_5cm", "wind_speed_10m", "wind_from_direction", "cloud_cover",
    "rain",
)  # fmt: skip
#: how much wider the direction may scatter in light wind
_WIDEST_DIRECTION = 3.0
#: the factor of a gust is not sought below this wind, and is at most that [m/s, 1]
_LEAST_WIND, _LARGEST_FACTOR = 0.5, 4.0


def with_assumed_members(
    forecast: Forecast, now: datetime, members: int = 51, key: str = "", dtype: type = np.float64
) -> Forecast:
    """Forecast with members made from a stated error model; unchanged where the source has members of its own.

    Parameters
    ----------
    forecast : Forecast
        After quality control, (site, 1, hour).
    now : datetime
        Aware. Hours that ended before it get no error.
    members : int
        How many, at least 2.
    key : str
        The site's, for the seed: the same answer gives the same members to the last bit, whoever asks and when.
    dtype : type
        Of the members' values, float64 or float32.

    Returns
    -------
    Forecast
        `provenance.spread` is "assumed spread"; `nominal_members` is `members` at every hour. What is not known
        is not known in any member.

    Notes
    -----
    Error sizes stand in `advisor.variables`, everything else that is assumed in `advisor.spread.stated`.
    """
    if forecast.members > 1 or forecast.provenance.spread != "none":
        # an ensemble that has lost all members but one is still an ensemble: nothing is made up for it
        return forecast
    if members < 2:
        raise ValueError(f"members must be at least 2, not {members!r}.")
    lead, coming = stated.lead_hours(forecast, now), stated.still_to_come(forecast, now)
    fields = dict(forecast.fields)
    humidity_as_dew_point(fields)
    noise = _noise(forecast, key, members, dtype)
    air_noise = noise["air_temperature"]
    _add(fields, "air_temperature", air_noise, lead, coming)
    dew_noise = _following(air_noise, noise["dew_point"], stated.DEW_POINT_WITH_AIR)
    _add(fields, "dew_point", dew_noise, lead, coming)
    keep_dew_point_below_air(fields)
    if "dew_point" not in fields:
        _add(fields, "relative_humidity", noise["dew_point"], lead, coming)
    soil_noise = _following(air_noise, noise["soil_temperature_5cm"], stated.SOIL_WITH_AIR)
    _add(fields, "soil_temperature_5cm", soil_noise, lead, coming)
    _add(fields, "cloud_cover", noise["cloud_cover"], lead, coming)
    _add_direction(fields, noise["wind_from_direction"], lead, coming)
    _add_wind(fields, noise["wind_speed_10m"], lead, coming)
    notes = forecast.provenance.notes
    if "precipitation" in fields:
        probability = fields.get("precipitation_probability")
        latent = ranked(noise["rain"])
        fields["precipitation"] = rain_members(fields["precipitation"], probability, latent, coming, lead)
        without_chance(fields)
        notes = notes if probability is None else (*notes, CARRIED_BY_MEMBERS)
    provenance = replace(forecast.provenance, spread=ASSUMED, notes=notes)
    nominal = np.full(forecast.hours, members, dtype=int)
    return replace(forecast, fields=fields, provenance=provenance, nominal_members=nominal)


def humidity_as_dew_point(fields: dict[str, Field]) -> None:
    """Turn a stated humidity into the dew point it means (FAO-56 eq. 11) and drop it: `Conditions` derives it back.

    A member's humidity would otherwise contradict its own temperature. Without a temperature it stays. Where the dew
    point is stated it counts, and a gap of it stays one: the humidity may be the more lenient of the two.
    """
    if not {"air_temperature", "relative_humidity"} <= fields.keys():
        return
    humid = fields.pop("relative_humidity")
    if "dew_point" in fields:
        return
    derived = moisture.dew_point(fields["air_temperature"].values, humid.values)
    reason = np.where(np.isnan(derived).all(axis=1, keepdims=True), _reason_of(fields, humid), Reason.KNOWN)
    fields["dew_point"] = Field(derived, reason.astype(np.uint8))


def _reason_of(fields: dict[str, Field], humid: Field) -> np.ndarray:
    """Why a derived dew point is unknown: the humidity's reason, else the temperature's."""
    return np.where(humid.reason == Reason.KNOWN, fields["air_temperature"].reason, humid.reason)


def keep_dew_point_below_air(fields: dict[str, Field]) -> None:
    if {"air_temperature", "dew_point"} <= fields.keys():
        dew, air = fields["dew_point"], fields["air_temperature"].values
        # an unknown air temperature limits nothing
        fields["dew_point"] = replace(dew, values=np.where(dew.values > air, air, dew.values))


def gust_with_wind(gust: np.ndarray, wind_before: np.ndarray, wind_after: np.ndarray) -> np.ndarray:
    """Gust of an hour scaled as its mean wind was changed, never below the mean wind at either end [m/s]."""
    before, after = _hour_maximum(wind_before), _hour_maximum(wind_after)
    factor = np.minimum(after / np.maximum(before, _LEAST_WIND), _LARGEST_FACTOR)
    return np.maximum(gust * factor, after)


def _hour_maximum(wind: np.ndarray) -> np.ndarray:
    """The larger known instant of the two that bound each hour."""
    out = wind.copy()
    out[..., :-1] = np.fmax(wind[..., :-1], wind[..., 1:])
    return out


def _noise(forecast: Forecast, key: str, members: int, dtype: type) -> dict[str, np.ndarray]:
    memory = np.array([stated.MEMORY[name] for name in _DRAWN])
    drawn = Draws(key, forecast).red_noise(memory, members, forecast, dtype)
    return dict(zip(_DRAWN, drawn, strict=True))


def _following(leading: np.ndarray, own: np.ndarray, correlation: float) -> np.ndarray:
    """Noise that goes with another to this correlation."""
    return standardised(correlation * leading + (1.0 - correlation**2) ** 0.5 * own)


def _add(
    fields: dict[str, Field], name: str, noise: np.ndarray, lead: np.ndarray, coming: np.ndarray
) -> None:
    """Add an error of the stated size, kept within the variable's bounds."""
    if name not in fields:
        return
    one, variable = fields[name], VARIABLES[name]
    size = np.where(coming, stated.stated_error(name, lead), 0.0).astype(noise.dtype)
    values = np.clip(one.values.astype(noise.dtype) + size * noise, variable.low, variable.high)
    fields[name] = replace(one, values=values)


def _add_wind(fields: dict[str, Field], noise: np.ndarray, lead: np.ndarray, coming: np.ndarray) -> None:
    size = np.where(coming, stated.root_wind_error(lead), 0.0).astype(noise.dtype)
    wind = fields.get("wind_speed_10m")
    if wind is not None:
        before = np.maximum(wind.values.astype(noise.dtype), 0.0)
        after = np.where(coming, np.maximum(np.sqrt(before) + size * noise, 0.0) ** 2, before)
        after = np.minimum(after, VARIABLES["wind_speed_10m"].high).astype(noise.dtype)
        fields["wind_speed_10m"] = replace(wind, values=after)
    if "wind_gust" in fields:
        gust = fields["wind_gust"]
        values = gust.values.astype(noise.dtype)
        alone = np.maximum(np.sqrt(values) + size * noise, 0.0) ** 2
        moved = alone if wind is None else gust_with_wind(values, before, after)
        moved = np.where(np.isnan(moved), alone, moved)
        fields["wind_gust"] = replace(gust, values=np.where(coming, moved, values).astype(noise.dtype))


def _add_direction(fields: dict[str, Field], noise: np.ndarray, lead: np.ndarray, coming: np.ndarray) -> None:
    if "wind_from_direction" not in fields:
        return
    one = fields["wind_from_direction"]
    size = np.where(coming, stated.stated_error("wind_from_direction", lead), 0.0)
    if "wind_speed_10m" in fields:
        wind = fields["wind_speed_10m"].values
        wider = np.clip(stated.WIND_OF_STATED_ERROR / np.maximum(wind, 0.1), 1.0, _WIDEST_DIRECTION)
        size = size * np.where(np.isnan(wider), _WIDEST_DIRECTION, wider)
    turned = one.values.astype(noise.dtype) + (size * noise).astype(noise.dtype)
    fields["wind_from_direction"] = replace(one, values=np.where(size > 0.0, turned % 360.0, turned))
