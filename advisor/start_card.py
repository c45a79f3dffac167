"""The start card: what is measured and seen on the spot in the last quarter hour, and the verdict again with it.

A forecast never starts a job. The readings take the place of the forecast at the hour of the start, and go through
the same rules; what only eyes can tell (leaves, people, windows, the sprayer) is asked for, and an answer that is
missing is no go.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np

from advisor.atmosphere.moisture import dew_point
from advisor.atmosphere.stability import turner_class_bounds
from advisor.atmosphere.wind import wind_speed_2m, wind_speed_at_2m
from advisor.clock import to_numpy
from advisor.conditions import CALM_BELOW, CLASS_C, STILL_BELOW, Conditions
from advisor.drift.deposit import deposit_at_neighbour
from advisor.forecast import Forecast
from advisor.logic import within
from advisor.model import Record, Task
from advisor.review.one_start import OneStart, score_one_start, site_table
from advisor.rulebook.evaluate import measured
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Rule

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
    def leaf_wet(self) -> np.ndarray:
        # the hours beside it stay as the forecast has them: what was seen is of now
        dry = self.readings.leaves_dry
        return self._read(self._forecasts.leaf_wet, None if dry is None else float(not dry))

    @cached_property
    def inversion_sign(self) -> np.ndarray:
        # smoke that hangs closes the hour; smoke that does not opens none that the clock of the sun has closed
        return self._read(
            Conditions.inversion_sign.func(self), 1.0 if self.readings.smoke == "hangs" else None
        )

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


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that is asked for on the spot: yes, no, or None where nobody has said."""

    name: str
    asks: str
    holds: bool | None
    #: what a no, or a missing answer, means
    says: str


@dataclass(frozen=True, slots=True)
class Stop:
    """When to stop while working, in words, with the value [canonical unit of `dimension`] where there is one."""

    text: str
    rule: str = ""
    value: float | None = None
    dimension: str = ""


@dataclass(frozen=True, eq=False)
class StartCard:
    """The verdict of a start with its readings.

    Attributes
    ----------
    scored : OneStart, optional
        None where the forecast does not hold this hour.
    closes_at : datetime, optional
        The first full hour after the start at which the forecast breaks a limit of the work, and `closes` which.
    stops : tuple of Stop
    """

    task: Task
    start: datetime
    readings: Readings
    checks: tuple[Check, ...]
    scored: OneStart | None
    stops: tuple[Stop, ...] = ()
    closes_at: datetime | None = None
    closes: str = ""
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """go only where every check holds and the rules say go; a known no wins over what is not known."""
        answers = [check.holds for check in self.checks]
        rules = "unknown" if self.scored is None else self.scored.verdict
        if False in answers or rules == "no-go":
            return "no-go"
        return "unknown" if None in answers or rules == "unknown" else "go"


def judge_start(
    task: Task,
    readings: Readings,
    forecast: Forecast,
    rules: Sequence[Rule],
    records: Sequence[Record],
    now: datetime,
) -> StartCard:
    """The verdict of a start now, with the readings in the place of the forecast at this hour.

    Parameters
    ----------
    forecast : Forecast
        Of the task's site, after quality control at `now`.
    records : sequence of Record
        The ledger.
    """
    household = task.household
    sprayer = household.sprayers[task.treatment.sprayer]
    contents = {True: "none", False: "something else", None: None}[readings.sprayer_clean]
    asked = replace(sprayer, rinsed=readings.sprayer_clean, last_contents=contents)
    household = replace(household, sprayers={**household.sprayers, sprayer.id: asked})
    task = replace(task, household=household)
    hour = forecast.index(to_numpy(now, "h"))
    conditions = ConditionsOnTheSpot(forecast, site_table(household.site), readings=readings, hour=hour)
    scored = None
    if 0 <= hour < forecast.hours:
        before = [record for record in records if record.started_at <= now]
        scored = score_one_start(task, conditions, rules, before, now, now)
    checks = tuple(_checks(task, readings, now))
    if scored is None:
        return StartCard(task, now, readings, checks, None, notes=("The forecast does not hold this hour.",))
    closes_at, closes = _closes(scored)
    return StartCard(
        task, now, readings, checks, scored, tuple(_stops(task, scored, readings)), closes_at, closes
    )


def _checks(task: Task, readings: Readings, now: datetime):
    age = (now - readings.taken_at).total_seconds() / 60.0
    fresh = -1.0 <= age <= GOOD_FOR_MINUTES
    yield Check("fresh", "Are the readings of the last 15 minutes?", fresh or None,
                f"the readings are {age:.0f} min old: measure again")  # fmt: skip
    wind = readings.wind_range is not None
    yield Check("wind", "How strong is the wind, at hand height?", True if wind else None,
                "measure it with a hand anemometer, or judge it by smoke, leaves and twigs")  # fmt: skip
    calm = readings.wind_range is not None and readings.wind_range[1] < 0.3
    direction = readings.wind_from is not None or calm
    yield Check("wind-from", "Where does it come from?", True if direction else None,
                "hold up a ribbon or watch a puff of smoke")  # fmt: skip
    if readings.smoke is not None:
        yield Check("smoke", "What does a puff of smoke do?", readings.smoke != "hangs",
                    "smoke that hangs in a layer is an inversion: do not spray")  # fmt: skip
    warm = readings.air_temperature is not None
    yield Check(
        "temperature", "How warm is the air, in the shade?", True if warm else None, "measure it in the shade"
    )
    if task.label.mode != "soil":
        yield Check(
            "leaves", "Are the leaves dry?", readings.leaves_dry, "wait until the leaves are dry, below too"
        )
    yield Check("people", "Are people and animals away?", readings.people_away, "wait until they are away")
    yield Check("windows", "Are the neighbours' windows and doors towards it closed?", readings.windows_closed,
                "ask them to close what faces the lawn")  # fmt: skip
    yield Check("sprayer", "Has the sprayer been cleaned since its last contents, or held the same product?",
                readings.sprayer_clean, "rinse it three times, onto turf that the label covers")  # fmt: skip


