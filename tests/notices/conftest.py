"""An invented household under an invented weather, as an outlook and as a service with a ledger."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from advisor.household import load
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.service.due import Work
from advisor.service.household import HouseholdService
from advisor.sources import read_answer
from advisor.store import Store, payloads
from advisor.weather import site_key

from . import world

#: Thursday evening in Chicago; on Friday and after it all afternoons are good unless a test spoils them
THURSDAY_EVENING = datetime(2026, 9, 24, 23, 30, tzinfo=UTC)
FRIDAY_MORNING = datetime(2026, 9, 25, 11, tzinfo=UTC)
MONDAY = datetime(2026, 9, 21, 12, tzinfo=UTC)
#: hours of UTC: until Friday morning in Chicago, and the middle of Saturday and of Sunday there
BEFORE_FRIDAY = ("2026-09-21", "2026-09-25T10:00")
WEEKEND = (("2026-09-26T15:00", "2026-09-26T23:00"), ("2026-09-27T15:00", "2026-09-27T23:00"))


@pytest.fixture(scope="session")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("lawn")
    world.write(made)
    return made


@pytest.fixture(scope="session")
def outlook_at(folder):
    """An outlook at a moment, with storm until Friday and showers at the weekend."""
    spoilt = [(*BEFORE_FRIDAY, world.STORM), *((*day, world.SHOWER) for day in WEEKEND)]

    def make(now, change=lambda household: household, weather=spoilt, fetched=None):
        household = change(load(folder, now=max(now, MONDAY)))
        forecast = read_answer(world.answer(*weather), fetched_at=fetched or now, latitude=41.6, longitude=-93.6)
        return make_outlook(household, control(forecast, now), list(load_rules()), household.history, now)

    return make


@pytest.fixture(scope="session")
def monday(outlook_at):
    return outlook_at(MONDAY)


@pytest.fixture(scope="session")
def thursday_evening(outlook_at):
    return outlook_at(THURSDAY_EVENING)


def many_areas(household, count=7):
    """The front lawn `count` times under other names."""
    front = household.areas["front"]
    areas = {f"a{n}": replace(front, id=f"a{n}", name=f"strip number {n} behind the house") for n in range(count)}
    treatment = household.treatments["broadleaf"]
    treatment = replace(treatment, areas=tuple(areas), duration=dict.fromkeys(areas, 0.3))
    return replace(household, areas=areas, treatments={treatment.id: treatment}, history=())


class House:
    """A service in a folder of its own, with answers of the weather source put into its ledger."""

    def __init__(self, folder, **settings):
        world.write(folder, **settings)
        self.service = HouseholdService.open(folder)
        self.store = Store.open(self.service.database)

    def answer(self, at, *spoilt):
        """An answer fetched at a moment; see `world.answer`."""
        payloads.add(
            self.store, source="open-meteo", site=site_key(self.service.household.site), url="http://weather.invalid/",
            body=world.answer(*spoilt), fetched_at=at,
        )  # fmt: skip

    def decide(self, kind, now):
        """What the service would keep, kept."""
        from advisor.store import notices

        day = now.astimezone(self.service.household.site.zone).date()
        work = Work(kind, "", day, now, now + timedelta(hours=4))
        made = self.service.decide(work, now)
        return [kept for one in made if (kept := notices.put(self.store, one, ["file"], now)) is not None]


@pytest.fixture
def house(tmp_path):
    opened = []

    def make(**settings):
        opened.append(House(tmp_path / f"house{len(opened)}", **settings))
        return opened[-1]

    yield make
    for one in opened:
        one.store.close()
