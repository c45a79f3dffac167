"""An outlook of the demonstration household to draw, from the single run of its invented forecast."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np

from advisor.forecast import Field, Forecast
from advisor.ledger import read_ledger
from advisor.outlook import Outlook, make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer
from tests.demo_lawn import FIXTURES, NOW, lawn

MONDAY, LAST = date(2026, 9, 21), date(2026, 9, 28)
ZONE = lawn().site.zone


def forecast() -> Forecast:
    body = (FIXTURES / "weather" / "prairie-open-meteo.json").read_bytes()
    return control(read_answer(body, fetched_at=NOW), NOW)


def outlook_of(weather: Forecast, now=NOW, **changes) -> Outlook:
    household = lawn(**changes)
    household = replace(household, settings=replace(household.settings, assumed_members=0))
    rules = list(load_rules(FIXTURES / "no-rules-of-its-own"))
    return make_outlook(household, weather, rules, read_ledger(household, FIXTURES / "no.db"), now)


@cache
def demo_outlook() -> Outlook:
    return outlook_of(forecast())


def with_members(weather: Forecast, count: int, variable: str, spread: float) -> Forecast:
    """Members around a forecast, evenly spread."""
    field = weather.fields[variable]
    shifts = np.linspace(-spread, spread, count)[None, :, None]
    members = np.maximum(field.values + shifts, 0.0)
    fields = {variable: Field(members, field.reason, field.block_first, field.block_last)}
    changed = weather.with_fields(fields)
    nominal = np.full(weather.hours, count)
    return Forecast(changed.start, changed.hours, changed.fields, changed.provenance, nominal, changed.flags)
