"""Options that several commands share, and what they resolve to."""

from __future__ import annotations

import functools
import shutil
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import click

from advisor.errors import UsageError


@dataclass(frozen=True, slots=True)
class Common:
    """What the shared options say."""

    home: Path
    now: datetime
    weather: Path | None
    fetched_at: datetime | None
    place_from_weather: bool
    units: str | None
    as_json: bool
    offline: bool

    @property
    def database(self) -> Path:
        return self.home / "advisor.db"


def common_options(command):
    """--home, --now, --weather and the like, handed to the command as one `Common`."""

    @click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
    @click.option("--now", metavar="T", help='Pretend that it is this time, such as "2026-09-21T12:00Z".')
    @click.option(
        "--weather",
        metavar="FILE",
        type=click.Path(path_type=Path),
        help="Use a stored answer of a weather source.",
    )
    @click.option(
        "--fetched-at", metavar="T", help="When that answer was fetched, where it does not say its own time."
    )
    @click.option(
        "--place-from-weather", is_flag=True, help="Take the place from that answer instead of the household."
    )
    @click.option("--units", type=click.Choice(["us", "metric"]), help="Print in these units.")
    @click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
    @click.option("--offline", is_flag=True, help="Ask no server: only what is stored.")
    @functools.wraps(command)
    def wrapped(home, now, weather, fetched_at, place_from_weather, units, as_json, offline, **rest):
        common = Common(
            home=find_home(home),
            now=instant(now, "--now") or datetime.now(UTC),
            weather=weather,
            fetched_at=instant(fetched_at, "--fetched-at"),
            place_from_weather=place_from_weather,
            units=units,
            as_json=as_json,
            offline=offline,
        )
        if common.place_from_weather and common.weather is None:
            raise UsageError("--place-from-weather needs a stored answer", hint="add --weather FILE")
        return command(common=common, **rest)

    return wrapped


def find_home(given: str | None) -> Path:
    if given:
        return Path(given)
    from platformdirs import user_config_path

    return user_config_path("advisor")


def instant(text: str | None, what: str) -> datetime | None:
    if text is None:
        return None
    from advisor.clock import parse_instant

    return parse_instant(text, what)


def load_household(common: Common):
    """The household of the folder, in the units that were asked for."""
    from advisor.household import load

    household = load(common.home)
    return replace(household, units=common.units) if common.units else household


def width() -> int:
    return min(max(shutil.get_terminal_size((80, 24)).columns, 60), 120)
