"""Everything the person wrote, checked: the household, how it is told, and the choices that are theirs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from typing import Literal

from advisor.model.labels import Label
from advisor.model.passes import Record, Sprayer, Treatment
from advisor.model.places import Area, Site

UnitSystem = Literal["us", "metric"]


#: chance floors: each safety rule, each label rule, each effect rule alone, all of the first two, everything
DEFAULT_FLOORS: dict[str, float] = {
    "safety": 0.95, "label": 0.90, "effect": 0.0, "safety_and_label": 0.80, "everything": 0.60,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Licence:
    """What somebody who works for hire holds; `certified_number` is for restricted products."""

    holder: str = ""
    number: str = ""
    valid_until: date | None = None
    certified_number: str | None = None


@dataclass(frozen=True, slots=True)
class NoticePlan:
    """When notices go out, local time, and where to."""

    evening: time = time(18, 30)
    morning: time = time(6, 0)
    #: [from, until) in which nobody is told anything, local time; it may hold midnight
    quiet: tuple[time, time] = (time(21, 0), time(6, 0))
    at_most_per_day: int = 6
    #: tell the evening's and the morning's notice also where nothing has changed
    repeat_unchanged: bool = False
    channels: tuple[Mapping[str, object], ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """Choices that are the person's: chance floors, decision horizon [h], weather sources, ages [h]."""

    floors: Mapping[str, float]
    horizon_hours: float = 48.0
    #: members made by the stated error model for a source that has none; 0 leaves its single run
    assumed_members: int = 0
    sources: tuple[str, ...] = ("open-meteo",)
    #: other base addresses by source name, for a mirror or a test server
    source_hosts: Mapping[str, str] = field(default_factory=dict)
    pull_every_hours: float = 3.0
    #: models whose members join the forecast, each weighing the same
    ensemble: tuple[str, ...] = ()
    #: a second source whose contradiction makes the weather unknown
    cross_check: str | None = None
    #: whether measured past hours and official warnings are asked for, where a source in use offers them
    observations: bool = True
    warnings: bool = True
    #: how long answers that no notice rests on are kept [h]
    keep_hours: float = 400 * 24.0
    contact: str = ""
    cost_of_waiting: float | None = None
    cost_of_failure: float | None = None


@dataclass(frozen=True, slots=True)
class Household:
    """Everything the person wrote, checked."""

    name: str
    units: UnitSystem
    site: Site
    areas: Mapping[str, Area]
    sprayers: Mapping[str, Sprayer]
    labels: Mapping[str, Label]
    treatments: Mapping[str, Treatment]
    #: local hours a person can work, by weekday (0 = Monday): tuples of (from, until)
    hours: Mapping[int, tuple[tuple[time, time], ...]]
    notices: NoticePlan
    settings: Settings
    history: tuple[Record, ...] = ()
    for_hire: bool = False
    folder: str = ""
    licence: Licence | None = None
