"""The registered quantities: everything that a rule may measure, with unit, docstring and the data it rests on.

A quantity that compounds others (an inversion, a wet leaf, a drift deposit) is computed in code and registered here, so
that the rule files stay free of arithmetic.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.lawn_work import time_since_mowing, time_to_mowing, time_to_seeding
from advisor.series import Constant, Series, YesNo

Scope = Literal["site", "task", "neighbour"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """One measurable thing.

    Attributes
    ----------
    dimension : str
        Of `advisor.units.DIMENSIONS`; "truth" counts as a plain number, 1 for yes.
    series : callable
        AreaConditions -> Series with values (task or 1, member, hour), with a leading slot axis for neighbours.
    inputs : tuple of str
        Forecast variables it rests on, to say which one is missing.
    hourly : bool
        False for numbers that do not change with the hour.
    spread : tuple of float, optional
        Standard error assumed one day ahead and its growth a day, canonical unit; None where margins have no spread.
    """

    name: str
    dimension: str
    says: str
    series: Callable[[AreaConditions], Series]
    inputs: tuple[str, ...] = ()
    scope: Scope = "site"
    spread: tuple[float, float] | None = None
    hourly: bool = True
    #: values at instants, which bound their hour on both sides
    instant: bool = False
    #: hours past its own hour that a value rests on
    looks_ahead: int = 0

    def assumed_spread(self, lead_hours) -> np.ndarray | float:
        if self.spread is None:
            return np.nan
        first, growth = self.spread
        return first + growth * np.maximum(np.asarray(lead_hours, dtype=float) / 24.0 - 1.0, 0.0)


QUANTITIES: dict[str, Quantity] = {}


def _register(name, dimension, says, series, inputs=(), scope="site", spread=None, hourly=True, looks_ahead=0) -> None:
    instant = getattr(series, "instant", False)

    def shared(area: AreaConditions) -> Series:
        """Made once for all rules on the quantity, with what they work out of it."""
        if name not in area.series:
            area.series[name] = series(area)
        return area.series[name]

    QUANTITIES[name] = Quantity(
        name, dimension, says, shared, tuple(inputs), scope, spread, hourly, instant, looks_ahead
    )


def _site(name: str, instant: bool = True):
    def series(area: AreaConditions) -> Series:
        return Series(area.gather(getattr(area.conditions, name)), instant)

    series.instant = instant
    return series


def _task(name: str, instant: bool = False):
    def series(area: AreaConditions) -> Series:
        made = getattr(area, name)
        return made if isinstance(made, Series) else Series(made, instant)

    series.instant = instant
    return series


def _task_of(values: Callable[[AreaConditions], np.ndarray]):
    """A series by task that a function of the conditions gives, (task, 1, hour)."""
    return lambda area: Series(values(area))


def _scalar(name: str):
    def series(area: AreaConditions) -> Series:
        return Constant(area.table.scalars[name][:, None, None], len(area.conditions.axis))

    return series


def _answer(name: str, instant: bool):
    """A yes or no of the conditions."""

    def series(area: AreaConditions) -> Series:
        return YesNo(area.gather_votes(getattr(area.conditions, name)), instant)

    series.instant = instant
    return series


_TEMPERATURE_SPREAD, _WIND_SPREAD = (1.75, 0.35), (1.05, 0.09)
_WIND, _HUMID = ("wind_speed_10m",), ("air_temperature", "relative_humidity", "dew_point")

_register("air_temperature", "temperature", "air temperature at 2 m", _site("air_temperature"),
          ["air_temperature"], spread=_TEMPERATURE_SPREAD)  # fmt: skip
_register("relative_humidity", "percent", "relative humidity at 2 m", _site("relative_humidity"),
          _HUMID, spread=(8.0, 1.5))  # fmt: skip
_register("dew_point_depression", "temperature_difference", "air temperature above the dew point",
          _site("dew_point_depression"), _HUMID, spread=(1.4, 0.35))  # fmt: skip
_register("delta_t", "temperature_difference", "Delta T, dry bulb above wet bulb", _site("delta_t"),
          _HUMID, spread=(1.0, 0.25))  # fmt: skip
_register("wind_speed_2m", "speed", "mean wind at 2 m over short grass, FAO-56 eq. 47", _site("wind_speed_2m"),
          _WIND, spread=_WIND_SPREAD)  # fmt: skip
_register("wind_gust_2m", "speed", "gust at 2 m", _site("wind_gust_2m", False),
          ["wind_gust", "wind_speed_10m"], spread=(1.5, 0.15))  # fmt: skip
_register("gust_from_mean", "speed", "gust at 2 m estimated from the mean wind", _site("wind_gust_2m_estimated", False),
          _WIND, spread=(1.5, 0.15))  # fmt: skip
_register("mixing_wind", "speed", "lower estimate of the wind at 2 m; 1 to 3 mph in unstable air count as 3 mph",
          _site("mixing_wind"), ["wind_speed_10m", "cloud_cover"], spread=_WIND_SPREAD)  # fmt: skip
_register("inversion_sign", "truth", "stable air, or an hour around the night in which it forms",
          _answer("stable_air", True), ["wind_speed_10m", "cloud_cover"])  # fmt: skip
_register("stability_class", "count", "Turner's stability class, 1 (A) to 7 (G)", _site("stability_class"),
          ["wind_speed_10m", "cloud_cover"])  # fmt: skip
_register("sun_elevation", "angle", "height of the sun above the horizon", _site("sun_elevation"))
_register("cloud_cover", "percent", "share of the sky covered", _site("cloud_cover"), ["cloud_cover"])
_register("leaf_wet", "truth", "leaves wet by dew or rain", _answer("leaves_wet", False),
          (*_HUMID, "precipitation"))  # fmt: skip
_register(
    "precipitation", "water_depth", "rain", _task("rain"), ["precipitation"]
)
_register("rain_probability", "percent", "chance of measurable rain in a block of hours",
          _site("precipitation_probability", False), ["precipitation_probability"])  # fmt: skip
_register("rain_probability_unstated", "percent", "10 % where the source states an amount but no chance",
          _site("precipitation_probability_unstated", False), ["precipitation"])  # fmt: skip
_register("warning_in_force", "truth", "an official warning of wind, thunder, heat or flood",
          _site("warning_in_force", False), ["warning_in_force"])  # fmt: skip
_register("wetting", "water_depth", "rain and irrigation", _task("wetting_in_parts"),
          ["precipitation"], "task")  # fmt: skip
_register("runoff_depth", "water_depth", "runoff from the rain and irrigation of the next 24 h, curve number",
          _task("runoff_depth"), ["precipitation"], "task", looks_ahead=24)  # fmt: skip
_register("soil_stress", "fraction", "Ks, how freely the turf takes water (1 freely, 0 not at all)",
          _task("stress_of_days"), ["precipitation", "air_temperature"], "task")  # fmt: skip
_register("drift_deposit", "percent", "drift landing at a neighbour, of the rate applied", _task("drift_deposit", True),
          ["wind_from_direction", "wind_speed_10m"], "neighbour")  # fmt: skip
_register("neighbour_distance", "length", "distance from the area's edge to a neighbour", _task("neighbour_distance"),
          (), "neighbour", hourly=False)  # fmt: skip
_register(
    "spare_time", "time", "hours left after 1.5 times the job and clean-up", _task("spare_time"), (), "task"
)
_register("time_since_pass", "time", "time since the last pass with the same active ingredient",
          _task("time_since_pass"), (), "task")  # fmt: skip
_register(
    "time_to_latest", "time", "time until the last sensible day is over", _task("time_to_latest"), (), "task"
)
_register("time_since_mowing", "time", "time since the lawn was mowed, its whole day counted",
          _task_of(lambda area: time_since_mowing(area.conditions.axis, area.table.instants, area.table.label)),
          (), "task")  # fmt: skip
_register("time_to_mowing", "time", "time from the end of the work to the next mowing that is planned",
          _task_of(lambda area: time_to_mowing(area.conditions.axis, area.table.instants, area.table.duration)),
          (), "task")  # fmt: skip
_register("time_to_seeding", "time", "time from the end of the work to the seeding that is planned",
          _task_of(lambda area: time_to_seeding(area.conditions.axis, area.table.instants, area.table.duration)),
          (), "task")  # fmt: skip
_register("mowings_since_seeding", "count", "mowings since the area was seeded", _scalar("mowings_since_seeding"),
          (), "task", hourly=False)  # fmt: skip
_register("ingredient_share_this_year", "percent",
          "acid equivalent of the active ingredient nearest its yearly maximum, of that maximum, this pass included",
          _scalar("ingredient_share_this_year"), (), "task", hourly=False)  # fmt: skip
_register(
    "pass_number",
    "count",
    "which pass of the sequence this is",
    _scalar("pass_number"),
    (),
    "task",
    hourly=False,
)
_register("passes_this_year", "count", "passes in the label's year, this one included", _scalar("passes_this_year"),
          (), "task", hourly=False)  # fmt: skip
_register("product_this_year", "application_rate", "product put down in the label's year, this pass included",
          _scalar("product_this_year"), (), "task", hourly=False)  # fmt: skip
_register("product_this_pass", "application_rate", "product that this pass puts down", _scalar("product_this_pass"),
          (), "task", hourly=False)  # fmt: skip
_register("turf_allowed", "truth", "every turf species of the area stands on the label", _scalar("turf_allowed"),
          (), "task", hourly=False)  # fmt: skip
_register("turf_active", "truth", "the turf grows and is not under stress", _scalar("turf_active"),
          (), "task", hourly=False)  # fmt: skip
_register("sprayer_clean", "truth", "the sprayer's last contents are known and rinsed out", _scalar("sprayer_clean"),
          (), "task", hourly=False)  # fmt: skip
_register("label_complete", "truth", "every required field of the label is copied", _scalar("label_complete"),
          (), "task", hourly=False)  # fmt: skip
_register("place_allowed", "truth", "the label names the kind of place and no local rule closes it",
          _scalar("place_allowed"), (), "task", hourly=False)  # fmt: skip
_register("recent_water", "water_depth", "rain and irrigation of the 24 hours before", _task("recent_water"),
          ["precipitation"], "task")  # fmt: skip
_register("day_maximum", "temperature", "highest temperature of the day", _task("day_maximum"), ["air_temperature"],
          "task", _TEMPERATURE_SPREAD)  # fmt: skip
_register("soil_five_day_mean", "temperature", "mean of the soil at 2 in over five days", _task("soil_five_day_mean"),
          (), "task", (1.0, 0.3))  # fmt: skip
_register("green_share", "fraction", "share of the lawn that is green", _scalar("green_share"), (), "task",
          hourly=False)  # fmt: skip
_register("at_label_stage", "truth", "the weed stands at a stage that the label names", _scalar("at_label_stage"),
          (), "task", hourly=False)  # fmt: skip
_register("no_open_flowers", "truth", "no weeds or clover stand in open flower", _scalar("no_open_flowers"),
          (), "task", hourly=False)  # fmt: skip
_register("certified", "truth", "a certified applicator's number is stated", _scalar("certified"), (), "task",
          hourly=False)  # fmt: skip
_register("time_to_licence_end", "time", "time until the licence runs out", _task("time_to_licence_end"), (), "task")
