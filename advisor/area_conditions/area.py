"""The conditions of each task's area, (task, member, hour): each is made once and only when it is asked for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from advisor.area_conditions import clock, water
from advisor.area_conditions.soil import SoilDays, soil_days
from advisor.clock import HOUR
from advisor.conditions import Conditions
from advisor.drift.deposit import deposit_at_neighbour
from advisor.forecast import Reason
from advisor.local_days import LocalDays
from advisor.series import Daily, Guarded, Series, Total
from advisor.task_table import TaskTable
from advisor.votes import Votes

#: a day's maximum counts once so many of its hours are known
HOURS_OF_A_MAXIMUM = 8


@dataclass(frozen=True, eq=False)
class AreaConditions:
    """Per-task series on the axis of `conditions`."""

    conditions: Conditions
    table: TaskTable

    def gather(self, values: np.ndarray) -> np.ndarray:
        """Site arrays (site, member, hour) by task; a single site, or a task a site in order, without a copy."""
        return values if values.shape[0] == 1 or self._in_order else values[self.table.site]

    def gather_votes(self, votes: Votes) -> Votes:
        return votes if self._in_order else votes.rows(self.table.site)

    @cached_property
    def _in_order(self) -> bool:
        sites = len(self.conditions.sites.latitude)
        return sites == len(self.table) and bool((self.table.site == np.arange(sites)).all())

    @cached_property
    def series(self) -> dict[str, object]:
        """Where the quantities of the rules keep what they have made of these conditions."""
        return {}

    # hours and dates --------------------------------------------------------------------------------------------

    @cached_property
    def spare_time(self) -> np.ndarray:
        """[h] left of the person's hours after 1.5 times the job and clean-up, by start hour; -1 outside the hours."""
        return clock.spare_time(self.conditions.axis, self.table)

    @cached_property
    def time_since_pass(self) -> np.ndarray:
        """[h] since the last pass with one of the label's active ingredients on the area; infinite without one."""
        return clock.hours_since(self.conditions.axis, self.table.instants["last_pass"], np.inf)

    @cached_property
    def time_to_latest(self) -> np.ndarray:
        """[h] until the last sensible day is over; infinite where none is known."""
        return -clock.hours_since(self.conditions.axis, self.table.instants["latest_day_end"], -np.inf)

    @cached_property
    def time_to_licence_end(self) -> np.ndarray:
        """[h] until the licence of who works for hire runs out; NaN where its end is not stated."""
        return -clock.hours_since(self.conditions.axis, self.table.instants["licence_end"], np.nan)

    @cached_property
    def _days(self) -> LocalDays:
        return clock.local_days(self.conditions.axis, self.table.zone)

    @cached_property
    def _day_numbers(self) -> np.ndarray:
        return self._days.days.astype("datetime64[D]").astype(float)

    def _at_hours(self, by_day: np.ndarray) -> np.ndarray:
        """What is known of the local days (task, day) by hour (task, 1, hour)."""
        return np.take_along_axis(by_day, self._days.index, axis=1)[:, None, :]

    @cached_property
    def day_maximum(self) -> Daily:
        """[degC] the highest temperature of each local day; NaN where less than eight hours of it are known.

        Hours before the source's data may be missing, for it begins with the present one; after that a gap leaves the
        day unknown: the hour that is missing may have been the warmest.
        """
        local, temperature = self._days, Series(self.gather(self.conditions.air_temperature))
        begun = self.gather(self.conditions.forecast.reason("air_temperature")) != Reason.BEFORE_START
        known, asked = local.known(temperature), local.reduce(begun.astype(float), np.add, 0.0)
        enough = (known >= HOURS_OF_A_MAXIMUM) & (known == asked)
        return Daily(np.where(enough, local.highest(temperature), np.nan), local.index)

    # water ------------------------------------------------------------------------------------------------------

    @cached_property
    def irrigation(self) -> np.ndarray:
        """[mm] an hour from the timetable; NaN where the timetable is not stated."""
        return clock.irrigation(self.conditions.axis, self.table)

    @cached_property
    def rain(self) -> Series:
        """[mm] an hour; hours may belong to longer blocks of the source."""
        field = self.conditions.forecast.fields.get("precipitation")
        values = self.gather(self.conditions.precipitation)
        if field is None or field.block_first is None:
            return Series(values)
        return Series(values, False, self.gather(field.block_first), self.gather(field.block_last))

    @cached_property
    def wetting_in_parts(self) -> Total:
        """[mm] an hour of rain by its blocks and irrigation by its hours: what can wash a leaf.

        A watering is never spread over a block of rain.
        """
        return Total(self.rain, Series(self.irrigation))

    @property
    def wetting(self) -> np.ndarray:
        """[mm] an hour of both together."""
        return self.wetting_in_parts.values

    @cached_property
    def recent_water(self) -> Guarded:
        """[mm] of rain and irrigation in the 24 hours before each hour, see `water.recent_water`."""
        axis, instants, forecast = self.conditions.axis, self.table.instants, self.conditions.forecast
        drained = -clock.hours_since(axis[:1], instants["seen_drained"], np.inf)
        vouched, no_past_before = instants["seen_drained_day_end"], forecast.provenance.no_past_before
        if no_past_before is None:
            return water.recent_water(self.wetting_in_parts, drained)
        vouched = -clock.hours_since(axis[:1], np.minimum(vouched, no_past_before), np.inf)
        # the person vouches for the rain; the timetable says whether it was watered before the data
        earlier = clock.irrigation(axis[0] + np.arange(-water.HOURS_BACK, 0) * HOUR, self.table)
        vouched = np.where((earlier == 0.0).all(axis=-1, keepdims=True), vouched, -np.inf)
        begun = self.gather(forecast.reason("precipitation")) != Reason.BEFORE_START
        return water.recent_water(self.wetting_in_parts, drained, vouched, begun)

    @cached_property
    def runoff_depth(self) -> Guarded:
        """[mm] that would run off in the 24 hours from each hour, see `water.runoff_depth`."""
        return water.runoff_depth(self.wetting_in_parts, self.table.scalars["curve_number"])

    # soil -------------------------------------------------------------------------------------------------------

    @cached_property
    def _soil(self) -> SoilDays:
        return soil_days(self.conditions, self.table, self.gather, self.wetting_in_parts, self._days)

    @cached_property
    def stress_of_days(self) -> Daily:
        """Ks (FAO-56 eq. 84) of each local day: 1 where the turf takes water freely, less where it is short."""
        return Daily(self._soil.stress, self._days.index)

    @property
    def soil_stress(self) -> np.ndarray:
        """Ks by hour (task, member, hour)."""
        return self.stress_of_days.values

    def depletion_at_end_of(self, day: np.datetime64) -> np.ndarray:
        """[mm] depletion of the root zone at the end of a local day (task, member); NaN where it is not known."""
        days = self._days.days
        at = (day.astype("datetime64[D]") - days[:, 0]).astype(int)
        inside = (at >= 0) & (at < days.shape[1])
        ends = self._soil.depletion_end
        at = np.where(inside, at, 0)[:, None, None] * np.ones_like(ends[..., :1], int)
        return np.where(inside[:, None], np.take_along_axis(ends, at, axis=-1)[..., 0], np.nan)

    @cached_property
    def soil_five_day_mean(self) -> np.ndarray:
        """[degC] mean of the soil at about 2 in over five days, see `water.soil_five_day_mean`.

        What the person measured counts for five days."""
        since = self._day_numbers - self.table.scalars["measured_soil_day"][:, None]
        fresh = self._at_hours((since >= 0.0) & (since < 5.0))
        measured = np.where(fresh, self.table.scalars["measured_soil_temperature"][:, None, None], np.nan)
        layer = self.gather(self.conditions.forecast.values("soil_temperature_5cm"))
        carried = "soil_temperature_5cm" in self.conditions.forecast.fields
        return water.soil_five_day_mean(layer, measured, carried=carried)

    # drift ------------------------------------------------------------------------------------------------------

    @cached_property
    def drift_deposit(self) -> np.ndarray:
        """[%] of the rate landing at each neighbour, (slot, task, member, hour); see `advisor.drift.deposit`."""
        direction = self.gather(self.conditions.wind_from_direction)
        speed = self.gather(self.conditions.wind_speed_10m)
        tasks, hours = len(self.table), len(self.conditions.axis)
        slots = self.table.neighbours["distance"].shape[1]
        shape = np.broadcast_shapes(direction.shape, speed.shape, (tasks, 1, hours))
        out = np.full(
            (max(slots, 1), *shape), np.nan if slots else 0.0, dtype=np.result_type(direction, speed)
        )
        for slot in range(slots):
            # tasks with fewer neighbours have nothing there
            rows = np.flatnonzero(~np.isnan(self.table.neighbours["distance"][:, slot]))
            place = [
                self.table.neighbours[name][rows, slot, None, None] for name in ("distance", "bearing", "arc")
            ]
            winds = (values if values.shape[0] == 1 else values[rows] for values in (direction, speed))
            out[slot, rows] = deposit_at_neighbour(*place[:2], *winds, place[2])
        return out

    @cached_property
    def neighbour_distance(self) -> np.ndarray:
        """[m] from the area to each neighbour, (slot, task, 1, 1)."""
        return np.moveaxis(self.table.neighbours["distance"], 1, 0)[:, :, None, None]
