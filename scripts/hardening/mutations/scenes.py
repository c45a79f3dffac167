"""Scenes: one household, one provider's answer of invented weather, and what the program makes of it.

An answer goes the whole way: bytes, reader, quality control, assembling, all rules, verdicts. Only the asking of
servers is left out, and the words.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
from household import folder
from weather import households

from advisor.clock import to_numpy
from advisor.conditions import SiteTable
from advisor.forecast import Forecast
from advisor.household import load
from advisor.model import DEFAULT_FLOORS, Household, Task
from advisor.rule_files import load_rules
from advisor.rulebook.schema import Rule
from advisor.scoring import score
from advisor.sequence import next_tasks
from advisor.spread import apply_learned
from advisor.task_table import TaskTable, build
from advisor.verdict import GO, UNKNOWN
from advisor.weather import Answers, Kept, assemble

from .invented import Weather, answer, draw, second_opinion

PROVIDERS = ("nws", "open-meteo", "met-norway")
#: who gives the second opinion on whom
OTHER = {"nws": "open-meteo", "open-meteo": "met-norway", "met-norway": "nws"}
#: how long before now an answer was asked [h]: in the middle of an hour, with which some answers begin
ASKED_AGO = 0.5
#: start hours that are compared, from now on
HOURS = 72
#: members that are made for a source without any, as households have them by default
MEMBERS = 51
#: a day of each season at seven in the morning or three in the afternoon, how much warmer it is than a mild one [K],
#: and at what time of it the soil was seen, which is not always said
SEASONS = {
    "autumn": (datetime(2026, 9, 21, 12, tzinfo=UTC), 0.0, "07:00"),
    "autumn afternoon": (datetime(2026, 9, 21, 20, tzinfo=UTC), 0.0, None),
    "spring": (datetime(2026, 4, 6, 12, tzinfo=UTC), -3.0, "07:00"),
    "spring afternoon": (datetime(2026, 4, 6, 20, tzinfo=UTC), -3.0, "08:30"),
    "summer": (datetime(2026, 7, 6, 12, tzinfo=UTC), 3.0, None),
    "summer afternoon": (datetime(2026, 7, 6, 20, tzinfo=UTC), 3.0, "15:00"),
}
#: neighbours of the lawn, whose bearings `drift` turns the wind towards
NEIGHBOURS = """
[[area.neighbour]]
name = "hedge"
kind = "planting"
distance = "5 m"
bearing = "90 deg"

