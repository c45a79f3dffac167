"""Invented weather for a story: an answer in a provider's shape, with still days, windy days and wet nights."""

from __future__ import annotations

import json
import math
from collections.abc import Collection
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

#: hours that the place's clock is behind UTC in summer time [h]; the story ends before it changes
BEHIND = 5
STILL_ENOUGH, TOO_WINDY = 3.6, 8.5


def weather(path: Path, now: datetime, still: Collection[date], wet: Collection[date]) -> Path:
    """Twelve days back and eight ahead of `now`; `still` days are to be worked on, on `wet` days it rains at night."""
    start = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0) - timedelta(days=12)
    times = [start + timedelta(hours=one) for one in range(24 * 20)]
    hourly: dict[str, list] = {"time": [f"{one:%Y-%m-%dT%H:%M}" for one in times]}
    columns = {
        "temperature_2m": ("°C", lambda one: round(17.0 - 5.0 * math.cos((one.hour - 3) / 24 * 2 * math.pi), 1)),
        "dew_point_2m": ("°C", lambda one: round(8.0 + math.sin(one.hour / 24 * 2 * math.pi), 1)),
        "wind_speed_10m": ("m/s", lambda one: _wind(one, still)),
        "wind_direction_10m": ("°", lambda one: 80.0 + one.hour % 7),
        "wind_gusts_10m": ("m/s", lambda one: round(1.3 * _wind(one, still), 1)),
        "cloud_cover": ("%", lambda one: 30.0 + one.hour),
        "precipitation": ("mm", lambda one: 4.0 if one.date() in wet and one.hour < 4 else 0.0),
        "precipitation_probability": ("%", lambda one: 90.0 if one.date() in wet and one.hour < 4 else 5.0),
        "surface_pressure": ("hPa", lambda one: 985.0 + one.hour / 10.0),
    }
    units = {"time": "iso8601"}
    for name, (unit, value) in columns.items():
        # sums, chances and gusts are of the hour before their label
        back = 1 if name in ("precipitation", "precipitation_probability", "wind_gusts_10m") else 0
        local = [one - timedelta(hours=BEHIND + back) for one in times]
        hourly[name] = [value(one) for one in local]
        units[name] = unit
    body = {
        "latitude": 41.6, "longitude": -93.6, "generationtime_ms": 0.1, "utc_offset_seconds": 0, "elevation": 262.0,
        "timezone": "GMT", "hourly_units": units, "hourly": hourly,
    }  # fmt: skip
    path.write_text(json.dumps(body), encoding="utf-8")
    return path


def _wind(local: datetime, still: Collection[date]) -> float:
    mean = STILL_ENOUGH if local.date() in still else TOO_WINDY
    return round(mean + 0.3 * math.sin(local.hour / 24 * 2 * math.pi), 1)
