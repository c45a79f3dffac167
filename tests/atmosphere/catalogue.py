"""Every public numeric function of the atmosphere and the sun with ordinary arguments.

Each entry: a name, the function, its numeric arguments with an ordinary value, and its other arguments.
`alone` holds for functions of one moment, which must give the same value alone and inside an array; functions
along the hour axis are tested by themselves.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from advisor import sun
from advisor.atmosphere import (
    drying,
    evapotranspiration,
    extraterrestrial,
    inversions,
    leaves,
    moisture,
    penman,
    radiation,
    shortwave,
    stability,
    vapour,
    wind,
)

MODULES = (
    drying, evapotranspiration, extraterrestrial, inversions, leaves, moisture, radiation, stability, vapour,
    wind, penman, shortwave, sun.position, sun.events,
)  # fmt: skip

TIME = np.datetime64("2024-06-05T14:00", "s")
NIGHT = {
    "sunset": np.array(["2024-06-04T20:00", "2024-06-05T20:00"], dtype="datetime64[s]"),
    "sunrise": np.array(["2024-06-05T05:00", "2024-06-06T05:00"], dtype="datetime64[s]"),
}


@dataclass(frozen=True)
class Entry:
    name: str
    function: Any
    numbers: dict[str, float]
    others: dict[str, Any] = field(default_factory=dict)
    alone: bool = True
    single: float = 2e-5
    """Largest relative difference of float32 from float64, against the size of the result or 1."""
    always_double: bool = False


def _numbers(*names: str) -> dict[str, float]:
    return {name: ORDINARY[name] for name in names}


ORDINARY = {
    "air_temperature": 21.3,
    "temperature_maximum": 26.1,
    "temperature_minimum": 13.4,
    "temperature_mean": 19.7,
    "dew_point": 11.2,
    "dry_bulb": 21.3,
    "wet_bulb_temperature": 15.2,
    "relative_humidity": 52.6,
    "relative_humidity_maximum": 84.0,
    "relative_humidity_minimum": 48.0,
    "relative_humidity_mean": 66.0,
    "vapour_pressure": 1.41,
    "pressure": 98.4,
    "elevation": 215.0,
    "latitude": 44.9,
    "longitude": -93.3,
    "day_of_year": 157.0,
    "wind_speed_2m": 2.1,
    "wind_speed_10m": 2.9,
    "wind_speed": 1.2,
    "speed": 3.1,
    "net_radiation": 1.31,
    "soil_heat_flux": 0.13,
    "shortwave": 21.5,
    "clear_sky": 28.3,
    "extraterrestrial": 40.2,
    "net_radiation_hourly": 1.31,
    "cloud_cover": 43.0,
    "sun_elevation": 41.0,
    "dew_point_depression": 6.2,
    "depression": 2.2,
    "precipitation": 0.0,
    "evaporation": 0.12,
    "water_depth": 0.3,
    "height": 3.0,
    "height_from": 10.0,
    "height_to": 2.0,
    "exponent": 0.15,
    "stability_class": 4.0,
    "gust": 5.2,
    "wind": 3.1,
    "direction_a": 350.0,
    "direction_b": 10.0,
    "wind_direction": 270.0,
    "index": 2.0,
    "shortwave_radiation": 512.0,
    "ratio": 0.7,
    "shortwave_net": 12.1,
    "longwave_net": 3.2,
    "flux": 312.0,
    "sunshine_hours": 8.2,
    "possible_hours": 15.3,
    "temperature_previous": 14.1,
    "temperature_next": 18.8,
}

_DAY = {"is_night": False}

CATALOGUE = (
    Entry("saturation_vapour_pressure", vapour.saturation_vapour_pressure, _numbers("air_temperature")),
    Entry("saturation_slope", vapour.saturation_slope, _numbers("air_temperature")),
    Entry("atmospheric_pressure", vapour.atmospheric_pressure, _numbers("elevation")),
    Entry("psychrometric_constant", vapour.psychrometric_constant, _numbers("pressure")),
    Entry(
        "mean_saturation_vapour_pressure",
        vapour.mean_saturation_vapour_pressure,
        _numbers("temperature_maximum", "temperature_minimum"),
    ),
    Entry("vapour_pressure_from_dew_point", vapour.vapour_pressure_from_dew_point, _numbers("dew_point")),
    Entry(
        "vapour_pressure_from_psychrometer",
        vapour.vapour_pressure_from_psychrometer,
        _numbers("dry_bulb", "wet_bulb_temperature", "pressure"),
    ),
    Entry(
        "vapour_pressure_from_relative_humidity_extremes",
        vapour.vapour_pressure_from_relative_humidity_extremes,
        _numbers(
            "temperature_maximum",
            "temperature_minimum",
            "relative_humidity_maximum",
            "relative_humidity_minimum",
        ),
    ),
    Entry(
        "vapour_pressure_from_maximum_relative_humidity",
        vapour.vapour_pressure_from_maximum_relative_humidity,
        _numbers("temperature_minimum", "relative_humidity_maximum"),
    ),
    Entry(
        "vapour_pressure_from_mean_relative_humidity",
        vapour.vapour_pressure_from_mean_relative_humidity,
        _numbers("temperature_maximum", "temperature_minimum", "relative_humidity_mean"),
    ),
    Entry(
        "vapour_pressure_from_relative_humidity",
        vapour.vapour_pressure_from_relative_humidity,
        _numbers("air_temperature", "relative_humidity"),
    ),
    Entry(
        "dew_point_from_vapour_pressure", moisture.dew_point_from_vapour_pressure, _numbers("vapour_pressure")
    ),
    Entry("dew_point", moisture.dew_point, _numbers("air_temperature", "relative_humidity")),
    Entry(
        "dew_point_magnus",
        moisture.dew_point,
        _numbers("air_temperature", "relative_humidity"),
        {"method": "alduchov-eskridge"},
    ),
    Entry("relative_humidity", moisture.relative_humidity, _numbers("air_temperature", "dew_point")),
    Entry("wet_bulb", moisture.wet_bulb, _numbers("air_temperature", "relative_humidity", "pressure")),
    Entry("wet_bulb_stull", moisture.wet_bulb_stull, _numbers("air_temperature", "relative_humidity")),
    Entry(
        "delta_t", moisture.delta_t, _numbers("air_temperature", "relative_humidity", "pressure"), single=5e-5
    ),
    Entry(
        "vapour_pressure_deficit",
        moisture.vapour_pressure_deficit,
        _numbers("air_temperature", "relative_humidity"),
    ),
    Entry("inverse_relative_distance", extraterrestrial.inverse_relative_distance, _numbers("day_of_year")),
    Entry("declination_of_day", extraterrestrial.declination_of_day, _numbers("day_of_year")),
    Entry("sunset_hour_angle", extraterrestrial.sunset_hour_angle, _numbers("latitude", "day_of_year")),
    Entry("daylight_hours", extraterrestrial.daylight_hours, _numbers("latitude", "day_of_year")),
    Entry(
        "extraterrestrial_daily", extraterrestrial.extraterrestrial_daily, _numbers("latitude", "day_of_year")
    ),
    Entry("seasonal_correction", extraterrestrial.seasonal_correction, _numbers("day_of_year")),
    Entry(
        "solar_time_angle",
        lambda longitude: extraterrestrial.solar_time_angle(TIME, longitude)[0],
        _numbers("longitude"),
        always_double=True,
    ),
    Entry(
        "extraterrestrial_hourly",
        lambda latitude, longitude: extraterrestrial.extraterrestrial_hourly(TIME, latitude, longitude),
        _numbers("latitude", "longitude"),
    ),
    Entry("watts_to_megajoules", radiation.watts_to_megajoules, _numbers("flux")),
    Entry("clear_sky_shortwave", radiation.clear_sky_shortwave, _numbers("extraterrestrial", "elevation")),
    Entry(
        "shortwave_from_sunshine",
        radiation.shortwave_from_sunshine,
        _numbers("sunshine_hours", "possible_hours", "extraterrestrial"),
    ),
    Entry("shortwave_from_cloud", radiation.shortwave_from_cloud, _numbers("cloud_cover", "clear_sky")),
    Entry(
        "shortwave_from_temperature_range",
        radiation.shortwave_from_temperature_range,
        _numbers("temperature_maximum", "temperature_minimum", "extraterrestrial"),
    ),
    Entry("net_shortwave", radiation.net_shortwave, _numbers("shortwave")),
    Entry("clear_sky_ratio", radiation.clear_sky_ratio, _numbers("shortwave", "clear_sky")),
    Entry("carry_ratio", radiation.carry_ratio, _numbers("ratio", "sun_elevation")),
    Entry(
        "net_longwave_daily",
        radiation.net_longwave_daily,
        _numbers("temperature_maximum", "temperature_minimum", "vapour_pressure", "shortwave", "clear_sky"),
    ),
    Entry(
        "net_longwave_hourly",
        radiation.net_longwave_hourly,
        _numbers("air_temperature", "vapour_pressure", "ratio"),
    ),
    Entry("net_radiation", radiation.net_radiation, _numbers("shortwave_net", "longwave_net")),
    Entry(
        "soil_heat_flux_monthly",
        radiation.soil_heat_flux_monthly,
        _numbers("temperature_previous", "temperature_next"),
    ),
    Entry(
        "soil_heat_flux_hourly",
        radiation.soil_heat_flux_hourly,
        _numbers("net_radiation_hourly"),
        {"is_daylight": True},
    ),
    Entry(
        "reference_et_daily",
        evapotranspiration.reference_et_daily,
        _numbers(
            "temperature_maximum",
            "temperature_minimum",
            "vapour_pressure",
            "wind_speed_2m",
            "net_radiation",
            "pressure",
            "soil_heat_flux",
        ),
    ),
    Entry(
        "reference_et_hourly",
        evapotranspiration.reference_et_hourly,
        _numbers(
            "air_temperature",
            "vapour_pressure",
            "wind_speed_2m",
            "net_radiation",
            "soil_heat_flux",
            "pressure",
        ),
    ),
    Entry(
        "asce_et_daily",
        evapotranspiration.asce_et_daily,
        _numbers(
            "temperature_maximum",
            "temperature_minimum",
            "vapour_pressure",
            "wind_speed_2m",
            "net_radiation",
            "pressure",
        ),
        {"surface": "tall"},
    ),
    Entry(
        "asce_et_hourly",
        evapotranspiration.asce_et_hourly,
        _numbers("air_temperature", "vapour_pressure", "wind_speed_2m", "net_radiation", "pressure"),
        {"is_daylight": False, "surface": "tall"},
    ),
    Entry(
        "hargreaves_et",
        evapotranspiration.hargreaves_et,
        _numbers("temperature_mean", "temperature_maximum", "temperature_minimum", "extraterrestrial"),
    ),
    Entry(
        "hargreaves_et_at_most",
        evapotranspiration.hargreaves_et_at_most,
        _numbers("temperature_maximum", "temperature_minimum", "extraterrestrial"),
    ),
    Entry(
        "reference_et_daily_from_weather",
        evapotranspiration.reference_et_daily_from_weather,
        _numbers(
            "temperature_maximum",
            "temperature_minimum",
            "vapour_pressure",
            "wind_speed_2m",
            "shortwave",
            "latitude",
            "day_of_year",
            "elevation",
        ),
    ),
    Entry(
        "reference_et_hourly_from_weather",
        lambda flux, **numbers: evapotranspiration.reference_et_hourly_from_weather(
            TIME, shortwave=flux, **numbers
        ),
        _numbers(
            "air_temperature",
            "vapour_pressure",
            "wind_speed_2m",
            "flux",
            "latitude",
            "longitude",
            "elevation",
        ),
    ),
    Entry("wind_speed_at_2m", wind.wind_speed_at_2m, _numbers("speed", "height")),
    Entry("wind_speed_2m", wind.wind_speed_2m, _numbers("wind_speed_10m")),
    Entry("power_law", wind.power_law, _numbers("speed", "height_from", "height_to", "exponent")),
    Entry("power_law_exponent", wind.power_law_exponent, _numbers("stability_class")),
    Entry(
        "lowest_wind_speed_2m",
        wind.lowest_wind_speed_2m,
        _numbers("wind_speed_10m"),
        {"stability_class": 5.0},
    ),
    Entry("gust_estimate", wind.gust_estimate, _numbers("wind_speed")),
    Entry("angle_between", wind.angle_between, _numbers("direction_a", "direction_b"), single=1e-4),
    Entry("direction_toward", wind.direction_toward, _numbers("wind_direction")),
    Entry("direction_unless_calm", wind.direction_unless_calm, _numbers("wind_direction", "wind_speed")),
    Entry("insolation_class", stability.insolation_class, _numbers("sun_elevation")),
    Entry(
        "net_radiation_index", stability.net_radiation_index, _numbers("sun_elevation", "cloud_cover"), _DAY
    ),
    Entry("turner_key", stability.turner_key, _numbers("index", "wind_speed_10m")),
    Entry(
        "turner_class",
        stability.turner_class,
        _numbers("sun_elevation", "cloud_cover", "wind_speed_10m"),
        _DAY,
    ),
    Entry(
        "turner_class_bounds_lowest",
        lambda **k: stability.turner_class_bounds(**k)[0],
        _numbers("sun_elevation", "wind_speed_10m"),
        _DAY,
    ),
    Entry(
        "turner_class_bounds_highest",
        lambda **k: stability.turner_class_bounds(**k)[1],
        _numbers("sun_elevation", "wind_speed_10m"),
        _DAY,
    ),
    Entry("srdt_class", stability.srdt_class, _numbers("shortwave_radiation", "wind_speed_10m"), _DAY),
    Entry(
        "dew_point_depression",
        leaves.dew_point_depression,
        _numbers("air_temperature", "relative_humidity"),
        single=5e-5,
    ),
    Entry(
        "leaf_wet", leaves.leaf_wet, _numbers("relative_humidity", "dew_point_depression", "precipitation")
    ),
    Entry(
        "leaf_wetness_from_relative_humidity",
        leaves.leaf_wetness_from_relative_humidity,
        _numbers("relative_humidity"),
    ),
    Entry(
        "leaf_wetness_from_depression", leaves.leaf_wetness_from_depression, _numbers("dew_point_depression")
    ),
    Entry(
        "cart_calm_index",
        leaves.cart_calm_index,
        _numbers("air_temperature", "relative_humidity", "wind_speed", "depression"),
    ),
    Entry(
        "cart_windy_index",
        leaves.cart_windy_index,
        _numbers("air_temperature", "relative_humidity", "wind_speed", "depression"),
    ),
    Entry(
        "leaf_wetness_from_cart",
        leaves.leaf_wetness_from_cart,
        _numbers("air_temperature", "relative_humidity", "wind_speed", "precipitation"),
    ),
    Entry(
        "wet_surface_evaporation",
        drying.wet_surface_evaporation,
        _numbers("air_temperature", "vapour_pressure", "wind_speed_2m", "net_radiation", "pressure"),
    ),
    Entry("drying_time", drying.drying_time, _numbers("water_depth", "evaporation")),
    Entry(
        "leaf_water",
        drying.leaf_water,
        _numbers("precipitation", "evaporation"),
        {"initial": 0.4},
        alone=False,
    ),
    Entry(
        "solar_elevation",
        lambda latitude, longitude: sun.solar_elevation(TIME, latitude, longitude),
        _numbers("latitude", "longitude"),
    ),
    Entry(
        "solar_position_azimuth",
        lambda latitude, longitude: sun.solar_position(TIME, latitude, longitude)[1],
        _numbers("latitude", "longitude"),
    ),
)

NOT_NUMERIC = {
    "is_night", "inversion_closed", "inversion_likelihood", "solar_declination",
    "solar_elevation", "solar_position", "sun_events", "nights", "unix_seconds",
    "declination_and_equation_of_time", "as_floats", "solar_time_angle", "turner_class_bounds",
    "stable_air", "wet_by_air", "wet_by_rain",
}  # fmt: skip
"""Public functions of times or words, tested by themselves, or entered above under another name."""
