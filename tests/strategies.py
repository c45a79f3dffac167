"""Households and forecasts of our own invention for the tests of the core, and hypothesis strategies for them.

The place, the product and the weather are nobody's. Defaults make every shipped rule hold in daylight hours, so that
one change at a time can be looked at.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import strategies as st

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions, SiteTable
from advisor.explain import judged
from advisor.forecast import Field, Forecast, Provenance, Reason
from advisor.model import (
    DEFAULT_FLOORS,
    ActiveIngredient,
    Area,
    Household,
    Label,
    Neighbour,
    NoticePlan,
    Settings,
    Site,
    Sprayer,
    Treatment,
)
from advisor.outlook import Outlook, make_outlook
from advisor.rule_files import load_rules
from advisor.rulebook.evaluate import Finding, evaluate
from advisor.sequence import next_tasks
from advisor.task_table import build
from advisor.variables import VARIABLES
from advisor.verdict import Verdicts

ZONE = ZoneInfo("America/Chicago")
#: 07:00 on the clock of the invented place
NOW = datetime(2026, 6, 15, 12, tzinfo=UTC)
START = np.datetime64("2026-06-15T06", "h")
HOURS = 120
#: rules that the invented household answers completely; every other one has tests of its own
IDS = (
    "air-cold", "air-hot", "availability", "daylight", "drift-deposit", "drift-deposit-sensitive", "evaporation",
    "frost", "gusts", "interval", "inversion", "label-complete", "latest-date", "leaves-drying", "leaves-wet",
    "moisture-stress", "nights", "nights-autumn", "passes", "place", "rain-chance", "rain-during", "rainfast", "rate",
    "runoff", "runoff-curve", "runoff-two-days", "season-total", "sprayer-clean", "turf", "turf-state", "water-buffer",
    "watered-in", "wind-calm", "wind-strong",
)  # fmt: skip
RULES = [rule for rule in load_rules() if rule.id in IDS]
ALL_DAY = ((time(0), time(0)),)

#: a day on which everything is right, in canonical units: 2.5 m/s at 10 m are 4.2 mph at 2 m
FAIR = {
    "air_temperature": 20.0,
    "dew_point": 9.0,
    "relative_humidity": 49.0,
    "wind_speed_10m": 2.5,
    "wind_from_direction": 200.0,
    "wind_gust": 4.0,
    "precipitation": 0.0,
    "precipitation_probability": 5.0,
    "cloud_cover": 40.0,
}


def label(**limits: float) -> Label:
    """A foliar label with every required field; `limits` add to its numbers or replace them."""
    stated = {
        "rate": 0.4,
        "maximum_per_application": 0.4,
        "maximum_per_year": 1.2,
        "minimum_interval": 14 * 24.0,
        "rainfast_time": 6.0,
        **limits,
    }
    return Label(
        id="invented", product="Invented Foliar", registration_number="TEST-1", mode="foliar",
        active_ingredients=(ActiveIngredient("exemplic acid"),), sites=("home-lawn",),
        turf_species=("Kentucky bluegrass",), re_entry="when dry",
        limits={name: value for name, value in stated.items() if value is not None},
        blank=tuple(name for name, value in stated.items() if value is None),
    )  # fmt: skip


def household(
    *, neighbours: tuple[Neighbour, ...] = (), stated: Label | None = None, duration: float = 1.0, hours=None,
    settings: dict | None = None, area: dict | None = None, site: dict | None = None, treatment: dict | None = None,
    units: str = "us",
) -> Household:  # fmt: skip
    """A household whose only doubt is the weather."""
    stated = stated or label()
    lawn = Area(
        id="lawn", name="lawn", size=300.0, turf=("Kentucky bluegrass",), turf_season="cool-season",
        neighbours=neighbours, irrigation=(), soil_state="wet", soil_seen=date(2026, 6, 15),
    )  # fmt: skip
    plan = Treatment(
        id="weeds", name="weeds", label="invented", areas=("lawn",), method="broadcast", target="dandelion",
        life_cycle="perennial", stage="vegetative", sprayer="can", passes=2, duration={"lawn": duration}, rate=None,
    )  # fmt: skip
    return Household(
        name="invented",
        units=units,
        site=replace(
            Site(
                "invented",
                41.6,
                -93.6,
                ZONE,
                elevation=290.0,
                soil="silt loam",
                use="home-lawn",
                local_ban=False,
            ),
            **(site or {}),
        ),
        areas={"lawn": replace(lawn, **(area or {}))},
        sprayers={"can": Sprayer("can", "can", 5000.0, clean_up=0.25, last_contents="none", rinsed=True)},
        labels={"invented": stated},
        treatments={"weeds": replace(plan, **(treatment or {}))},
        hours=hours or dict.fromkeys(range(7), ALL_DAY),
        notices=NoticePlan(),
        settings=Settings(floors=dict(DEFAULT_FLOORS), **(settings or {})),
    )


def forecast(
    values: dict | None = None, *, members: int = 1, hours: int = HOURS, start: np.datetime64 = START,
    nominal: int | None = None, dtype=float,
) -> Forecast:  # fmt: skip
    """The fair forecast with some variables replaced: numbers, (hour,), (member, hour), or None to leave one out."""
    given = {**FAIR, **(values or {})}
    fields = {}
    for name, value in given.items():
        if value is None:
            continue
        rows = np.broadcast_to(np.asarray(value, dtype=dtype), (members, hours))
        fields[name] = field(rows[None].copy())
    promised = np.full(hours, members if nominal is None else nominal)
    source = Provenance("invented", fetched_at=NOW, latitude=41.6, longitude=-93.6)
    return Forecast(start, hours, fields, source, promised)


def field(values: np.ndarray) -> Field:
    reason = np.where(np.isnan(values).all(axis=1, keepdims=True), Reason.NULL, Reason.KNOWN).astype(np.uint8)
    return Field(values, reason)


def changed(weather: Forecast, values: dict[str, np.ndarray]) -> Forecast:
    """With the values of some fields replaced, (site, member, hour)."""
    return weather.with_fields({name: field(array) for name, array in values.items()})


def outlook(
    home: Household, weather: Forecast, now: datetime = NOW, rules=None, records=(), days: int = 16
) -> Outlook:
    return make_outlook(home, weather, list(RULES if rules is None else rules), records, now, days)


@dataclass(frozen=True)
class Scored:
    """Findings and verdicts of every start, without the days and the reasons."""

    findings: list[Finding]
    verdicts: Verdicts

    def chance(self, rule: str) -> np.ndarray:
        """Lower chance of one rule, (hour,)."""
        at = next(i for i, finding in enumerate(self.findings) if finding.rule.id == rule)
        return np.broadcast_to(self.verdicts.rules[at].lower[0], self.verdicts.verdict.shape[1:])

    @property
    def codes(self) -> np.ndarray:
        return self.verdicts.verdict[0]


def score(home: Household, weather: Forecast, now: datetime = NOW, rules=None) -> Scored:
    """What `advisor.outlook` does before it gathers starts into days."""
    area = AreaConditions(
        Conditions(weather, SiteTable.of(home.site)), build(next_tasks(home, (), now), (), now)
    )
    explainer = judged(evaluate(RULES if rules is None else rules, area), area, home, now)
    return Scored(explainer.findings, explainer.verdicts)


# hypothesis -----------------------------------------------------------------------------------------------------

#: a span of values that straddles the limits of the shipped rules
_REACH = {
    "air_temperature": (2.0, 34.0),
    "dew_point": (-5.0, 20.0),
    "relative_humidity": (25.0, 100.0),
    "wind_speed_10m": (0.0, 8.0),
    "wind_from_direction": (0.0, 359.0),
    "wind_gust": (0.0, 12.0),
    "precipitation": (0.0, 3.0),
    "precipitation_probability": (0.0, 45.0),
    "cloud_cover": (0.0, 100.0),
}


@st.composite
def weathers(draw, members: int = 4, hours: int = 72, wildness=(0.0, 0.35)) -> Forecast:
    """A forecast around the fair one. The seed and how far it strays are drawn, the numbers come from the seed."""
    chance = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    stray = draw(st.floats(*wildness))
    values = {}
    for name, (low, high) in _REACH.items():
        drawn = chance.uniform(low, high, size=(members, hours))
        if name == "precipitation":
            drawn = np.where(chance.random((members, hours)) < 0.1, drawn, 0.0)
        smooth = 0.5 * (drawn + np.roll(drawn, 1, axis=-1)) if VARIABLES[name].kind == "instant" else drawn
        keep = chance.random((members, 1)) < stray
        values[name] = np.where(keep, smooth, FAIR[name])
    return forecast(values, members=members, hours=hours)


@st.composite
def gaps(draw, weather: Forecast, most: int = 6) -> Forecast:
    """The same forecast with stretches of some fields unknown, of some members or of all."""
    values = {}
    for name in draw(
        st.lists(st.sampled_from(sorted(weather.fields)), min_size=1, max_size=most, unique=True)
    ):
        array = weather.fields[name].values.copy()
        first = draw(st.integers(0, weather.hours - 1))
        stop = draw(st.integers(first + 1, weather.hours))
        lost = draw(st.lists(st.integers(0, array.shape[1] - 1), min_size=1, unique=True))
        array[:, lost, first:stop] = np.nan
        values[name] = array
    return changed(weather, values)
