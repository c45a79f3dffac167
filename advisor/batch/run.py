"""One run over a table of sites."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from itertools import groupby

import numpy as np

from advisor.batch.cells import Cells
from advisor.batch.journal import Journal
from advisor.batch.results import rows_of
from advisor.batch.sites_file import Row
from advisor.clock import local_dates, local_instant, to_numpy
from advisor.conditions import SiteTable
from advisor.forecast import extended
from advisor.model import Household
from advisor.rulebook.schema import Rule
from advisor.scoring import chunk_size, score_chunks
from advisor.task_table import TaskTable, build
from advisor.verdict import chance_floors


@dataclass(frozen=True, slots=True)
class Choices:
    """How a run is done; none of it changes an answer, but for `days`, how many are told."""

    days: int = 8
    chunk: int | None = None
    threads: int = 2
    pool: Executor | None = None


def digest(*parts: bytes | str) -> str:
    """What a run is about, for the journal."""
    found = hashlib.sha256()
    for part in parts:
        raw = part.encode() if isinstance(part, str) else part
        found.update(len(raw).to_bytes(8, "big") + raw)
    return found.hexdigest()[:16]


def run(
    rows: Sequence[Row],
    cells: Cells,
    household: Household,
    rules: Sequence[Rule],
    now: datetime,
    journal: Journal,
    choices: Choices,
    tell: Callable[[int], object] = lambda sites: None,
) -> None:
    """Score every site that has weather and is not in the journal yet, and write it there chunk by chunk.

    Parameters
    ----------
    cells : Cells
        Of the same sites in the same order.
    tell : callable
        Told how many more sites are done after every chunk.
    """
    settings = household.settings
    floors = chance_floors(settings)
    for group in cells.groups():
        left = [site for site in group if rows[site].name not in journal.done]
        if left:
            _run_group(left, rows, cells, rules, now, journal, choices, tell, floors, settings.horizon_hours)


def _run_group(left, rows, cells, rules, now, journal, choices, tell, floors, horizon_hours) -> None:
    mine = [rows[site] for site in left]
    tasks = [(at, task) for at, row in enumerate(mine) for task in row.tasks]
    table = build([task for _, task in tasks], (), now, site_index=[at for at, _ in tasks])
    _fill_in_last_passes(table, mine, tasks, now)
    places = [row.site for row in mine]
    sites = SiteTable.of(*places)
    like = cells.weather(left[:1])
    last = like.axis[-1]
    # hours of the last local day after the data are starts too, and not known ones
    like = extended(like, like.hours + _hours_to_midnight(last, {site.zone.key: site.zone for site in places}))
    chunk = choices.chunk or chunk_size(like.members, like.hours)
    for scored in score_chunks(
        lambda part: extended(cells.weather(left[part]), like.hours), sites, table, rules, now, floors, horizon_hours,
        chunk=chunk, threads=choices.threads, pool=choices.pool,
    ):  # fmt: skip
        here = mine[scored.sites]
        found = list(rows_of(scored, here, like, last, now, choices.days))
        journal.add((name, list(each)) for name, each in groupby(found, key=lambda row: row["site"]))
        tell(len(here))


def _fill_in_last_passes(table: TaskTable, rows: Sequence[Row], tasks, now: datetime) -> None:
    """What the ledger would say of the sites that had a pass: their rows of the table are made again, one by one."""
    for at, (site, task) in enumerate(tasks):
        records = rows[site].records
        if not records:
            continue
        alone = build([task], [record for record in records if record.started_at <= now], now)
        for name in ("scalars", "instants", "facts"):
            for column, values in getattr(table, name).items():
                values[at] = getattr(alone, name)[column][0]


def _hours_to_midnight(last: np.datetime64, zones: dict) -> int:
    """From the end of the data to the end of the last local day, in whichever zone that is latest."""
    most = 0
    for zone in zones.values():
        day = local_dates(np.array([last]), zone)[0].item()
        end = to_numpy(local_instant(day + timedelta(days=1), time(0), zone))
        most = max(most, int(-((last.astype("datetime64[s]") - end) // np.timedelta64(3600, "s"))) - 1)
    return most
