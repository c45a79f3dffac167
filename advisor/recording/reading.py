"""Reading back our own export of records: numbers in SI under names that say the unit."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from advisor.errors import Problem
from advisor.model import Record
from advisor.recording.details import Details, WeatherThen


def header_of(text: str) -> list[str]:
    """The names of a CSV text's columns; none where its first line is no row of cells."""
    try:
        return next(csv.reader(io.StringIO(text, newline=None)), [])
    except csv.Error:
        return []


def is_exported(header: Sequence[str]) -> bool:
    """Whether a CSV header is that of our own export, with numbers in SI and no units in its cells."""
    return {"size_m2", "started_at", "area"} <= set(header)


def read_export(text: str, name: str) -> tuple[list[tuple[int, Record, Details]], list[Problem]]:
    """Records of our own export with their lines, and what is wrong with the others.

    Rows that were withdrawn or replaced are passed over; ids are given anew when the records are written.
    """
    found: list[tuple[int, Record, Details]] = []
    problems: list[Problem] = []
    reader = csv.DictReader(io.StringIO(text, newline=None))
    rows = iter(reader)
    while True:
        try:
            cells = next(rows)
        except StopIteration:
            break
        except csv.Error:
            hint = "look for a quote that is not closed"
            problems.append(Problem("a cell is too long to be one", f"{name}:{reader.line_num}", hint))
            break
        line = reader.line_num
        values = {
            key: (value or "").strip()
            for key, value in cells.items()
            if isinstance(key, str) and not isinstance(value, list)
        }
        if None in cells or not values.get("area"):
            problems.append(
                Problem("the cells do not fit the header", f"{name}:{line}", "export the table again")
            )
            continue
        if values.get("withdrawn") == "yes" or values.get("counts") == "no":
            continue
        try:
            found.append((line, *_row_of(values)))
        except ValueError as error:
            problems.append(Problem(str(error), f"{name}:{line}", "write it as the export does"))
    return found, problems


def _row_of(cells: Mapping[str, str]) -> tuple[Record, Details]:
    record = Record(
        area=cells["area"],
        treatment=cells.get("treatment", ""),
        product=cells.get("product", ""),
        active_ingredients=_list(cells.get("active_ingredients", "")),
        started_at=_instant(cells.get("started_at", ""), "started_at"),
        ended_at=_instant(cells["ended_at"], "ended_at") if cells.get("ended_at") else None,
        amount=_number(cells, "amount"),
        size=_number(cells, "size_m2"),
        who=cells.get("who", ""),
        note=cells.get("note", ""),
    )
    weather = {ours: _number(cells, column) for ours, column in _WEATHER_COLUMNS.items()}
    origins = _list(cells.get("weather_from", ""))
    known = {name: value for name, value in weather.items() if value is not None}
    words = ("registration_number", "method", "target", "site_use", "location", "equipment", "adjuvant", "re_entry",
             "licence_number", "certified_name", "certified_number", "customer", "customer_address")  # fmt: skip
    return record, Details(
        restricted_use=cells.get("restricted_use") == "yes",
        turf=_list(cells.get("turf", "")),
        mix_volume=_number(cells, "mix_volume_ml"),
        as_it_happened=cells.get("as_it_happened") == "yes",
        flags=_list(cells.get("flags", "")),
        weather=WeatherThen(**known, source=dict.fromkeys(known, origins[0]) if len(origins) == 1 else {}),
        **{name: cells.get(name, "") for name in words},
    )


_WEATHER_COLUMNS = {
    "wind_speed_2m": "wind_speed_2m_m_s", "wind_speed_10m": "wind_speed_10m_m_s",
    "wind_from_direction": "wind_from_direction_deg", "wind_gust": "wind_gust_m_s",
    "air_temperature": "air_temperature_degc", "relative_humidity": "relative_humidity_percent",
    "cloud_cover": "cloud_percent", "precipitation": "rain_mm",
}  # fmt: skip


def _list(text: str) -> tuple[str, ...]:
    return tuple(one.strip() for one in text.split(";") if one.strip())


def _number(cells: Mapping[str, str], name: str) -> float | None:
    text = cells.get(name, "")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise ValueError(f'{name} "{text}" is not a number') from None
    if not math.isfinite(value):
        raise ValueError(f'{name} "{text}" is not a finite number')
    return value


def _instant(text: str, name: str) -> datetime:
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f'{name} "{text}" is not a date and time') from None
    if instant.tzinfo is None:
        raise ValueError(f'{name} "{text}" names no time zone')
    try:
        return instant.astimezone(UTC)
    except OverflowError:
        raise ValueError(f'{name} "{text}" is outside the years 1 to 9999 of UTC') from None
