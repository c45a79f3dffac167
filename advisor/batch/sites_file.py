"""The table of sites: a row a site, read and checked row by row; a faulty row is told of and left out.

=================  ====================================================================================================
column             what stands in it
=================  ====================================================================================================
site               a name of its own (required)
latitude           degrees north (required)
longitude          degrees east (required)
elevation          a height with its unit, such as "880 ft"
time_zone          such as "America/Chicago"; found by the place where the column is absent or empty
soil               a soil texture
hollow             yes or no
exposure           open or sheltered
use                the kind of place
local_ban          yes or no
treatment          one of the household's treatments; its only one where the column is absent or empty
area               one of the treatment's areas; all of them where the column is absent or empty
label              one of the household's labels, in place of the treatment's own
pass               which pass it is; 1 where the column is absent or empty
last_pass          day of the last pass with one of the label's active ingredients; needed from pass 2 on
weather            file name of the stored answer for the site, inside the folder of `--weather`
=================  ====================================================================================================

What the table does not say, the household's files do: areas, turf, sprayers, hours and limits. The household's own
ledger is about its own lawn and says nothing of these sites.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, time, timedelta
from pathlib import Path
from typing import get_args

from advisor.clock import local_instant, time_zone
from advisor.errors import InvalidFile, Problem, UsageError, did_you_mean
from advisor.model import Exposure, Household, Record, Site, SiteUse, Task
from advisor.soil.texture import soil_texture

COLUMNS = ("site", "latitude", "longitude", "elevation", "time_zone", "soil", "hollow", "exposure", "use",
           "local_ban", "treatment", "area", "label", "pass", "last_pass", "weather")  # fmt: skip
_REQUIRED = COLUMNS[:3]


@dataclass(frozen=True, slots=True)
class Row:
    """A row that can be scored: its line in the file, the site's own name, and the tasks on it."""

    line: int
    name: str
    site: Site
    tasks: tuple[Task, ...]
    weather: str = ""
    #: the last pass on each of its areas, where one was made
    records: tuple[Record, ...] = ()


class _Fault(Exception):
    """What is wrong with a row, and a hint."""

    def __init__(self, what: str, hint: str = ""):
        super().__init__(what)
        self.what, self.hint = what, hint


def read_sites(path: Path, household: Household) -> tuple[list[Row], list[Problem]]:
    """The rows that can be scored, in their order, and the faults of the others.

    Raises
    ------
    InvalidFile
        When the file cannot be read, or a required column is missing or one is not known.
    """
    rows: list[Row] = []
    faults: list[Problem] = []
    lines: dict[str, int] = {}
    for line, cells in _table(path):
        where = f"{path.name}:{line}"
        try:
            if isinstance(cells, _Fault):
                raise cells
            row = _row(line, cells, household)
            if row.name in lines:
                taken = f'the site "{row.name}" stands on line {lines[row.name]} already'
                raise _Fault(taken, "give each its own name")
        except _Fault as fault:
            faults.append(Problem(fault.what, where, fault.hint))
            continue
        lines[row.name] = line
        rows.append(row)
    return rows, faults


def _table(path: Path) -> Iterator[tuple[int, Mapping[str, str] | _Fault]]:
    """(line, cells as text, or what is wrong with them) of each row; the header is line 1."""
    try:
        rows = _parquet(path) if path.suffix == ".parquet" else _separated(path)
    except OSError as error:
        raise InvalidFile(f"the sites cannot be read: {error.strerror or error}", where=str(path)) from error
    except UnicodeDecodeError as error:
        raise InvalidFile("is not UTF-8 text", where=str(path), hint="save it as CSV in UTF-8") from error
    except (ValueError, csv.Error) as error:
        raise InvalidFile(f"the sites are no table of text separated by commas: {error}", where=str(path),
                          hint="save it as CSV in UTF-8") from error  # fmt: skip
    names = [name.strip() for name in rows[0][1]]
    missing = [name for name in _REQUIRED if name not in names]
    problems = [Problem(f'the column "{name}" is missing', path.name) for name in missing]
    problems += [Problem(f'the column "{name}" is not known', path.name, did_you_mean(name, COLUMNS))
                 for name in names if name not in COLUMNS]  # fmt: skip
    problems += [Problem(f'the column "{name}" stands twice', path.name)
                 for name in COLUMNS if names.count(name) > 1]  # fmt: skip
    if problems:
        raise InvalidFile("the table of sites is not valid", problems=problems)
    for line, values in rows[1:]:
        if isinstance(values, _Fault):
            yield line, values
            continue
        cells = [value.strip() for value in values]
        if any(cells[len(names) :]):  # empty ones beyond the last column do no harm
            hint = "put a cell that holds a comma in quotes"
            yield line, _Fault(f"the row has {len(cells)} cells, and the heading {len(names)}", hint)
        else:
            yield line, dict(zip(names, [*cells, *[""] * len(names)], strict=False))


def _separated(path: Path) -> list[tuple[int, list[str] | _Fault]]:
    """(line, cells, or what is wrong with them) of the heading and of every row.

    A quote that is never closed swallows all rows after it, and is a fault of the file.
    """
    _refuse_wide(path)
    text = io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")
    reader, rows, line = csv.reader(text, strict=True), [], 1
    while True:
        try:
            rows.append((line, next(reader) or [""]))
        except StopIteration:
            break
        except csv.Error as error:
            if line == 1 or "end of data" in str(error):
                raise
            rows.append((line, _Fault(f"the row cannot be read: {error}")))
        line = reader.line_num + 1
    if not rows:
        raise ValueError("it is empty")
    return rows


