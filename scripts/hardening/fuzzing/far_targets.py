"""What a reader took is followed to the end: a household, a forecast or a rule that is accepted must make an outlook.

Slow, so that few inputs are given; most of what is changed is refused by the readers, and costs little.
"""

from __future__ import annotations

import math
from dataclasses import replace

from advisor.errors import InvalidFile, WeatherError
from advisor.messages.outlook_json import outlook_object
from advisor.messages.outlook_text import outlook_text
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rulebook.parse import parse_rule
from advisor.sources import read_answer
from hardening.fuzzing import file_targets as files
from hardening.fuzzing import json_changes, text_changes
from hardening.fuzzing.oracle import Target
from hardening.fuzzing.weather_targets import NOW, weather_seeds


def _plain(household):
    """Without members made from one run: they cost time and change no path."""
    return replace(household, settings=replace(household.settings, assumed_members=0))


def _forecast():
    return control(read_answer(weather_seeds("open-meteo")[0], fetched_at=NOW), NOW)


def _shown(outlook) -> dict:
    outlook_text(outlook)
    return outlook_object(outlook)


def _household(name: str):
    read = files.household_file(name)

    def far(data: bytes):
        household = _plain(read(data))
        return _shown(
            make_outlook(household, _forecast(), list(files.shipped().values()), household.history, NOW)
        )

    return far


def _weather(data: bytes):
    forecast = control(read_answer(data, fetched_at=NOW), NOW)
    household = _plain(files.demo_household())
    return _shown(make_outlook(household, forecast, list(files.shipped().values()), household.history, NOW))


def _rule(data: bytes):
    rule = parse_rule(files.text_of(data), "rules/own.toml")
    household = _plain(files.demo_household())
    rules = {**files.shipped(), rule.id: rule}
    return _shown(make_outlook(household, _forecast(), list(rules.values()), household.history, NOW))


def _numbers_fault(found: object) -> str:
    """Numbers that JSON cannot hold."""
    if isinstance(found, float) and not math.isfinite(found):
        return f"{found} in an outlook for programs"
    parts = found.values() if isinstance(found, dict) else found if isinstance(found, list | tuple) else ()
    return next((fault for one in parts if (fault := _numbers_fault(one))), "")


def far_targets() -> list[Target]:
    """Files and forecasts, followed to the outlook."""

    def target(name, seeds, change, read, error):
        return Target(f"{name}, to the outlook", "files and answers, followed to the outlook", seeds, change, read,
                      (error,), _numbers_fault, share=0.15, seconds=6.0)  # fmt: skip

    toml = text_changes.toml
    found = [
        target(what, lambda pattern=pattern: files.texts(pattern), toml, _household(name), InvalidFile)
        for what, pattern, name in (
            ("household", "fixtures/prairie-lawn/lawn.toml", "lawn.toml"),
            (
                "labels",
                "fixtures/prairie-lawn/labels/broadleaf-concentrate.toml",
                "labels/broadleaf-concentrate.toml",
            ),
            (
                "treatments",
                "fixtures/prairie-lawn/treatments/broadleaf-autumn.toml",
                "treatments/broadleaf-autumn.toml",
            ),
        )
    ]
    found.append(target("rules", lambda: files.texts("rules/*.toml"), toml, _rule, InvalidFile))
    for name in ("open-meteo", "ensemble", "met-norway", "nws"):
        found.append(
            target(name, lambda name=name: weather_seeds(name), json_changes.changed, _weather, WeatherError)
        )
    return found
