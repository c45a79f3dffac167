"""Nights on which clocks change: days of 23, 24 and 25 hours, and each night with the day that it belongs to.

Dates of the changes: the time zone database, as the system's zoneinfo has it; what is expected is worked out here from
its offsets, second by second, and not by the program's own clock.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from weather import households
from weather_bodies import open_meteo_body

from advisor.clock import from_numpy
from advisor.messages.outlook_json import outlook_object
from advisor.messages.outlook_text import outlook_text
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer

RULES = list(load_rules())
HOUR = timedelta(hours=1)
#: always open, so that every hour of a day is a start unless the work does not fit before midnight
ALWAYS = {weekday: ((time(0), time(0)),) for weekday in range(7)}
COLD = -6.0


@dataclass(frozen=True)
class Night:
    """A site, the local day on which its clock changes, and how long that day is [h]."""

    name: str
    zone: ZoneInfo
    latitude: float
    longitude: float
    day: date
    length: float


NIGHTS = [
    Night("Chicago, forward", ZoneInfo("America/Chicago"), 41.6, -87.6, date(2026, 3, 8), 23.0),
    Night("Chicago, back", ZoneInfo("America/Chicago"), 41.6, -87.6, date(2026, 11, 1), 25.0),
    # at midnight: the day begins at 01:00, and the day before has its last hour twice
    Night("Santiago, forward", ZoneInfo("America/Santiago"), -33.45, -70.67, date(2026, 9, 6), 23.0),
    Night("Santiago, back", ZoneInfo("America/Santiago"), -33.45, -70.67, date(2026, 4, 4), 25.0),
    # by half an hour, between +10:30 and +11
    Night("Lord Howe, forward", ZoneInfo("Australia/Lord_Howe"), -31.55, 159.08, date(2026, 10, 4), 23.5),
    Night("Lord Howe, back", ZoneInfo("Australia/Lord_Howe"), -31.55, 159.08, date(2026, 4, 5), 24.5),
    Night("UTC in March", ZoneInfo("UTC"), 51.5, -0.1, date(2026, 3, 29), 24.0),
    Night("UTC in October", ZoneInfo("UTC"), 51.5, -0.1, date(2026, 10, 25), 24.0),
]
nights = pytest.mark.parametrize("night", NIGHTS, ids=lambda night: night.name)


def midnight(zone: ZoneInfo, day: date) -> datetime:
    """The instant at which a local day begins, found by walking through UTC minute by minute."""
    instant = datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(hours=15)
    while instant.astimezone(zone).date() < day:
        instant += timedelta(minutes=1)
    return instant


def hours_of(zone: ZoneInfo, day: date) -> list[datetime]:
    """The full hours of UTC that lie on a local day."""
    first, last = midnight(zone, day), midnight(zone, day + timedelta(days=1))
    instant = first.replace(minute=0)
    instant += HOUR if instant < first else timedelta(0)
    return [instant + at * HOUR for at in range(int((last - instant) / HOUR) + 1) if instant + at * HOUR < last]


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    return households.household(tmp_path_factory.mktemp("home"))


_PLAIN: dict[str, object] = {}


def plain(home, night: Night):
    """The outlook without a cold night, made once."""
    if night.name not in _PLAIN:
        _PLAIN[night.name] = outlook(home, night)
    return _PLAIN[night.name]


def outlook(home, night: Night, cold: tuple[datetime, datetime] | None = None, days: int = 7):
    """The outlook from three days before the change on, with one cold night or none."""
    now = midnight(night.zone, night.day - timedelta(days=3)).replace(minute=0) + 4 * HOUR
    body = open_meteo_body(night.latitude, night.longitude, now, past_days=10, days=9)
    if cold is not None:
        for at, label in enumerate(body["hourly"]["time"]):
            if cold[0] <= datetime.fromisoformat(label).replace(tzinfo=UTC) <= cold[1]:
                body["hourly"]["temperature_2m"][at] = COLD
                body["hourly"]["dew_point_2m"][at] = COLD - 4.0
                body["hourly"]["relative_humidity_2m"][at] = 73.0
    site = replace(home.site, zone=night.zone, latitude=night.latitude, longitude=night.longitude, first_frost=None)
    areas = {name: replace(area, soil_state=None, soil_seen=None, last_mowed=night.day - timedelta(days=8))
             for name, area in home.areas.items()}  # fmt: skip
    treatments = {name: replace(one, life_cycle="summer-annual") for name, one in home.treatments.items()}
    one = replace(home, site=site, hours=ALWAYS, areas=areas, treatments=treatments)
    forecast = control(read_answer(json.dumps(body).encode(), fetched_at=now), now)
    return make_outlook(one, forecast, RULES, [], now, days)


def nights_at_noon(made, night: Night, days: range) -> dict[int, object]:
    """What the rule on nights finds for the noon start of days counted from the change."""
    found = {}
    for after in days:
        noon = datetime.combine(night.day + timedelta(days=after), time(12), tzinfo=night.zone)
        hour = made.forecast.index(np.datetime64(noon.astimezone(UTC).replace(tzinfo=None), "h"))
        found[after] = next(one for one in made.explainer.reasons(0, hour) if one.rule == "nights")
    return found


@nights
def test_the_day_is_as_long_as_the_zone_database_says(night):
    length = midnight(night.zone, night.day + timedelta(days=1)) - midnight(night.zone, night.day)
    assert length / HOUR == night.length


@nights
def test_every_start_belongs_to_its_own_local_day_and_none_is_lost_or_told_twice(night, home):
    made = plain(home, night)
    (task,) = made.tasks
    needed = timedelta(hours=1.5 * task.task.duration + 0.5)  # 1.5 times the job and half an hour of cleaning up
    assert [day.day for day in task.days] == [night.day + timedelta(days=at - 3) for at in range(7)]
    for day in task.days:
        end = midnight(night.zone, day.day + timedelta(days=1))
        expected = [hour for hour in hours_of(night.zone, day.day) if hour >= made.now and hour + needed <= end]
        assert [from_numpy(start) for start in day.candidates] == expected, day.day
        assert {hour.astimezone(night.zone).date() for hour in expected} == {day.day}
    lengths = {len(hours_of(night.zone, day.day)) for day in task.days}
    assert int(night.length) in lengths and 24 in lengths
    everything = [start for day in task.days for start in day.candidates]
    assert len(set(everything)) == len(everything) and sorted(everything) == everything


@nights
def test_the_night_belongs_to_the_day_before_it(night, home):
    """One cold night, from 21:00 on the day of the change to 05:00: two nights count after the work."""
    before = datetime.combine(night.day, time(21), tzinfo=night.zone).astimezone(UTC)
    after = datetime.combine(night.day + timedelta(days=1), time(5), tzinfo=night.zone).astimezone(UTC)
    made = outlook(home, night, (before, after), 1)
    found = nights_at_noon(made, night, range(-2, 3))
    assert {days: one.verdict for days, one in found.items()} == {-2: "go", -1: "no-go", 0: "no-go", 1: "go", 2: "go"}
    for days in (-1, 0):
        assert found[days].value == pytest.approx(COLD)
        assert before <= from_numpy(found[days].at) <= after


@nights
def test_the_night_before_the_change_belongs_to_the_day_before_too(night, home):
    """The night in which the clock itself changes, where it does so after midnight."""
    eve = night.day - timedelta(days=1)
    before = datetime.combine(eve, time(22), tzinfo=night.zone).astimezone(UTC)
    after = datetime.combine(night.day, time(4), tzinfo=night.zone).astimezone(UTC)
    found = nights_at_noon(outlook(home, night, (before, after), 1), night, range(-3, 3))
    verdicts = {days: one.verdict for days, one in found.items()}
    assert verdicts == {-3: "go", -2: "no-go", -1: "no-go", 0: "go", 1: "go", 2: "go"}


@nights
def test_a_short_or_long_day_is_a_whole_day_of_the_water_balance(night, home):
    """Ten days of past weather lead into the days of the change: the balance runs through it without a gap."""
    made = plain(home, night)
    stress = made.explainer.area.soil_stress[0, 0]
    for day in range(-2, 4):
        for hour in hours_of(night.zone, night.day + timedelta(days=day)):
            assert not np.isnan(stress[made.forecast.index(np.datetime64(hour.replace(tzinfo=None), "h"))]), hour


@nights
def test_everything_can_be_told(night, home):
    made = plain(home, night)
    text, told = outlook_text(made), outlook_object(made)
    assert f"{night.day:%a} {night.day.day} {night.day:%b}" in text
    dates = [day["date"] for day in told["treatments"][0]["days"]]
    assert len(set(dates)) == len(dates) == 7
