"""Intervals of eight days on real weather, forecasts of every lead, and three policies that may go once.

Weather and forecasts are those of `chance_proof.airports`: f = k z + noise in normal quantiles z, so that members are
calibrated. Forecasts of one day at different leads belong together here: with W a Brownian motion and z = W(1), the
forecast of quality k is W(k). A later forecast of the same day is then the earlier one and something learned since,
and no forecast can be beaten by looking at an older one.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from chance_proof import airports

from advisor.model import DEFAULT_FLOORS
from advisor.waiting import COST_OF_A_DAY, firmness, go_or_wait

#: share of the variance that a forecast knows, from the day's morning to a week before. Common practice, no source.
QUALITIES = (0.95, 0.88, 0.80, 0.70, 0.60, 0.50, 0.40, 0.32)
#: days of a follow-up interval, two to three weeks after the pass before it
INTERVAL = len(QUALITIES)
#: 1 April
FIRST_START = 90
#: days around an interval that the climate for it is not taken from
APART = 15
POLICIES = ("go or wait", "first go day", "best forecast day")


def available() -> bool:
    return airports.available()


@dataclass(frozen=True, eq=False)
class Forecasts:
    """What is said of each day at each lead (lead, station, day): the chance of its best start, and whether it is a go.

    `held` (station, day) is whether the start that is best on the morning itself keeps every limit.
    """

    chance: np.ndarray
    is_go: np.ndarray
    held: np.ndarray


@dataclass(frozen=True, eq=False)
class World:
    """The year, judged once.

    Attributes
    ----------
    starts : ndarray of int (start,)
        First days of intervals.
    windows : ndarray of bool (station, day)
        Whether some start of the day keeps every limit.
    """

    year: airports.Year
    starts: np.ndarray
    windows: np.ndarray

    @classmethod
    def build(cls, root: Path, starts: int = 200) -> World:
        from advisor.household import load
        from advisor.rule_files import load_rules

        year = airports.Year(load(root / "fixtures" / "prairie-lawn"), list(load_rules()))
        days = year.weather.days
        last = min(FIRST_START + starts, days - INTERVAL)
        held = (year.truth.everything.lower >= 1.0) & year.truth.possible
        return cls(year, np.arange(FIRST_START, last), _by_day(held, days).any(axis=-1))

    def run(self, said: Forecasts, reach: int = INTERVAL) -> np.ndarray:
        """Completed passes of every policy (policy, station, start) on one set of forecasts.

        `reach` is how many days the forecast covers, today included; after it the climate stands in.
        """
        stations = len(airports.STATIONS)
        out = np.zeros((len(POLICIES), stations, len(self.starts)), dtype=bool)
        for station in range(stations):
            for at, start in enumerate(self.starts):
                climate = self.climate(station, int(start))
                for row, policy in enumerate(POLICIES):
                    day = _day_of(policy, said, station, int(start), reach, climate)
                    out[row, station, at] = day is not None and bool(said.held[station, day])
        return out

    def climate(self, station: int, start: int) -> float:
        """Share of days with a window, from April to October, without those around the interval."""
        days = np.arange(self.windows.shape[1])
        season = (days >= FIRST_START) & (days < FIRST_START + 214)
        apart = (days < start - APART) | (days >= start + INTERVAL + APART)
        return float(self.windows[station, season & apart].mean())

    def forecasts(self, seed: int, members: int) -> Forecasts:
        """Chances of every day at every lead, with the program's own path from weather to verdicts."""
        quantiles, start = self.year.quantiles, self.year.weather.start
        random = np.random.default_rng([2013, seed])
        days = quantiles.days
        far = np.arange(airports.LEAST_SHIFT, days - airports.LEAST_SHIFT)
        known = _brownian(quantiles, random, far)
        chance = np.zeros((INTERVAL, len(airports.STATIONS), days))
        is_go = np.zeros(chance.shape, dtype=bool)
        held = np.zeros(chance.shape[1:], dtype=bool)
        truth = _by_day(self.year.truth.everything.lower >= 1.0, days)
        for lead, quality in enumerate(QUALITIES):
            shifts = random.permutation(far)[:members]
            spread = np.sqrt(1.0 - quality)
            values = np.stack(
                [quantiles.back(known[lead] + spread * quantiles.shifted(int(one))) for one in shifts], axis=2
            )
            forecast = airports.as_forecast(start, values.reshape(*values.shape[:3], -1), members)
            found = airports.judge(forecast, self.year.tasks, self.year.rules, self.year.now)
            possible = found.possible
            lower = np.where(possible, found.everything.lower, 0.0)
            strict = found.strict.lower >= DEFAULT_FLOORS["safety_and_label"] - 1e-9
            go = possible & strict & (found.everything.lower >= DEFAULT_FLOORS["everything"] - 1e-9)
            by_start, goes = _by_day(lower, days), _by_day(go, days)
            chance[lead], is_go[lead] = by_start.max(axis=-1), goes.any(axis=-1)
            if lead == 0:
                # on a go day the best of the starts that go; the start is chosen by the forecast and held to the truth
                best = np.where(goes, by_start, -1.0).argmax(axis=-1)
                held = np.take_along_axis(truth, best[..., None], axis=-1)[..., 0]
                chance[0] = np.where(is_go[0], np.where(goes, by_start, 0.0).max(axis=-1), chance[0])
        return Forecasts(chance, is_go, held)


def _by_day(hours: np.ndarray, days: int) -> np.ndarray:
    """(station, hour) as (station, day, hour)."""
    return hours.reshape(hours.shape[0], days, 24)


def _brownian(quantiles, random: np.random.Generator, far: np.ndarray) -> list[np.ndarray]:
    """Forecasts W(k) of every lead, best first: each the one before it, less what was learned in between.

    Given W(k'), the value at k < k' is normal with mean (k / k') W(k') and variance k (k' - k) / k'.
    """
    shifts = random.permutation(far)[:INTERVAL]
    known, before, out = 1.0, quantiles.z, []
    for quality, shift in zip(QUALITIES, shifts, strict=True):
        size = np.sqrt(quality * (known - quality) / known)
        before = quality / known * before + size * quantiles.shifted(int(shift))
        known = quality
        out.append(before)
    return out


def _day_of(policy: str, said: Forecasts, station: int, start: int, reach: int, climate: float) -> int | None:
    """The day on which a policy goes; None where it never does."""
    for day in range(start, start + INTERVAL):
        if not said.is_go[0, station, day]:
            continue
        today = said.chance[0, station, day]
        left = np.arange(1, start + INTERVAL - day)
        later = said.chance[left, station, day + left]
        seen = left < reach
        if policy == "first go day":
            return day
        if policy == "best forecast day":
            if today >= later[seen].max(initial=0.0):
                return day
            continue
        expected = np.where(seen, later, climate)
        worth = 1.0 - COST_OF_A_DAY * np.arange(len(left) + 1)
        if go_or_wait(float(today), expected, worth, firmness(left), DEFAULT_FLOORS["everything"]).advice == "go":
            return day
    return None
