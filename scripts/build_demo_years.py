#!/usr/bin/env python3
"""Write three invented years of hourly weather for the demonstration household's almanac. The same text every time.

python scripts/build_demo_years.py

A yearly and a daily course, air masses that change every few days, rain in spells, wind that rises by day: nobody
measured this, and it stands for no place.
"""

from __future__ import annotations

import gzip
import io
import math
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PATH = ROOT / "fixtures" / "weather" / "prairie-years.csv.gz"

FIRST, LAST = datetime(2023, 1, 1, 6, tzinfo=UTC), datetime(2026, 1, 1, 6, tzinfo=UTC)
HEAD = """\
# Invented weather of the demonstration household, written by scripts/build_demo_years.py. Nobody measured this.
# Instants at the time; rain of the hour that begins then.
"""
COLUMNS = (
    "time", "air_temperature [degC]", "dew_point [degC]", "wind_speed_10m [m/s]", "wind_from_direction [deg]",
    "cloud_cover [%]", "precipitation [mm]",
)  # fmt: skip
#: the clock of the place, without summer time [h]
_LOCAL = -6


def build() -> str:
    """The text of the file."""
    chance = random.Random("years of the prairie lawn")
    lines = [",".join(COLUMNS)]
    mass = breeze = damp = turn = sky = 0.0
    raining = 0
    at = FIRST
    while at < LAST:
        mass = _next(chance, mass, 70.0)
        breeze = _next(chance, breeze, 18.0)
        damp = _next(chance, damp, 40.0)
        turn = _next(chance, turn, 30.0)
        sky = _next(chance, sky, 16.0)
        local = at + timedelta(hours=_LOCAL)
        sun = math.cos(2.0 * math.pi * (local.hour + local.minute / 60.0 - 14.5) / 24.0)
        season = math.cos(2.0 * math.pi * (local.timetuple().tm_yday - 201) / 365.25)
        if raining:
            raining -= 1
        elif chance.random() < 0.011 * math.exp(0.9 * damp) * (1.0 + 0.35 * season):
            raining = 1 + int(chance.expovariate(1.0 / 4.0))
        rain = round(chance.expovariate(1.0 / 1.8), 1) if raining else 0.0
        cloud = 100.0 if rain else min(max(45.0 + 35.0 * (0.7 * sky + 0.5 * damp), 0.0), 100.0)
        swing = (5.5 + 1.0 * season) * (1.0 - 0.5 * cloud / 100.0)
        air = 10.5 + 13.5 * season + swing * sun + 4.5 * mass - (1.5 if rain else 0.0)
        dew = air - (0.6 if rain else max(1.0, 5.5 + 3.0 * sun - 2.5 * damp))
        # the moistest air of the place holds little more than 24 degC of dew point
        dew = dew if dew < 22.0 else 22.0 + 0.25 * (dew - 22.0)
        wind = 0.2 + abs(2.9 + 1.3 * sun + 1.5 * breeze - 0.4 * season)
        from_direction = (200.0 + 75.0 * turn) % 360.0
        lines.append(
            f"{at:%Y-%m-%dT%H:%MZ},{air:.1f},{dew:.1f},{wind:.1f},{from_direction:.0f},{cloud:.0f},{rain:.1f}"
        )
        at += timedelta(hours=1)
    return HEAD + "\n".join(lines) + "\n"


def _next(chance: random.Random, before: float, memory: float) -> float:
    """Noise of size 1 that fades over `memory` hours."""
    kept = math.exp(-1.0 / memory)
    return kept * before + math.sqrt(1.0 - kept * kept) * chance.gauss(0.0, 1.0)


def packed(text: str) -> bytes:
    """Without a name or a time, so that the same text gives the same bytes."""
    buffer = io.BytesIO()
    with gzip.GzipFile(filename="", fileobj=buffer, mode="wb", compresslevel=9, mtime=0) as file:
        file.write(text.encode())
    return buffer.getvalue()


if __name__ == "__main__":
    PATH.write_bytes(packed(build()))
    print(f"wrote {PATH.relative_to(ROOT)}")
