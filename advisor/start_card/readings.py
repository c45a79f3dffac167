"""What is measured and seen on the spot, and the conditions of a forecast with it in its place at one hour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np

from advisor.atmosphere.moisture import dew_point
from advisor.atmosphere.stability import turner_class_bounds
from advisor.atmosphere.wind import wind_speed_2m, wind_speed_at_2m
from advisor.conditions import CALM_BELOW, CLASS_C, STILL_BELOW, Conditions
from advisor.votes import Votes

#: readings are of the last quarter hour [min]
GOOD_FOR_MINUTES = 15.0
#: Beaufort force -> wind at 10 m [m/s] and how one knows it (WMO No. 8, from memory)
BEAUFORT: dict[int, tuple[float, float, str]] = {
    0: (0.0, 0.3, "smoke rises straight up"),
    1: (0.3, 1.5, "smoke drifts, no breath on the face"),
    2: (1.6, 3.3, "wind on the face, leaves rustle"),
    3: (3.4, 5.4, "leaves and twigs move all the time"),
    4: (5.5, 7.9, "dust and paper fly, small branches move"),
    5: (8.0, 10.7, "small trees sway"),
}
SMOKE = ("drifts", "rises", "hangs")


@dataclass(frozen=True, slots=True)
class Readings:
    """What was measured and seen. None means that nobody has said.

    `wind_speed` and `wind_gust` [m/s] at `wind_height` [m]; `beaufort` stands for the speed where there is no
    anemometer; `wind_from` [degrees true]; `air_temperature` [degC]; `relative_humidity` [%]. `smoke` drifts away,
    rises and mixes, or hangs in a layer.
    """

    taken_at: datetime
    wind_speed: float | None = None
    wind_height: float = 2.0
    beaufort: int | None = None
    wind_from: float | None = None
    wind_gust: float | None = None
    air_temperature: float | None = None
    relative_humidity: float | None = None
    smoke: str | None = None
    leaves_dry: bool | None = None
    people_away: bool | None = None
    windows_closed: bool | None = None
    sprayer_clean: bool | None = None

    @property
    def wind_range(self) -> tuple[float, float] | None:
        """Lowest and highest wind at 2 m [m/s] that the reading leaves open; None where there is none."""
        if self.wind_speed is not None:
            # equation 47 gives 1.0002 of a wind that was measured at 2 m already
            at_2m = self.wind_speed
            if abs(self.wind_height - 2.0) > 1e-9:
                at_2m = float(wind_speed_at_2m(self.wind_speed, self.wind_height))
            return (at_2m, at_2m) if math.isfinite(at_2m) else None
        if self.beaufort is None:
            return None
        low, high, _ = BEAUFORT[self.beaufort]
        return float(wind_speed_2m(low)), float(wind_speed_2m(high))

    def for_record(self) -> dict[str, float]:
        """Measured values by the names of a record; a wind that was only seen is its upper end."""
        wind = self.wind_range
        values = {
            "wind_speed_2m": None if wind is None else wind[1],
            "wind_from_direction": self.wind_from,
            "wind_gust": self.wind_gust,
            "air_temperature": self.air_temperature,
            "relative_humidity": self.relative_humidity,
        }
        return {name: float(value) for name, value in values.items() if value is not None}


@dataclass(frozen=True, eq=False)
class ConditionsOnTheSpot(Conditions):
    """The conditions of a forecast with the readings in their place at one hour, for all members alike."""

    readings: Readings | None = None
    hour: int = 0

    def _read(self, values: np.ndarray, reading: float | np.ndarray | None) -> np.ndarray:
        if reading is None:
            return values
        out = np.array(values, dtype=float)
        out[..., self.hour] = reading
        return out

    @cached_property
    def _forecasts(self) -> Conditions:
        """The same without any reading."""
        return Conditions(
            self.forecast, self.sites, self.inversion_before_sunset, self.inversion_after_sunrise
        )

    @cached_property
    def air_temperature(self) -> np.ndarray:
        return self._read(Conditions.air_temperature.func(self), self.readings.air_temperature)

    @cached_property
    def relative_humidity(self) -> np.ndarray:
        return self._read(Conditions.relative_humidity.func(self), self.readings.relative_humidity)

    @cached_property
    def dew_point(self) -> np.ndarray:
        values = Conditions.dew_point.func(self)
        if self.readings.relative_humidity is None:
            return values
        out = np.array(np.broadcast_to(values, self.relative_humidity.shape), dtype=float)
        here = self.air_temperature[..., self.hour], self.relative_humidity[..., self.hour]
        out[..., self.hour] = dew_point(*here)
        return out

    @cached_property
    def wind_speed_10m(self) -> np.ndarray:
        wind = self.readings.wind_range
        highest = None if wind is None else wind[1] / float(wind_speed_2m(1.0))
        return self._read(Conditions.wind_speed_10m.func(self), highest)

    @cached_property
    def wind_gust_2m(self) -> np.ndarray:
        # without a gust reading the forecast's own stands: a lighter mean makes no stronger gust
        return self._read(self._forecasts.wind_gust_2m, self.readings.wind_gust)

    @cached_property
    def wind_from_direction(self) -> np.ndarray:
        return self._read(Conditions.wind_from_direction.func(self), self.readings.wind_from)

    @cached_property
    def leaves_wet(self) -> Votes:
        # the hours beside it stay as the forecast has them: what was seen is of now
        wet, dry = self._forecasts.leaves_wet, self.readings.leaves_dry
        return wet if dry is None else wet.stated(self.hour, not dry)

    @cached_property
    def stable_air(self) -> Votes:
        # smoke that hangs closes the hour; smoke that does not opens none that the clock of the sun has closed
        stable = Conditions.stable_air.func(self)
        return stable.stated(self.hour, True) if self.readings.smoke == "hangs" else stable

    @cached_property
    def mixing_wind(self) -> np.ndarray:
        """The reading itself; one of 1 to 3 mph counts as 3 in unstable air, once smoke was seen to move away."""
        values, wind = Conditions.mixing_wind.func(self), self.readings.wind_range
        if wind is None:
            return values
        light = wind[0]
        if not STILL_BELOW <= light < CALM_BELOW or self.readings.smoke == "hangs":
            return self._read(values, light)
        if self.readings.smoke is None:
            return self._read(values, np.nan)
        exact = self.stability_class[..., self.hour]
        bounds = turner_class_bounds(self.sun_elevation, self.is_night, self.wind_speed_10m)
        best, worst = (np.where(np.isnan(exact), bound[..., self.hour], exact) for bound in bounds)
        mixed = np.where(worst <= CLASS_C, CALM_BELOW, np.where(best <= CLASS_C, np.nan, light))
        return self._read(values, mixed)