[[area.neighbour]]
name = "trellis"
kind = "vines"
distance = "20 m"
bearing = "200 deg"
"""
BEARINGS = {"drift-deposit": 90.0, "drift-deposit-sensitive": 200.0}
VOLATILE = folder.LABEL.replace('re_entry = "when dry"', 're_entry = "when dry"\nvolatile = true')
SOIL = (
    folder.LABEL.replace('mode = "foliar"', 'mode = "soil"')
    .replace('rainfast_time = "6 h"', 'watering_in_depth = "0.08 in"\nwatering_in_within = "48 h"')
    .replace("Test Concentrate", "Test Granule")
    .replace("TEST-1", "TEST-2")
)
PREVENTER = (
    folder.TREATMENT.replace('areas = ["front", "back"]', 'areas = ["front"]')
    .replace('label = "concentrate"', 'label = "granule"')
    .replace('life_cycle = "perennial"', 'life_cycle = "summer-annual"')
    .replace("Broadleaf weeds", "Seedlings")
)


@dataclass(frozen=True, eq=False)
class Ground:
    """A household in a season, with all that does not depend on the weather made ready."""

    household: Household
    now: datetime
    warmer: float
    rules: Sequence[Rule]
    tasks: Sequence[Task]
    table: TaskTable
    sites: SiteTable
    #: what is judged where nothing is known of the weather
    blind: dict = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Judged:
    """What came of an answer.

    Attributes
    ----------
    verdict : ndarray of int8 (task, start hour)
    kept, possible : mapping of rule id to ndarray (task, start hour)
        The lower and the upper chance that the rule is kept.
    forecast : Forecast
        After everything; None where the program broke.
    """

    verdict: np.ndarray
    kept: dict[str, np.ndarray]
    possible: dict[str, np.ndarray] = field(default_factory=dict)
    forecast: Forecast | None = None


@dataclass(frozen=True, eq=False)
class Scene:
    """An untouched answer and its verdicts."""

    name: str
    provider: str
    ground: Ground
    weather: Weather
    members: int
    body: bytes
    other: bytes
    plain: Judged

    @property
    def now(self) -> datetime:
        return self.ground.now

    @property
    def hours(self) -> np.ndarray:
        """The start hours that are compared, datetime64[h]."""
        return to_numpy(self.now, "h") + np.arange(HOURS) * np.timedelta64(1, "h")

    @property
    def has_go(self) -> bool:
        return bool((self.plain.verdict == GO).any())


@cache
def ground(season: str, neighbours: bool) -> Ground:
    """A household: in spring with a volatile product and a second one that works from the soil."""
    now, warmer, seen_at = SEASONS[season]
    spring, day = season.startswith("spring"), now.date()
    lawn = households.lawn().replace('"09:00-17:00"', '"05:00-21:00"')
    lawn = lawn.replace("2026-09-17", f"{day - timedelta(days=4)}").replace(
        "2026-09-30", f"{day + timedelta(days=9)}"
    )
    measured = f'soil_temperature = "46 degF"\nsoil_temperature_seen = {day}\n' if spring else ""
    look = f'soil_seen_at = "{seen_at}"\n' if seen_at else ""
    lawn = lawn.replace('2026-09-21\nsoil_seen_at = "07:00"\n', f"{day}\n{look}{measured}")
    if neighbours:
        lawn = lawn.replace("\n[[sprayer]]", NEIGHBOURS + "\n[[sprayer]]", 1)
    texts = {
        "lawn.toml": lawn,
        "labels/concentrate.toml": VOLATILE if spring else folder.LABEL,
        "treatments/broadleaf.toml": folder.TREATMENT.replace(
            'areas = ["front", "back"]', 'areas = ["front"]'
        ),
        "history.csv": None,
    }
    if spring:
        texts |= {"labels/granule.toml": SOIL, "treatments/preventer.toml": PREVENTER}
    with tempfile.TemporaryDirectory() as place:
        one = load(folder.write(Path(place), texts), now=now)
    one = households.with_weather(one, sources=PROVIDERS, warnings=False, observations=False)
    tasks = next_tasks(one, [], now, ())
    site = one.site
    sites = SiteTable(
        np.array([site.latitude]),
        np.array([site.longitude]),
        np.array([site.elevation]),
        np.array([site.hollow]),
    )
    return Ground(one, now, warmer, list(load_rules()), tasks, build(tasks, [], now), sites)


def make(provider: str, season: str, kind: str, number: int, seed: int) -> Scene:
    """A scene, the same for the same words and numbers; every third one with members."""
    members = MEMBERS if number % 3 == 2 else 0
    # members scatter the wind's direction over any neighbour
    here = ground(season, neighbours=not members)
    words = [ord(letter) for letter in f"{provider} {season} {kind}"]
    random = np.random.default_rng([seed, number, *words])
    weather = draw(kind, here.now, random, here.warmer)
    place = here.household.site.latitude, here.household.site.longitude
    body = as_bytes(answer(provider, weather, place, here.now - timedelta(hours=ASKED_AGO)))
    other = as_bytes(answer(OTHER[provider], second_opinion(weather, random), place, here.now))
    name = f"{provider} {season} {kind} {number}"
    made = Scene(name, provider, here, weather, members, body, other, Judged(np.empty((0, 0)), {}))
    return replace(made, plain=judge(made, body))


def as_bytes(body) -> bytes:
    return json.dumps(body, separators=(",", ":"), ensure_ascii=False).encode()


def judge(
    scene: Scene,
    body: bytes,
    second: bytes | None = None,
    asked_hours_ago: float = ASKED_AGO,
    without: tuple[str, ...] = (),
) -> Judged:
    """Verdicts of a scene whose provider had answered this; `without` some rules."""
    here = scene.ground
    asked = here.now - timedelta(hours=asked_hours_ago)
    kept = [Kept("forecast", scene.provider, "", asked, asked, "", body)]
    household = here.household
    if second is not None:
        name = OTHER[scene.provider]
        household = replace(household, settings=replace(household.settings, cross_check=name))
        kept.append(Kept("cross-check", name, "", here.now, here.now, "", second))
    forecast = assemble(household, Answers(tuple(kept)), here.now).forecast
    if not forecast.fields:
        if without not in here.blind:
            here.blind[without] = _scored(scene, forecast, without)
        return here.blind[without]
    return _scored(scene, forecast, without)


def _scored(scene: Scene, forecast: Forecast, without: tuple[str, ...]) -> Judged:
    here = scene.ground
    spread = forecast
    if scene.members and forecast.fields:
        spread = apply_learned(_drawn_alike(scene, forecast), here.now, None, scene.members, "here")
    rules = [rule for rule in here.rules if rule.id not in without]
    findings, verdicts = score(
        spread, here.sites, here.table, rules, here.now, DEFAULT_FLOORS, here.household.settings.horizon_hours
    )
    first = spread.index(to_numpy(here.now, "h"))
    kept, possible = {}, {}
    for one, chance in zip(findings, verdicts.rules, strict=True):
        kept[one.rule.id] = _cut(chance.lower, first, 0.0, len(here.table))
        possible[one.rule.id] = _cut(chance.upper, first, 1.0, len(here.table))
    return Judged(_cut(verdicts.verdict, first, UNKNOWN, len(here.table)), kept, possible, forecast)


def _drawn_alike(scene: Scene, forecast: Forecast) -> Forecast:
    """The forecast with the members that the untouched one draws.

    Members are drawn by seed from an answer's own first hour to its last. An answer that begins or ends elsewhere draws
    others, and a chance near its floor may then fall on either side of it; compared is what became of the weather.
    """
    plain = scene.plain.forecast
    if plain is None:
        return forecast
    return replace(forecast, provenance=replace(forecast.provenance, own_axis=plain.provenance.own_axis))


def _cut(values: np.ndarray, first: int, missing, tasks: int) -> np.ndarray:
    """The compared start hours (task, hour) of an array (task or 1, hour or 1); what lies off the axis is missing."""
    out = np.full((tasks, HOURS), missing, dtype=values.dtype)
    if values.shape[-1] == 1:
        out[:] = values
        return out
    low, high = max(first, 0), min(first + HOURS, values.shape[-1])
    if high > low:
        out[:, low - first : high - first] = values[:, low:high]
    return out
