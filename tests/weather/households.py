"""A household that may go on the invented weather of the loopback provider. Our own invention."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from household import folder as texts

from advisor.household import load
from advisor.model import Household

#: a Monday morning, 07:00 local time, in the household's autumn
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
PLACE = (41.6, -93.6)
CONTACT = "keeper@example.org"
HOURS = 'every_day = "09:00-17:00"'
SEEN = """\
soil_state = "moist"
soil_seen = 2026-09-21
soil_seen_at = "07:00"
last_mowed = 2026-09-17
next_mowing = 2026-09-30"""


def lawn(weather: str = "", before: str = "") -> str:
    """The text of a lawn with one area, and what is to stand under [weather]."""
    text = texts.LAWN
    start, end = text.index('[[area]]\nid = "back"'), text.index("[[sprayer]]")
    text = text[:start] + text[end:]
    text = text.replace('weekdays = ["06:30-08:30", "16:30-20:00"]\nweekend = "08:00-19:00"', HOURS)
    text = text.replace('soil_state = "moist"\nsoil_seen = 2026-09-20', SEEN)
    text = text.replace("rinsed = true", 'rinsed = true\nlast_contents = "none"')
    return f'contact = "{CONTACT}"\n{before}{text}\n[weather]\n{weather}'


def write(folder: Path, weather: str = "", before: str = "") -> Path:
    treatment = texts.TREATMENT.replace('areas = ["front", "back"]', 'areas = ["front"]')
    changes = {"lawn.toml": lawn(weather, before), "treatments/broadleaf.toml": treatment, "history.csv": None}
    return texts.write(folder, changes)


def household(folder: Path, weather: str = "", before: str = "") -> Household:
    return with_weather(load(write(folder, weather, before), now=NOW))


def with_weather(one: Household, **settings) -> Household:
    """With other settings; the forecast counts as it is, so that a verdict rests on its values and not on a spread."""
    return replace(one, settings=replace(one.settings, **{"assumed_members": 0, **settings}))