def _closes(scored: OneStart) -> tuple[datetime | None, str]:
    """The first full hour after the start at which any limit of the work is broken by most members, and its title."""
    from advisor.clock import from_numpy

    area = scored.explainer.area
    hours = len(area.conditions.axis)
    first, title = hours, ""
    for finding in scored.findings:
        measure, quantity = finding.rule.measure, QUANTITIES[finding.rule.measure.quantity]
        if (
            measure.span != "work"
            or not quantity.hourly
            or quantity.scope == "neighbour"
            or not finding.applies[0]
        ):
            continue
        series, _ = measured(finding.rule, quantity, area)
        limits = [None if side is None else side[0] for side in (finding.at_least, finding.at_most)]
        fails = within(np.broadcast_to(series.values[:1], (1, series.values.shape[1], hours)), *limits).fails
        broken = np.flatnonzero(fails[0].mean(axis=0) > 0.5)
        later = broken[broken > scored.hour]
        if len(later) and later[0] < first:
            first, title = int(later[0]), finding.rule.title
    return (None, "") if first == hours else (from_numpy(area.conditions.axis[first]), title)


#: rules whose limit is watched while working: rule -> what is said
_WATCHED = {
    "wind-strong": "the wind rises above {}",
    "gusts": "a gust reaches {}",
    "wind-calm": "the wind drops below {} and smoke no longer moves away",
    "air-hot": "it gets warmer than {}",
    "evaporation": "Delta T passes {}",
}


def _stops(task: Task, scored: OneStart, readings: Readings):
    from advisor import units

    system = task.household.units
    for finding in scored.findings:
        words = _WATCHED.get(finding.rule.id)
        side = finding.at_most if finding.at_most is not None else finding.at_least
        if words is None or not finding.applies[0] or side is None:
            continue
        dimension = QUANTITIES[finding.rule.measure.quantity].dimension
        limit = float(side[0])
        yield Stop(words.format(units.show(limit, dimension, system)), finding.rule.id, limit, dimension)
    yield from _turning_stops(task, scored, readings)
    yield Stop("the first drops fall, or thunder is heard")
    if task.label.mode != "soil":
        yield Stop("dew begins to settle on the leaves")
    yield Stop("anybody comes near: people, pets, or bees on open flowers")
    yield Stop("spray is seen to leave the lawn, or a nozzle drips or spits")


def _turning_stops(task: Task, scored: OneStart, readings: Readings):
    """From where the wind may not come, for each neighbour that it would carry too much to."""
    limits = {one.rule.id: float(one.at_most[0]) for one in scored.findings if one.rule.measure.for_each and
              one.rule.measure.quantity == "drift_deposit" and one.applies[0]}  # fmt: skip
    if not limits:
        return
    speed = readings.wind_range[1] / float(wind_speed_2m(1.0)) if readings.wind_range else 2.0
    round_ = np.arange(0.0, 360.0, 5.0)
    for neighbour in task.area.neighbours:
        if neighbour.kind in ("roots", "drain"):
            continue
        sensitive = neighbour.kind == "vines" or neighbour.sensitivity == "high"
        limit = limits.get("drift-deposit-sensitive" if sensitive else "drift-deposit", min(limits.values()))
        deposit = deposit_at_neighbour(
            neighbour.distance, neighbour.bearing, round_, max(speed, 0.6), neighbour.arc
        )
        bad = np.asarray(deposit) > limit
        if not bad.any():
            continue
        if bad.all():
            yield Stop(
                f"{neighbour.name} cannot be kept free of drift: do not spray without a shield",
                "drift-deposit",
            )
            continue
        turned = np.flatnonzero(bad & ~np.roll(bad, 1))
        for begin in turned:
            length = int(np.argmin(np.roll(bad, -int(begin))))
            first, last = round_[begin], round_[(begin + length - 1) % len(round_)]
            yield Stop(
                f"the wind turns to come from {_from_to(first, last)}, towards the {neighbour.name}",
                "drift-deposit",
            )


_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")


def _from_to(first: float, last: float) -> str:
    """Two directions, clockwise, by the compass; the points lie inside no more than 11 degrees off."""
    low, high = (_POINTS[round(one / 22.5) % 16] for one in (first, last))
    return f"{low} to {high} ({first:.0f}° to {last:.0f}°)"


def readings_until(start: datetime) -> datetime:
    """Until when the readings of a start hold."""
    return start + timedelta(minutes=GOOD_FOR_MINUTES)
