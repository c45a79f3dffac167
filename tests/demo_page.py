"""The demonstration household behind its pages, at seven in the morning of an invented Monday."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

from advisor.service.clocks import SetClock
from advisor.service.household import HouseholdService
from advisor.service.round import RoundService
from advisor.store import Store, payloads
from advisor.weather import site_key
from advisor.web import Desk, Desks, create_app

FIXTURES = Path(__file__).resolve().parent.parent / "fixtures"
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
WEATHER = {
    "prairie-lawn": ("open-meteo", "prairie-open-meteo.json"),
    "southern-lawn": ("met-norway", "southern-metno.json"),
}


def demo_home(
    folder: Path,
    household: str = "prairie-lawn",
    now: datetime = NOW,
    weather: bytes | None = None,
    members: int | None = None,
) -> Path:
    """A copy of a demonstration household with its invented forecast in the ledger; b"" keeps none.

    `members` replaces the number that the household's own file asks for.
    """
    home = folder / household
    shutil.copytree(FIXTURES / household, home)
    if members is not None:
        lawn = home / "lawn.toml"
        lawn.write_text(lawn.read_text().replace("[decision]", f"[decision]\nassumed_members = {members}"))
    source, name = WEATHER[household]
    body = (FIXTURES / "weather" / name).read_bytes() if weather is None else weather
    service = HouseholdService.open(home)
    with Store.open(service.database) as store:
        if body:
            payloads.add(store, source=source, site=site_key(service.household.site), url="https://example.org/forecast",
                         body=body, fetched_at=now)  # fmt: skip
    return home


#: the afternoon at which all lawns of the demonstration have weather; the usual round is that of Tuesday
AFTERNOON = datetime(2026, 9, 21, 21, tzinfo=UTC)


def demo_lawns(folder: Path, members: int | None = None) -> RoundService:
    """Three lawns of one person under a folder: both demonstration households, and one of them once more elsewhere."""
    for household in WEATHER:
        demo_home(folder, household, AFTERNOON, members=members)
    southern = folder / "southern-lawn" / "lawn.toml"
    southern.write_text(southern.read_text().replace('sources = ["open-meteo"]', 'sources = ["met-norway"]'))
    shutil.copytree(folder / "prairie-lawn", folder / "hill-road")
    hill = folder / "hill-road" / "lawn.toml"
    hill.write_text(hill.read_text().replace('name = "Prairie lawn"', 'name = "Hill Road"'))
    (folder / "lawns.toml").write_text(
        'lawns = ["prairie-lawn", "hill-road", "southern-lawn"]\ntravel = "20 min"\n'
    )
    return RoundService.open(folder)


def demo_desks(service: RoundService) -> Desks:
    return Desks.of_round(service, SetClock(AFTERNOON), [None] * len(service.services))


def demo_desk(home: Path, now: datetime = NOW) -> Desk:
    return Desk(HouseholdService.open(home), SetClock(now))


def demo_client(home: Path, now: datetime = NOW, **given):
    """(test client, desk) of a household's pages; requests come to localhost."""
    desk = demo_desk(home, now)
    app = create_app(desk, **given)
    app.testing = False
    return app.test_client(), desk
