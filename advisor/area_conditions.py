"""What differs by area or by person: water on the turf, soil moisture, drift at neighbours, hours left, time since a pass.

Arrays are (task, member, hour); each is computed once and only when a rule asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property

import numpy as np

from advisor.clock import HOUR, from_numpy, local_dates, local_instant, to_numpy
from advisor.conditions import Conditions
from advisor.drift.deposit import deposit_at_neighbour
from advisor.forecast import Reason
from advisor.lawn_water import by_day, daily_reference_et, daily_totals, whole_days
from advisor.soil.runoff import (
    adjust_curve_number,
    antecedent_curve_number,
    curve_number_runoff,
    initial_abstraction,
)
from advisor.soil.water import depletion_fraction, run_balance, stress_coefficient
from advisor.task_table import TaskTable

#: A stated look at the soil is carried over days without data by this much use a day, without rain [mm].
UNSEEN_DAILY_USE = 5.0
#: What a day of unknown weather is taken to use when it is asked how dry is too dry [mm]; common practice, no source.
UNKNOWN_DAILY_USE = 8.0
#: Whole days without a gap after which a balance that began with a dry profile counts.
SPIN_UP_DAYS = 7


@dataclass(frozen=True, eq=False)
class AreaConditions:
    """Per-task series on the axis of `conditions`."""

    conditions: Conditions
    table: TaskTable

    def gather(self, values: np.ndarray) -> np.ndarray:
        """Site arrays (site, member, hour) by task; a single site, or a task a site in order, without a copy."""
        return values if values.shape[0] == 1 or self._in_order else values[self.table.site]

    @cached_property
    def _in_order(self) -> bool:
        sites = len(self.conditions.sites.latitude)
        return sites == len(self.table) and bool((self.table.site == np.arange(sites)).all())

    @cached_property
    def series(self) -> dict[str, object]:
        """Where the quantities of the rules keep what they have made of these conditions."""
        return {}

    def _scalar(self, name: str) -> np.ndarray:
        return self.table.scalars[name][:, None, None]

    # hours and dates --------------------------------------------------------------------------------------------

    @cached_property
    def spare_time(self) -> np.ndarray:
        """[h] left of the person's hours after 1.5 times the job and clean-up, by start hour; -1 outside the hours."""
        axis = self.conditions.axis
        out = np.full((len(self.table), 1, len(axis)), -1.0)
        done: dict[tuple[int, str], np.ndarray] = {}
        for at, (hours, zone) in enumerate(zip(self.table.hours, self.table.zone, strict=True)):
            key = (id(hours), zone.key)
            if key not in done:
                done[key] = _hours_left(axis, hours, zone)
            needed = 1.5 * self.table.duration[at] + self.table.clean_up[at]
            left = done[key]
            out[at, 0] = np.where(left > 0.0, left - needed, -1.0)
        return out

    @cached_property
    def time_since_pass(self) -> np.ndarray:
        """[h] since the last pass with one of the label's active ingredients on the area; infinite without one."""
        last = self.table.instants["last_pass"]
        starts = self.conditions.axis.astype("datetime64[s]")
        elapsed = (starts[None, :] - last[:, None]) / np.timedelta64(3600, "s")
        return np.where(np.isnat(last)[:, None], np.inf, elapsed)[:, None, :]

    @cached_property
    def time_to_latest(self) -> np.ndarray:
        """[h] until the last sensible day is over; infinite where none is known."""
        latest = self.table.instants["latest_day_end"]
        starts = self.conditions.axis.astype("datetime64[s]")
        left = (latest[:, None] - starts[None, :]) / np.timedelta64(3600, "s")
        return np.where(np.isnat(latest)[:, None], np.inf, left)[:, None, :]

    # water ------------------------------------------------------------------------------------------------------

    @cached_property
    def irrigation(self) -> np.ndarray:
        """[mm] an hour from the timetable; NaN where the timetable is not stated."""
        axis = self.conditions.axis
        out = np.zeros((len(self.table), 1, len(axis)))
        for at, (timetable, zone) in enumerate(zip(self.table.irrigation, self.table.zone, strict=True)):
            if timetable is None:
                out[at] = np.nan
            elif timetable:
                out[at, 0] = _sprinkled(axis, timetable, zone)
        return out

    @cached_property
    def wetting(self) -> np.ndarray:
        """[mm] an hour of rain and irrigation: what can wash a leaf."""
        return self.gather(self.conditions.precipitation) + self.irrigation

    @cached_property
    def _days(self) -> tuple[np.ndarray, np.ndarray]:
        """Local calendar days of the tasks' sites: day of each hour (task, hour) as an index, and the days (task, day)."""
        axis = self.conditions.axis
        zones: dict[object, np.ndarray] = {}
        rows = []
        for zone in self.table.zone:
            if zone not in zones:
                zones[zone] = local_dates(axis, zone)
            rows.append(zones[zone])
        dates = np.stack(rows)
        first = dates.min(axis=1)
        index = (dates - first[:, None]).astype(int)
        days = first[:, None] + np.arange(index.max() + 1)
        return index, days

    @property
    def soil_stress(self) -> np.ndarray:
        """Ks (FAO-56 eq. 84) by hour: 1 where the turf takes water freely, less where it is short."""
        return self._soil[0]

    def depletion_at_end_of(self, day: np.datetime64) -> np.ndarray:
        """[mm] depletion of the root zone at the end of a local day (task, member); NaN where it is not known."""
        _, days = self._days
        at = (day.astype("datetime64[D]") - days[:, 0]).astype(int)
        inside = (at >= 0) & (at < days.shape[1])
        ends = self._soil[1]
        found = np.take_along_axis(ends, np.where(inside, at, 0)[:, None, None] * np.ones_like(ends[..., :1], int), axis=-1)
        return np.where(inside[:, None], found[..., 0], np.nan)

    @cached_property
    def _soil(self) -> tuple[np.ndarray, np.ndarray]:
        """Ks by hour (task, member, hour), and the depletion [mm] at the end of each local day (task, member, day).

        The balance runs on from what the person saw of the soil. Where nobody looked, or where a day without data lies
        between, it runs on from a dry profile and counts once it holds at least seven whole days; else it is unknown.
        """
        index, days = self._days
        count = days.shape[1]
        precipitation = self.gather(self.conditions.precipitation)
        rain, sprinkled = (daily_totals(values, index, count) for values in (precipitation, self.irrigation))
        watered = ~np.isnan(self.irrigation[..., :1])  # a timetable that is stated is known throughout
        reference_et = daily_reference_et(self.conditions, self.table.site, index, days)
        whole = whole_days(precipitation, index, count) & watered & ~np.isnan(reference_et.whole)
        number, p_table, coefficient, available = (
            self._scalar(name) for name in ("curve_number", "depletion_share", "crop_coefficient", "available_water")
        )
        lost = np.nan_to_num(curve_number_runoff(rain, number))
        use = coefficient * reference_et.whole
        p = depletion_fraction(p_table, np.nan_to_num(use, nan=UNKNOWN_DAILY_USE))
        first, carried = self._seen(days)
        # The day of the look may lie partly before the data; rain of it that is not known counts as none.
        seen = (np.arange(count) == first[:, None])[:, None, :] & watered & ~np.isnan(reference_et.rough)
        shape = np.broadcast_shapes(whole.shape, p.shape)
        et = np.where(whole, reference_et.whole, reference_et.rough)
        daily = [np.broadcast_to(x, shape) for x in (rain, lost, sprinkled, et)]
        known, seen = np.broadcast_to(whole, shape), np.broadcast_to(seen | whole, shape)
        available, coefficient, p_table = (
            np.broadcast_to(x, (*shape[:-1], 1)) for x in (available, coefficient, p_table)
        )
        told, dry = np.full(shape[:-1], np.nan), available[..., 0].copy()
        age, stress, ends = np.zeros(shape[:-1]), np.full(shape, np.nan), np.full(shape, np.nan)
        for day in range(count):
            told = np.where((first == day)[:, None], carried[:, None], told)
            begin = np.where(np.isnan(told) & (age >= SPIN_UP_DAYS), dry, told)
            stress[..., day] = stress_coefficient(begin, available[..., 0], np.broadcast_to(p, shape)[..., day])
            inputs = [x[..., day : day + 1] for x in daily]
            both = np.stack([told, dry])
            told, dry = run_balance(both, *inputs, coefficient, available, p_table).depletion_end[..., 0]
            told = np.where(seen[..., day], told, np.nan)
            dry = np.where(known[..., day], dry, available[..., 0])
            age = np.where(known[..., day], age + 1, 0)
            ends[..., day] = np.where(np.isnan(told) & (age >= SPIN_UP_DAYS), dry, told)
        # What is told stands at the beginning of its day, which is the end of the day before: an estimate from a dry
        # profile must not take its place there, and be kept in the place of what was seen.
        rows = np.flatnonzero(first > 0)
        ends[rows, :, first[rows] - 1] = carried[rows, None]
        at = np.broadcast_to(index[:, None, :], (*stress.shape[:-1], index.shape[-1]))
        return np.take_along_axis(stress, at, axis=-1), ends

    def _seen(self, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Day index at which what was seen of the soil stands (-1: never), and the depletion [mm] before that day.

        A look before the first day is carried on to it without rain.
        """
        stated_day, stated = self.table.scalars["stated_day"], self.table.scalars["stated_depletion"]
        gap = days[:, 0].astype("datetime64[D]").astype(float) - stated_day
        with np.errstate(invalid="ignore"):
            usable = ~np.isnan(gap + stated) & (-gap < days.shape[1])
            first = np.where(usable, np.maximum(-gap, 0.0), -1.0)
        carried = stated + UNSEEN_DAILY_USE * np.nan_to_num(np.maximum(gap, 0.0))
        return first.astype(int), np.minimum(carried, self.table.scalars["available_water"])

    @cached_property
    def recent_water(self) -> np.ndarray:
        """[mm] of rain and irrigation in the 24 hours before each hour.

        Hours up to the day on which a person saw the soil moist or dry count as none where they lie before the data,
        since it was not waterlogged. What the source has lost of them is not known: the day may not be over.
        """
        water = self.wetting
        index, days = self._days
        seen = days.astype("datetime64[D]").astype(float) <= self.table.scalars["seen_drained_day"][:, None]
        drained = np.take_along_axis(seen, index, axis=1)[:, None, :]
        begun = self.gather(self.conditions.forecast.reason("precipitation")) != Reason.BEFORE_START
        lost = np.isnan(self.gather(self.conditions.precipitation)) & begun
        known = np.where(np.isnan(water) & drained & ~lost, 0.0, water)
        if bool(drained[:, 0, 0].any()):
            # what lies before the data is before that day too
            early = np.where(drained[:, :, :1], 0.0, np.nan) * np.ones((*known.shape[:-1], 24))
        else:
            early = np.full((*known.shape[:-1], 24), np.nan)
        longer = np.concatenate([early, np.broadcast_to(known, early.shape[:-1] + known.shape[-1:])], axis=-1)
        total = np.cumsum(np.concatenate([np.zeros((*longer.shape[:-1], 1)), np.nan_to_num(longer)], axis=-1), axis=-1)
        missing = np.cumsum(np.concatenate([np.zeros((*longer.shape[:-1], 1)), np.isnan(longer)], axis=-1), axis=-1)
        hours = known.shape[-1]
        past = total[..., 24 : 24 + hours] - total[..., :hours]
        return np.where(missing[..., 24 : 24 + hours] - missing[..., :hours] > 0, np.nan, past)

    @cached_property
    def day_maximum(self) -> np.ndarray:
        """[degC] the highest temperature of each hour's local day; NaN where less than eight hours of it are known.

        Hours before the source's data may be missing, for it begins with the present one; after that a gap leaves the
        day unknown: the hour that is missing may have been the warmest.
        """
        index, days = self._days
        temperature = self.gather(self.conditions.air_temperature)
        count = days.shape[1]
        begun = self.gather(self.conditions.forecast.reason("air_temperature")) != Reason.BEFORE_START
        known = by_day((~np.isnan(temperature)).astype(float), index, count, np.add, 0.0)
        asked = by_day(begun.astype(float), index, count, np.add, 0.0)
        highest = by_day(np.nan_to_num(temperature, nan=-np.inf), index, count, np.maximum, -np.inf)
        daily = np.where((known >= 8.0) & (known == asked), highest, np.nan)
        shape = np.broadcast_shapes(daily.shape[:-1], (len(index), 1))
        at = np.broadcast_to(index[:, None, :], (*shape, index.shape[-1]))
        return np.take_along_axis(np.broadcast_to(daily, (*shape, count)), at, axis=-1)

    @cached_property
    def soil_five_day_mean(self) -> np.ndarray:
        """[degC] mean of the soil at about 2 in over the five days before each hour.

        The source's own layer where it knows all 120 hours; of a source that has none what the person measured, for
        five days from then. A gap in a layer is not filled so: a soil that is known to be too warm would be lost.
        """
        layer = self.gather(self.conditions.forecast.values("soil_temperature_5cm"))
        total = np.cumsum(np.concatenate([np.zeros((*layer.shape[:-1], 1)), np.nan_to_num(layer)], -1), axis=-1)
        missing = np.cumsum(np.concatenate([np.zeros((*layer.shape[:-1], 1)), np.isnan(layer)], -1), axis=-1)
        mean = np.full(np.broadcast_shapes(layer.shape, (len(self.table), 1, 1)), np.nan)
        if layer.shape[-1] > 120:
            window = (total[..., 120:-1] - total[..., :-121]) / 120.0
            gaps = missing[..., 120:-1] - missing[..., :-121]
            mean[..., 120:] = np.where(gaps > 0, np.nan, window)
        index, days = self._days
        since = days.astype("datetime64[D]").astype(float) - self.table.scalars["measured_soil_day"][:, None]
        fresh = np.take_along_axis((since >= 0.0) & (since < 5.0), index, axis=1)[:, None, :]
        measured = np.where(fresh, self._scalar("measured_soil_temperature"), np.nan)
        return np.where(np.isnan(layer).all(axis=-1, keepdims=True), measured, mean)

    @cached_property
    def time_to_licence_end(self) -> np.ndarray:
        """[h] until the licence of who works for hire runs out; NaN where its end is not stated."""
        end = self.table.instants["licence_end"]
        starts = self.conditions.axis.astype("datetime64[s]")
        left = (end[:, None] - starts[None, :]) / np.timedelta64(3600, "s")
        return np.where(np.isnat(end)[:, None], np.nan, left)[:, None, :]

    @cached_property
    def runoff_depth(self) -> np.ndarray:
        """[mm] that would run off in the 24 hours from each hour, curve number with antecedent moisture (TR-55).

        The five days before decide the moisture; where they are not all known they count as wet.
        """
        water = self.wetting
        unknown = np.isnan(water)
        total = np.zeros((*water.shape[:-1], water.shape[-1] + 1))
        np.cumsum(np.where(unknown, 0.0, water), axis=-1, out=total[..., 1:])
        missing = np.zeros(total.shape, dtype=np.int32)
        if unknown.any():
            np.cumsum(unknown, axis=-1, out=missing[..., 1:])
        hours = water.shape[-1]
        ahead = np.full(water.shape, np.nan)
        if hours >= 24:
            inside = ahead[..., : hours - 23]
            np.subtract(total[..., 24:], total[..., :-24], out=inside)
            np.copyto(inside, np.nan, where=missing[..., 24:] > missing[..., :-24])
        number = np.broadcast_to(self._scalar("curve_number"), (*water.shape[:-1], 1))
        # In most hours less falls than soaks in even when the soil is wet: nothing runs off, and only the others count.
        least = initial_abstraction(adjust_curve_number(number, "wet"))
        runoff = np.zeros(water.shape)
        at = np.nonzero(~((ahead >= 0.0) & (ahead <= least)))
        row, now = at[:-1], at[-1]
        before = np.maximum(now - 120, 0)
        gap = (missing[(*row, now)] > missing[(*row, before)]) | (now < 120)
        past = np.where(gap, np.inf, total[at] - total[(*row, before)])
        number = antecedent_curve_number(number[(*row, 0)], np.minimum(past, 1e3))
        runoff[at] = curve_number_runoff(ahead[at], number)
        return runoff

    # drift ------------------------------------------------------------------------------------------------------

    @cached_property
    def drift_deposit(self) -> np.ndarray:
        """[%] of the rate landing at each neighbour, (slot, task, member, hour); see `advisor.drift.deposit`."""
        direction, speed = (
            self.gather(self.conditions.wind_from_direction),
            self.gather(self.conditions.wind_speed_10m),
        )
        slots = self.table.neighbours["distance"].shape[1]
        return np.stack(
            [
                deposit_at_neighbour(
                    self.table.neighbours["distance"][:, slot, None, None],
                    self.table.neighbours["bearing"][:, slot, None, None],
                    direction,
                    speed,
                    self.table.neighbours["arc"][:, slot, None, None],
                )
                for slot in range(slots)
            ]
            or [np.zeros((len(self.table), 1, len(self.conditions.axis)))]
        )

    @cached_property
    def neighbour_distance(self) -> np.ndarray:
        """[m] from the area to each neighbour, (slot, task, 1, 1)."""
        return np.moveaxis(self.table.neighbours["distance"], 1, 0)[:, :, None, None]


def _hours_left(axis: np.ndarray, hours, zone) -> np.ndarray:
    """[h] from each hour's start to the end of the working hours it lies in; 0 outside them."""
    left = np.zeros(len(axis))
    seconds = axis.astype("datetime64[s]")
    first = from_numpy(axis[0]).astimezone(zone).date() - timedelta(days=1)
    last = from_numpy(axis[-1]).astimezone(zone).date()
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        for opens, closes in hours.get(day.weekday(), ()):
            begin = to_numpy(local_instant(day, opens, zone))
            end = to_numpy(local_instant(day + timedelta(days=closes <= opens), closes, zone))
            inside = (seconds >= begin) & (seconds < end)
            left[inside] = (end - seconds[inside]) / np.timedelta64(3600, "s")
    return left


def _sprinkled(axis: np.ndarray, timetable, zone) -> np.ndarray:
    """[mm] of irrigation in each hour; the depth is spread evenly over the hours that the watering touches."""
    out = np.zeros(len(axis))
    first = from_numpy(axis[0]).astimezone(zone).date() - timedelta(days=1)
    last = from_numpy(axis[-1]).astimezone(zone).date()
    for offset in range((last - first).days + 1):
        day = first + timedelta(days=offset)
        for watering in timetable:
            if day.weekday() not in watering.weekdays if watering.on is None else day != watering.on:
                continue
            begin = to_numpy(local_instant(day, watering.at, zone))
            end = begin + np.timedelta64(int(watering.duration * 3600), "s")
            low = int((begin.astype("datetime64[h]") - axis[0]) // HOUR)
            high = max(low + 1, int(-(-(end - axis[0].astype("datetime64[s]")) // np.timedelta64(3600, "s"))))
            inside = slice(max(low, 0), max(min(high, len(axis)), 0))
            out[inside] += watering.depth / (high - low)
    return out
