"""Kept history as pairs: from kept forecasts and the weather that was, or from the text of a history file.

The file `kept-history.csv` of a household has one line a forecast and time, under the header

    valid,lead_hours,air_temperature,air_temperature_observed,wind_speed_10m,wind_speed_10m_observed,
    precipitation,precipitation_probability,precipitation_observed

`valid` is UTC; temperature [degC] and wind [m/s] are of that hour, rain [mm] and its chance [percent] of the twelve
hours that begin then. `lead_hours` is from the issue to `valid`. Empty cells are unknown; lines that begin with # are
remarks.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence

import numpy as np

from advisor.clock import to_numpy
from advisor.errors import InvalidFile, Problem, did_you_mean
from advisor.forecast import Forecast
from advisor.spread.assumed import with_assumed_members
from advisor.spread.pairs import LEARNED_VARIABLES, Pairs, control_pairs, joined, make_pairs, pairs_of
from advisor.spread.rain_members import block_amounts, stated_or_assumed_chance
from advisor.spread.stated import lead_hours

FILE_NAME = "kept-history.csv"
COLUMNS = (
    "valid", "lead_hours", "air_temperature", "air_temperature_observed", "wind_speed_10m", "wind_speed_10m_observed",
    "precipitation", "precipitation_probability", "precipitation_observed",
)  # fmt: skip
#: members that a chance and an amount are turned into
_MEMBERS = 51


def from_forecasts(kept: Sequence[Forecast], measured: Forecast) -> dict[str, Pairs]:
    """Pairs of every variable that is learned, from at most one forecast a day of issue.

    Parameters
    ----------
    kept : sequence of Forecast
        After quality control, oldest first. Those that do not say when they were issued or fetched are left out.
    measured : Forecast
        The weather that was, one site.
    """
    chosen: dict[np.datetime64, Forecast] = {}
    for forecast in kept:
        since = forecast.provenance.issued_at or forecast.provenance.fetched_at
        if since is not None:
            chosen.setdefault(to_numpy(since, "D"), forecast)
    tables: dict[str, list[Pairs]] = {name: [] for name in LEARNED_VARIABLES}
    for forecast in chosen.values():
        since = forecast.provenance.issued_at or forecast.provenance.fetched_at
        lead = lead_hours(forecast, since)
        for name, rows in tables.items():
            if name in forecast.fields and name in measured.fields:
                # rain needs members to have a chance at all; the rest is scored as it came
                said = with_assumed_members(forecast, since) if name == "precipitation" else forecast
                rows.append(pairs_of(said, measured, name, lead))
    found = {name: joined(rows) for name, rows in tables.items() if rows}
    return {name: control_pairs(one)[0] for name, one in found.items() if len(one)}


def parse_history(text: str, name: str = FILE_NAME) -> dict[str, Pairs]:
    """Pairs from the text of a history file, after quality control.

    Raises
    ------
    InvalidFile
        With every fault by its line.
    """
    problems: list[Problem] = []
    lines = [
        (at, line)
        for at, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.startswith("#")
    ]
    rows = []
    for at, line in lines:
        try:
            # a line a row: no cell of this table holds a line end
            rows.append((at, next(csv.reader([line]))))
        except csv.Error:
            problems.append(Problem("has a cell that is too long", f"{name}:{at}"))
    if problems:
        raise InvalidFile("the kept history is not valid", problems=problems)
    if not rows:
        return {}
    header_line, header = rows[0][0], [cell.strip() for cell in rows[0][1]]
    for column in header:
        if column not in COLUMNS:
            problems.append(
                Problem(f'unknown column "{column}"', f"{name}:{header_line}", did_you_mean(column, COLUMNS))
            )
    for column in ("valid", "lead_hours"):
        if column not in header:
            problems.append(Problem(f'the column "{column}" is missing', f"{name}:{header_line}", "add it"))
    if problems:
        raise InvalidFile("the kept history is not valid", problems=problems)
    cells: dict[str, list[float]] = {column: [] for column in COLUMNS}
    valid: list[np.datetime64] = []
    for at, row in rows[1:]:
        where = f"{name}:{at}"
        if len(row) != len(header):
            problems.append(Problem(f"has {len(row)} cells where the header has {len(header)}", where))
            continue
        said = dict(zip(header, (cell.strip() for cell in row), strict=True))
        moment = _moment(said["valid"])
        if moment is None:
            problems.append(
                Problem(f'valid "{said["valid"]}" is no full hour of UTC', where, 'write "2026-09-01T18:00Z"')
            )
            continue
        valid.append(moment)
        for column in COLUMNS[1:]:
            number = _number(said.get(column, ""))
            if number is None:
                problems.append(
                    Problem(f'{column} "{said[column]}" is not a number', where, "leave it empty if unknown")
                )
                number = math.nan
            cells[column].append(number)
    if problems:
        raise InvalidFile("the kept history is not valid", problems=problems)
    return _tables(
        np.array(valid, dtype="datetime64[h]"), {column: np.array(one) for column, one in cells.items()}
    )


def _tables(valid: np.ndarray, cells: Mapping[str, np.ndarray]) -> dict[str, Pairs]:
    lead = cells["lead_hours"]
    made = {}
    for name in ("air_temperature", "wind_speed_10m"):
        made[name] = make_pairs(name, lead, cells[name], cells[f"{name}_observed"], valid)
    period = LEARNED_VARIABLES["precipitation"]
    amount, stated = cells["precipitation"], cells["precipitation_probability"] / 100.0
    chance = stated_or_assumed_chance(stated, amount, period, lead + period / 2.0)
    position = (np.arange(_MEMBERS) + 0.5) / _MEMBERS
    members = block_amounts(position[None, :], chance[:, None], amount[:, None])
    members = np.where(np.isnan(amount)[:, None], np.nan, members)
    observed = cells["precipitation_observed"]
    made["precipitation"] = make_pairs(
        "precipitation", lead + period, members, observed, valid, None, None, period
    )
    kept = {}
    for name, one in made.items():
        usable = ~np.isnan(one.lead) & ~np.isnan(one.observed) & ~np.isnan(one.centre)
        if usable.any():
            kept[name] = control_pairs(one.rows(usable))[0]
    return kept


def _moment(text: str) -> np.datetime64 | None:
    from advisor.clock import parse_instant
    from advisor.errors import UsageError

    try:
        instant = parse_instant(text)
    except UsageError:
        return None
    hour = to_numpy(instant, "h")
    return hour if hour == to_numpy(instant) else None


def _number(text: str) -> float | None:
    """A finite number, NaN for an empty cell, None for anything else."""
    if not text:
        return math.nan
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None
