"""The one table of weather variables: name, unit, cell method, bounds.

The names stand in forecasts, conditions, rules, JSON and pages alike. `kind` says what an hourly value covers:

=============  =====================================================================
instant        the value at the start of the hour; its neighbour is the next hour's
mean           the mean over the hour [t, t+1 h)
max            the largest value in the hour
sum            the amount that falls in the hour, spread from a block of `block` hours
probability    the chance of measurable rain in the whole block the hour belongs to
=============  =====================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["instant", "mean", "max", "sum", "probability"]


@dataclass(frozen=True, slots=True)
class Variable:
    """A weather variable in its canonical unit; `low` and `high` are plausible bounds, inclusive."""

    name: str
    dimension: str
    kind: Kind
    low: float
    high: float
    says: str
    #: standard error assumed one day ahead and its growth a day, in the canonical unit (None: no spread is stated).
    #: A mean absolute error counts 1.25 times, as for normal errors. Temperature: NWS Milwaukee, November 2011, days 1
    #: and 7, mean error of the maximum 2 and 5 degF, of the minimum 3 and 6 degF; the mean of both. Wind: a station
    #: benchmark of 30 days with 1.1 to 1.75 m/s by model, lead not stated. The rest common practice, no source.
    spread: tuple[float, float] | None = None


_TABLE = (
    Variable("air_temperature", "temperature", "instant", -60.0, 55.0, "air temperature at 2 m", (1.75, 0.35)),
    Variable("dew_point", "temperature", "instant", -70.0, 36.0, "dew point at 2 m", (1.75, 0.35)),
    Variable("relative_humidity", "percent", "instant", 1.0, 100.0, "relative humidity at 2 m", (8.0, 1.5)),
    Variable("wind_speed_10m", "speed", "instant", 0.0, 60.0, "mean wind speed at 10 m", (1.4, 0.12)),
    Variable("wind_from_direction", "angle", "instant", 0.0, 360.0, "direction the wind comes from, true", (20.0, 5.0)),
    Variable("wind_gust", "speed", "max", 0.0, 90.0, "gust at 10 m", (2.0, 0.2)),
    Variable("precipitation", "water_depth", "sum", 0.0, 200.0, "rain or melted snow"),
    Variable("precipitation_probability", "percent", "probability", 0.0, 100.0, "chance of measurable rain"),
    Variable("cloud_cover", "percent", "instant", 0.0, 100.0, "share of the sky covered", (20.0, 2.0)),
    Variable("shortwave_radiation", "irradiance", "mean", 0.0, 1400.0, "global horizontal irradiance"),
    Variable("surface_pressure", "pressure", "instant", 45.0, 110.0, "air pressure at the ground"),
    Variable("soil_temperature_5cm", "temperature", "instant", -40.0, 60.0, "soil temperature near 5 cm", (1.0, 0.3)),
    Variable("thunder_probability", "percent", "probability", 0.0, 100.0, "chance of thunder"),
    Variable("warning_in_force", "truth", "max", 0.0, 1.0, "the list of official warnings"),
)  # fmt: skip

VARIABLES: dict[str, Variable] = {variable.name: variable for variable in _TABLE}

#: 0.01 in counts as rain, 0.009 in does not: AMS Glossary of Meteorology, "probability of precipitation"
MEASURABLE_RAIN_MM = 0.254
