"""An invented scene of any size for the benchmark: weather in float32 and one task a site, always the same."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from advisor.conditions import SiteTable
from advisor.forecast import Field, Forecast, Provenance
from advisor.household import load
from advisor.model import Task
from advisor.task_table import TaskTable, build

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
#: midnight of the sites in the east: the day on which the soil was seen has all its hours
START = np.datetime64("2026-09-21T05", "h")


def sites_table(sites: int) -> SiteTable:
    """Places spread over the central United States; every ninth is a hollow."""
    at = np.arange(sites)
    return SiteTable(
        latitude=32.0 + (at * 0.61803398875 % 1.0) * 15.0,
        longitude=-104.0 + (at * 0.75487766625 % 1.0) * 14.0,
        elevation=100.0 + (at * 0.56984029099 % 1.0) * 900.0,
        hollow=at % 9 == 8,
    )


def weather(sites: slice, members: int, hours: int, gaps: bool = False) -> Forecast:
    """Weather of the sites of a slice: the same for a site whatever slice it is asked in.

    A daily course, waves of a few days, and differences between members that grow with the lead; showers in some
    hours. With `gaps`, a few hours of some variables are unknown.
    """
    start, stop = sites.start, sites.stop
    shape = (stop - start, members, hours)
    hour = np.arange(hours, dtype=np.float32)
    table = sites_table(stop)
    phase = np.stack([_noise(start, stop, salt) for salt in range(8)])
    lead = np.sqrt(hour / 24.0)
    draw = np.stack(
        [np.random.Generator(np.random.SFC64((77, site))).standard_normal((4, members, 24), dtype=np.float32)
         for site in range(start, stop)], axis=1,
    )  # fmt: skip
    # each member wanders smoothly: 24 knots joined by straight lines
    knot = hour / max(hours - 1, 1) * 23
    low = np.minimum(knot.astype(int), 22)
    share = (knot - low).astype(np.float32)
    wander = (draw[..., low] * (1 - share) + draw[..., low + 1] * share) * lead.astype(np.float32)
    day = np.sin(2 * np.pi * (hour - 15.0) / 24.0).astype(np.float32)

    def wave(at: int, period: float) -> np.ndarray:
        return np.sin(2 * np.pi * (hour / period + phase[at][:, None])).astype(np.float32)[:, None, :]

    temperature = 18.0 + 5.0 * day + 3.0 * wave(0, 96) + 1.2 * wander[0]
    depression = np.maximum(8.5 + 4.5 * day + 2.0 * wave(1, 80) + 1.0 * wander[1], 0.2)
    dew = temperature - depression
    humidity = 100.0 * np.exp(17.27 * dew / (237.3 + dew) - 17.27 * temperature / (237.3 + temperature))
    speed = np.abs(3.0 + 0.7 * day + 0.6 * wave(2, 70) + 0.4 * wander[2])
    direction = (360 * phase[3][:, None, None] + 60 * wave(4, 60) + 25 * wander[3]) % 360.0
    # two of three sites lie under a high
    fair = (np.arange(start, stop) % 3 != 0)[:, None, None]
    storm = wave(5, 84) + 0.1 * wander[1] - 0.98 - fair
    rain = np.where(storm > 0, np.round(6.0 * storm, 1), 0.0)
    chance = np.clip(10 + (50 - 45 * fair) * wave(5, 84), 0, 95)
    cloud = np.clip(50 + 45 * wave(5, 84) + 20 * wander[2], 0, 100)
    sun = np.maximum(day + 0.25, 0) * (900 - 6 * cloud)
    pressure = 101.3 * np.exp(-table.elevation[start:stop] / 8400.0)[:, None, None] + 0.4 * wave(6, 110)
    series = {
        "air_temperature": temperature, "dew_point": dew, "relative_humidity": np.minimum(humidity, 100.0),
        "wind_speed_10m": speed, "wind_from_direction": direction, "wind_gust": 1.5 * speed + 0.5,
        "precipitation": rain, "precipitation_probability": chance, "cloud_cover": cloud,
        "shortwave_radiation": sun, "surface_pressure": pressure,
    }  # fmt: skip
    fields = {}
    for at, (name, values) in enumerate(series.items()):
        one = name in ("precipitation_probability", "surface_pressure")
        whole = np.array(np.broadcast_to(values, (shape[0], 1 if one else members, hours)), dtype=np.float32)
        reason = np.zeros((shape[0], 1, hours), dtype=np.uint8)
        if gaps:
            for site in range(start, stop):
                lost = (site * 7 + at * 13) % hours
                if (site + at) % 3 == 0:
                    whole[site - start, :, lost : lost + 2] = np.nan
                    reason[site - start, 0, lost : lost + 2] = 2
        fields[name] = Field(whole, reason)
    issued = NOW - timedelta(hours=2)
    provenance = Provenance("invented", fetched_at=issued, issued_at=issued, spread="ensemble")
    return Forecast(START, hours, fields, provenance, np.full(hours, members))


def _noise(start: int, stop: int, salt: int) -> np.ndarray:
    """A number in [0, 1) for each site, that has nothing to do with its neighbours'."""
    return np.sin(np.arange(start, stop) * 12.9898 + salt * 78.233) * 43758.5453 % 1.0


def tasks(sites: int) -> list[Task]:
    """One task a site: the demonstration lawn moved there, front and back in turn."""
    household = load(FIXTURES / "prairie-lawn", now=NOW)
    treatment = next(iter(household.treatments.values()))
    table = sites_table(sites)
    made = []
    for at in range(sites):
        site = replace(
            household.site, latitude=float(table.latitude[at]), longitude=float(table.longitude[at]),
            elevation=float(table.elevation[at]), hollow=bool(table.hollow[at]),
        )  # fmt: skip
        moved = replace(household, site=site)
        area = household.areas[treatment.areas[at % len(treatment.areas)]]
        area = replace(area, soil_state="wet", soil_seen=NOW.date())
        made.append(Task(moved, treatment, area, household.labels[treatment.label], 1))
    return made


def task_table(sites: int) -> TaskTable:
    return build(tasks(sites), (), NOW, site_index=np.arange(sites))
