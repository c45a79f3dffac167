#!/usr/bin/env python3
"""Write the invented kept history of the demonstration household. The same bytes every time.

python scripts/build_demo_history.py

Two months of forecasts and of what was then measured, as `advisor score` reads them. Weather, forecasts and
measurements are all invented; the forecasts have the faults that real ones have, so that there is something to learn:
in this garden it is cooler and less windy than they say, and they are too sure of the rain.
"""

from __future__ import annotations

import math
import random
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PATH = ROOT / "fixtures" / "prairie-lawn" / "kept-history.csv"

if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))

#: issues at 12 UTC from the first day on; the last time that is told is the midnight before the demonstration's present
FIRST, LAST = datetime(2026, 7, 21, 12, tzinfo=UTC), datetime(2026, 9, 21, 0, tzinfo=UTC)
LEADS = tuple(range(24, 121, 12))
HEAD = """\
# Invented: weather, forecasts and measurements of the demonstration household, written by
# scripts/build_demo_history.py. Nobody measured this. Times are UTC; degC, m/s, mm and percent; rain is of the twelve
# hours from `valid` on.
"""


def build() -> str:
    """The text of the file."""
    from advisor.score.kept import COLUMNS

    chance = random.Random("kept history of the prairie lawn")
    weather = _weather(chance)
    lines = [",".join(COLUMNS)]
    issue = FIRST
    while issue < LAST:
        # errors of one issue grow along its leads and hang together
        air = wind = rain = 0.0
        for lead in LEADS:
            air = 0.8 * air + 0.6 * chance.gauss(0.0, 1.0)
            wind = 0.6 * wind + 0.8 * chance.gauss(0.0, 1.0)
            rain = 0.7 * rain + 0.71 * chance.gauss(0.0, 1.0)
            valid = issue + timedelta(hours=lead)
            if valid <= LAST:
                lines.append(_line(valid, lead, weather[valid], air, wind, rain))
        issue += timedelta(days=1)
    return HEAD + "\n".join(lines) + "\n"


def _weather(chance: random.Random) -> dict[datetime, tuple[float, float, float]]:
    """(temperature, wind, wetness) by time; rain falls where the wetness exceeds 1."""
    found, warmth, breeze, wetness = {}, 0.0, 0.0, 0.0
    at = FIRST
    while at <= LAST + timedelta(hours=24):
        day = (at - FIRST).days
        warmth = 0.82 * warmth + 0.57 * chance.gauss(0.0, 1.0)
        breeze = 0.55 * breeze + 0.84 * chance.gauss(0.0, 1.0)
        wetness = 0.5 * wetness + 0.87 * chance.gauss(0.0, 1.0)
        mean = 18.0 - 0.07 * day + (7.5 if at.hour == 0 else 0.0)
        root = (1.9 if at.hour == 0 else 1.45) + 0.34 * breeze
        found[at] = (mean + 3.6 * warmth, max(root, 0.0) ** 2, wetness)
        at += timedelta(hours=12)
    return found


def _line(
    valid: datetime, lead: int, truth: tuple[float, float, float], air: float, wind: float, rain: float
) -> str:
    temperature, speed, wetness = truth
    days = lead / 24.0
    forecast_air = temperature + 1.3 + (1.2 + 0.35 * days) * air
    forecast_wind = max(math.sqrt(speed) + 0.25 + (0.15 + 0.03 * days) * wind, 0.0) ** 2
    # a forecast that takes its guess of the wetness for surer than it is
    guess, doubt = wetness + (0.4 + 0.12 * days) * rain, 0.45
    stated = 0.5 * math.erfc((0.85 - guess) / doubt / math.sqrt(2.0))
    amount = max(4.0 * (guess - 0.9), 0.0) ** 1.3
    fell = max(4.5 * (wetness - 1.0), 0.0) ** 1.3 + 0.3 if wetness > 1.0 else 0.0
    return (
        f"{valid:%Y-%m-%dT%H:%MZ},{lead},{forecast_air:.1f},{temperature:.1f},{forecast_wind:.1f},{speed:.1f},"
        f"{amount:.1f},{round(100 * stated):d},{fell:.1f}"
    )


def main() -> None:
    text = build()
    PATH.write_text(text, encoding="utf-8")
    print(f"{PATH.name}: {len(text):,} bytes")


if __name__ == "__main__":
    main()