def _refuse_wide(path: Path) -> None:
    """A heading of thousands of cells keeps pandas busy for seconds before anybody looks at their names."""
    with path.open("rb") as file:
        cells = 1 + re.split(rb"[\r\n]", file.readline(2**16))[0].count(b",")
    if cells > 4 * len(COLUMNS):
        raise ValueError(f"its heading has {cells} cells, and {len(COLUMNS)} columns are known")


def _parquet(path: Path) -> list[tuple[int, list[str]]]:
    import pandas as pd

    try:
        frame = pd.read_parquet(path)
    except ImportError as error:
        raise UsageError("parquet files need the extra \"parquet\"",
                         hint='pip install "application-window-advisor[parquet]", or give CSV') from error  # fmt: skip
    frame = frame.astype(object).where(frame.notna(), "").map(lambda value: "yes" if value is True else
                                                               "no" if value is False else str(value))  # fmt: skip
    rows = map(list, frame.itertuples(index=False, name=None))
    return list(enumerate([[str(name) for name in frame.columns], *rows], 1))


def _row(line: int, cells: Mapping[str, str], household: Household) -> Row:
    name = cells["site"]
    if not name:
        raise _Fault("the site has no name", 'fill the column "site"')
    site = _site(name, cells, household)
    moved = replace(household, site=site)
    treatment = _one_of(cells, "treatment", household.treatments, only=True)
    if cells.get("label"):
        treatment = replace(treatment, label=_one_of(cells, "label", household.labels).id)
    areas = {area: household.areas[area] for area in treatment.areas}
    wanted = [_one_of(cells, "area", areas)] if cells.get("area") else list(areas.values())
    number = cells.get("pass") or "1"
    if not number.isdecimal() or len(number) > 4 or int(number) < 1:
        raise _Fault(f'pass "{number}" is not a whole number from 1 on')
    label = household.labels[treatment.label]
    tasks = tuple(Task(moved, treatment, area, label, int(number)) for area in wanted)
    records = _last_passes(cells, tasks) if cells.get("last_pass") else ()
    if int(number) > 1 and not records:
        raise _Fault(f"pass {number} needs the day of the pass before it", 'fill the column "last_pass"')
    return Row(line, name, site, tasks, cells.get("weather", ""), records)


def _last_passes(cells: Mapping[str, str], tasks: tuple[Task, ...]) -> tuple[Record, ...]:
    """The last pass on each area, at the end of its day; its amount is not known and counts as the label's most."""
    try:
        day = date.fromisoformat(cells["last_pass"])
        day + timedelta(days=2)
    except (ValueError, OverflowError):
        raise _Fault(f'last_pass "{cells["last_pass"]}" is not a day', "write it like 2026-09-07") from None
    records = []
    for task in tasks:
        label = task.label
        ended = local_instant(day + timedelta(days=1), time(0), task.household.site.zone)
        ingredients = tuple(one.name for one in label.active_ingredients)
        records.append(
            Record(
                task.area.id,
                task.treatment.id,
                label.product,
                ingredients,
                ended,
                ended,
                None,
                task.area.size,
            )
        )
    return tuple(records)


def _site(name: str, cells: Mapping[str, str], household: Household) -> Site:
    latitude, longitude = _degrees(cells, "latitude", 90.0), _degrees(cells, "longitude", 180.0)
    site = replace(household.site, name=name, latitude=latitude, longitude=longitude, elevation=None,
                   zone=_zone(cells.get("time_zone", ""), latitude, longitude))  # fmt: skip
    if cells.get("elevation"):
        site = replace(site, elevation=_length(cells["elevation"]))
    if cells.get("soil"):
        try:
            soil_texture(cells["soil"])
        except ValueError as error:
            raise _Fault(str(error)) from error
        site = replace(site, soil=cells["soil"])
    if cells.get("use"):
        if cells["use"] not in get_args(SiteUse):
            raise _Fault(f'use "{cells["use"]}" is not known', did_you_mean(cells["use"], get_args(SiteUse)))
        site = replace(site, use=cells["use"])
    if cells.get("exposure"):
        if cells["exposure"] not in get_args(Exposure):
            raise _Fault(f'exposure "{cells["exposure"]}" is neither open nor sheltered')
        site = replace(site, exposure=cells["exposure"])
    for column in ("hollow", "local_ban"):
        if cells.get(column):
            if cells[column].casefold() not in ("yes", "no"):
                raise _Fault(f'{column} "{cells[column]}" is neither yes nor no')
            site = replace(site, **{column: cells[column].casefold() == "yes"})
    return site


def _degrees(cells: Mapping[str, str], column: str, most: float) -> float:
    try:
        value = float(cells[column])
    except ValueError:
        raise _Fault(f'{column} "{cells[column]}" is not a number', "write degrees such as 41.6") from None
    if not -most <= value <= most:
        raise _Fault(f"{column} {value:g} is outside -{most:g} to {most:g}")
    return value


def _zone(text: str, latitude: float, longitude: float):
    if not text:
        from tzfpy import get_tz

        text = get_tz(longitude, latitude)
    zone = time_zone(text)
    if zone is None:
        raise _Fault(f'time_zone "{text}" is not known', 'write it like "America/Chicago"')
    return zone


def _length(text: str) -> float:
    from advisor.units import UnitError, parse

    try:
        return parse(text, "length")
    except UnitError as error:
        raise _Fault(f"elevation: {error.problems[0].what}", error.problems[0].hint) from error


def _one_of(cells: Mapping[str, str], column: str, known: Mapping, only: bool = False):
    wanted = cells.get(column, "")
    if not wanted and only:
        if len(known) == 1:
            return next(iter(known.values()))
        raise _Fault(f"the household has several {column}s, and the row names none", did_you_mean("", known))
    if wanted not in known:
        raise _Fault(f'{column} "{wanted}" is not known', did_you_mean(wanted, known))
    return known[wanted]
