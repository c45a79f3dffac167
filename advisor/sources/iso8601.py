"""Intervals of ISO 8601 as whole hours: start and duration, or start and end."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from advisor.sources.reading import instant

_DURATION = re.compile(
    r"^P(?:(?P<weeks>\d{1,9})W)?(?:(?P<days>\d{1,9})D)?"
    r"(?:T(?:(?P<hours>\d{1,9})H)?(?:(?P<minutes>\d{1,9})M)?(?:(?P<seconds>\d{1,9})S)?)?$"
)
_SECONDS = {"weeks": 604800, "days": 86400, "hours": 3600, "minutes": 60, "seconds": 1}


def duration_seconds(text: Any) -> int | None:
    """Length of a duration such as PT6H, P1DT6H or P2W [s]; None for years and months, whose length is not
    fixed."""
    match = _DURATION.match(text) if isinstance(text, str) else None
    if not match or text.endswith(("P", "T")):
        return None
    return sum(int(match[name]) * seconds for name, seconds in _SECONDS.items() if match[name])


def interval_hours(text: Any) -> tuple[np.datetime64, int] | None:
    """Start (UTC, datetime64[h]) and length [h] of an interval of whole hours; None for anything else."""
    if not isinstance(text, str) or text.count("/") != 1:
        return None
    left, right = text.split("/")
    start, seconds = instant(left), duration_seconds(right)
    if np.isnat(start):
        return None
    if seconds is None:
        end = instant(right)
        if np.isnat(end):
            return None
        seconds = int((end - start) / np.timedelta64(1, "s"))
    if seconds <= 0 or seconds % 3600 or start.astype("datetime64[h]").astype(start.dtype) != start:
        return None
    return start.astype("datetime64[h]"), seconds // 3600
