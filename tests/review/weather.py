"""Invented weather around a pass on the tests' own front lawn, changed an hour at a time."""

from __future__ import annotations

import functools
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from advisor.clock import to_numpy
from advisor.forecast import ForecastBuilder, Provenance
from advisor.household import load
from advisor.mix.conversions import FLUID_OUNCE_ML, SQUARE_FOOT_M2
from advisor.model import Record
from advisor.review.observed import MEASURED, Part, merge
from advisor.review.pass_made import HOURS_BEFORE, axis_of, task_of
from advisor.review.weather import review_weather
from advisor.rule_files import load_rules
from tests.cli_programme.lawn import write

#: noon in Chicago, on a Friday
START = datetime(2026, 9, 25, 17, 0, tzinfo=UTC)
RULES = list(load_rules())


@functools.cache
def _lawn():
    with tempfile.TemporaryDirectory() as folder:
        return load(write(Path(folder)))


def household():
    return replace(_lawn(), history=())


def a_pass(**changes) -> Record:
    ended = START + timedelta(minutes=60)
    amount, size = 4.8 * FLUID_OUNCE_ML, 3200 * SQUARE_FOOT_M2
    ingredients = ("exemplic acid", "samplopyr")
    whole = Record("front", "broadleaf", "Test Concentrate", ingredients, START, ended, amount, size,
                   "me", id="r-1")  # fmt: skip
    return replace(whole, **changes)


def fair(record: Record, changes=(), until_hour: int | None = None):
    """Mild, dry, breezy weather on the axis of a review; `changes` are (variable, first, stop, value) from the start.

    `until_hour` ends what is known, in hours from the start.
    """
    first, hours = axis_of(record)
    axis = first + np.arange(hours)
    since = np.arange(hours) - HOURS_BEFORE
    local = (axis.astype("datetime64[h]").astype(int) - 5) % 24
    day = np.cos((local - 15) / 24 * 2 * np.pi)
    series = {
        "air_temperature": 17.0 + 5.0 * day,
        "relative_humidity": 62.0 - 18.0 * day,
        "wind_speed_10m": np.full(hours, 3.2),
        "wind_from_direction": np.full(hours, 270.0),
        "wind_gust": np.full(hours, 5.0),
        "cloud_cover": np.full(hours, 30.0),
        "precipitation": np.where(since < -60, 0.5, 0.0),
    }
    for name, low, high, value in changes:
        series[name] = np.where((since >= low) & (since < high), value, series[name])
    builder = ForecastBuilder(first, first + np.timedelta64(hours, "h"))
    for name, values in series.items():
        if until_hour is not None:
            values = np.where(since < until_hour, values, np.nan)
        if name in ("precipitation", "wind_gust"):
            builder.blocks(name, axis, np.ones(hours, dtype=int), values)
        else:
            builder.instants(name, axis, values)
    return builder.build(Provenance("station", attribution="an invented station"))


def review(
    changes=(), *, record=None, kind=MEASURED, until_hour=None, coming=None, now=None, home=None, ledger=()
):
    record = record or a_pass()
    home = home or household()
    now = now or START + timedelta(days=30)
    first, hours = axis_of(record)
    seen = merge([Part(fair(record, changes, until_hour), kind, now)], first, hours)
    task = task_of(home, record, ledger)
    return review_weather(task, record, RULES, ledger, seen, coming, now)


def status(found, rule: str) -> str:
    return next(one.status for one in found.limits if one.rule == rule)


__all__ = ["START", "a_pass", "fair", "household", "review", "status", "to_numpy"]
