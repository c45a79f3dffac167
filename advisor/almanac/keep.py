"""What is kept of an almanac: frequencies around each day of the year as JSON, read back for days after a forecast."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np

from advisor.almanac.tables import DAYS_OF_YEAR, Almanac, day_of_year
from advisor.clock import iso
from advisor.errors import InvalidFile

SCHEMA_ID = "advisor.kept-almanac/1"


@dataclass(frozen=True, slots=True)
class KeptAlmanac:
    """Frequencies by task id ("treatment/area"), with where they come from."""

    made_at: str
    source: str
    first_day: str
    last_day: str
    near_day: Mapping[str, tuple[float | None, ...]]

    def climate(self) -> dict[str, Callable[[date], float | None]]:
        """By task id: how often a day near the one asked about had a window."""

        def of(row: tuple[float | None, ...]) -> Callable[[date], float | None]:
            return lambda day: row[int(day_of_year(np.datetime64(day))[()])]

        return {name: of(row) for name, row in self.near_day.items()}


def kept_object(almanacs: Mapping[str, Almanac], source: str, now: datetime) -> dict[str, Any]:
    """The JSON that is kept; `read_kept` reads it back."""
    first = min(one.book.days[0] for one in almanacs.values())
    last = max(one.book.days[-1] for one in almanacs.values())
    return {
        "schema": SCHEMA_ID,
        "made_at": iso(now),
        "source": source,
        "first_day": str(first),
        "last_day": str(last),
        "near_day": {
            name: [None if np.isnan(value) else round(float(value), 4) for value in one.near_day]
            for name, one in almanacs.items()
        },
    }


def read_kept(data: Any, where: str = "") -> KeptAlmanac:
    """A kept almanac, checked: 366 shares from 0 to 1 or null for each task.

    Raises
    ------
    InvalidFile
        When it is something else, with what to do.
    """
    hint = "make it again: advisor almanac"
    if not isinstance(data, dict) or data.get("schema") != SCHEMA_ID:
        raise InvalidFile("this is no kept almanac, or one of another version", where=where, hint=hint)
    table = data.get("near_day")
    if not isinstance(table, dict):
        raise InvalidFile("the kept almanac has no frequencies", where=where, hint=hint)
    rows: dict[str, tuple[float | None, ...]] = {}
    for name, row in table.items():
        if not isinstance(row, list) or len(row) != DAYS_OF_YEAR:
            raise InvalidFile(
                f'the kept almanac of "{name}" has not {DAYS_OF_YEAR} days', where=where, hint=hint
            )
        for value in row:
            if not (value is None or _is_share(value)):
                what = f'the kept almanac of "{name}" holds {value!r}, which is no share'
                raise InvalidFile(what, where=where, hint=hint)
        rows[str(name)] = tuple(None if value is None else float(value) for value in row)
    words = {key: str(data.get(key) or "") for key in ("made_at", "source", "first_day", "last_day")}
    return KeptAlmanac(**words, near_day=rows)


def _is_share(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and 0.0 <= value <= 1.0
