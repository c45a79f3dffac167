"""Finds real answers of the providers, which are not part of the project, and skips where they are absent.

They are looked for in the folder named by ADVISOR_PAYLOADS, else in ../shared/payloads beside the repository.
"""

from __future__ import annotations

import json
import os
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

_REPOSITORY = Path(__file__).resolve().parent.parent
FOLDER = Path(os.environ.get("ADVISOR_PAYLOADS") or _REPOSITORY.parent / "shared" / "payloads")

#: needs the folder as a whole
needs_payloads = pytest.mark.skipif(not FOLDER.is_dir(), reason="the folder of real answers is absent")


def names(pattern: str) -> list[str]:
    """Names of the answers that match, such as "nws/gridpoints_*.json"; one name that skips where there are
    none."""
    return sorted(str(path.relative_to(FOLDER)) for path in FOLDER.glob(pattern)) or ["absent"]


def body(name: str) -> bytes:
    """The bytes of a real answer; skips the test where it is absent."""
    path = FOLDER / name
    if not path.is_file():
        pytest.skip(f"real answer {name} is absent")
    return path.read_bytes()


def data(name: str):
    return json.loads(body(name))


# Answers whose times were replaced by tokens such as "date:now:hour +3 hours"; rules in their
# README_relative-dates.md.

_TOKEN = re.compile(
    r"date:(?P<base>now(?P<hour>:hour)?|today (?P<clock>\d\d:\d\d):(?P<offset>[+-]\d+))"
    r"(?:\s*(?P<amount>[+-]?\s*\d+) (?P<unit>[a-z]+))?"
)
_UNITS = {"d": 86400, "h": 3600, "m": 60, "s": 1}


def rendered(name: str, now: datetime) -> bytes:
    """The bytes of a templated answer with its tokens rendered against an aware `now`."""

    def instant(match: re.Match) -> str:
        base = now.astimezone(UTC)
        if match["hour"]:
            base = base.replace(minute=0, second=0, microsecond=0)
        if match["clock"]:
            hours, minutes = (int(part) for part in match["clock"].split(":"))
            base = base.replace(hour=0, minute=0, second=0, microsecond=0)
            base += timedelta(hours=hours - int(match["offset"]), minutes=minutes)
        if match["amount"]:
            base += timedelta(seconds=int(match["amount"].replace(" ", "")) * _UNITS[match["unit"][0]])
            # The tokens were cut to whole seconds from fractions, so that full hours came out a second off.
            nearest = (base + timedelta(minutes=30)).replace(minute=0, second=0, microsecond=0)
            base = nearest if abs(base - nearest) <= timedelta(seconds=2) else base
        return base.strftime("%Y-%m-%dT%H:%M:%S+00:00")

    text = _TOKEN.sub(instant, body(name).decode())
    return re.sub(r'(\+00:00) / (P[^"]*)', r"\1/\2", text).encode()
