"""Scoring thousands of sites: cache-sized chunks of sites, one after the other or on a few threads, in bounded memory.

The weather of a chunk is asked for when its turn comes and dropped with it, so memory does not grow with the sites.
A chunk is scored by the same functions as a household; nothing is estimated for speed.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.clock import to_numpy
from advisor.conditions import Conditions, SiteTable
from advisor.forecast import Field, Forecast
from advisor.rulebook.evaluate import Finding, evaluate
from advisor.rulebook.schema import Rule
from advisor.task_table import TaskTable
from advisor.verdict import GO, Verdicts, judge_starts

#: values (site, member, hour) of one variable that a chunk holds: 128 sites of 31 members over 168 hours, 2.7 MB in
#: float32, so that what a formula reads and writes stays in a core's caches. Measured, see DEVELOPERS.md.
VALUES_A_CHUNK = 128 * 31 * 168
#: most sites of a chunk, whatever their members and hours
MOST_SITES = 1024


@dataclass(frozen=True, eq=False)
class Scored:
    """A chunk of sites, scored.

    Attributes
    ----------
    sites, tasks : slice
        Of all sites and of the whole task table.
    verdicts : Verdicts
        Of the chunk's tasks, (task, hour).
    candidates : ndarray of bool (task, hour)
        Coming starts inside the person's hours at which the work fits.
    best : ndarray of int (task,)
        The candidate that is go with the highest chance, the earliest of equals; -1 where none is.
    findings : sequence of Finding
        Empty unless they were asked for.
    """

    sites: slice
    tasks: slice
    verdicts: Verdicts
    candidates: np.ndarray
    best: np.ndarray
    findings: Sequence[Finding] = ()


def chunk_size(members: int, hours: int) -> int:
    """Sites of a chunk, at least 1."""
    return int(np.clip(VALUES_A_CHUNK // max(members * hours, 1), 1, MOST_SITES))


def score(
    forecast: Forecast,
    sites: SiteTable,
    table: TaskTable,
    rules: Sequence[Rule],
    now: datetime,
    floors: Mapping[str, float],
    horizon_hours: float,
) -> tuple[list[Finding], Verdicts]:
    """Findings and verdicts of all tasks at once, the whole in one array.

    Parameters
    ----------
    forecast : Forecast
        (site, member, hour), after quality control.
    sites, table : SiteTable, TaskTable
        `table.site` counts along the forecast's site axis.
    floors : mapping
        Chance floors by kind, for "safety_and_label" and for "everything".
    """
    findings, verdicts, _ = _score(forecast, sites, table, rules, now, floors, horizon_hours)
    return findings, verdicts


def _score(forecast, sites, table, rules, now, floors, horizon_hours):
    area = AreaConditions(Conditions(forecast, sites), table)
    findings = evaluate(rules, area)
    lead = (forecast.axis.astype("datetime64[s]") - to_numpy(now)) / np.timedelta64(3600, "s")
    verdicts = judge_starts(
        findings, forecast.nominal_members, lead, floors, horizon_hours, floors["everything"]
    )
    return findings, verdicts, (area.spare_time[:, 0] >= -1e-9) & (lead >= 0.0)


def score_chunks(
    weather: Callable[[slice], Forecast],
    sites: SiteTable,
    table: TaskTable,
    rules: Sequence[Rule],
    now: datetime,
    floors: Mapping[str, float],
    horizon_hours: float,
    *,
    chunk: int,
    threads: int = 1,
    pool: Executor | None = None,
    keep_findings: bool = False,
) -> Iterator[Scored]:
    """Score any number of sites in chunks, in their order.

    Parameters
    ----------
    weather : callable
        Gives the forecast of a slice of the sites; called once a chunk, from the thread that asks for the chunks.
    table : TaskTable
        Tasks in the order of their sites; a site may have several, or none.
    chunk : int
        Sites of a chunk, see `chunk_size`.
    threads : int
        How many chunks are scored at the same time. At most one more is held ready.
    pool : Executor, optional
        Where chunks are scored instead of on threads of this process, such as the executor of a cluster.
    keep_findings : bool
        Whether the findings of every rule are handed out as well.

    Yields
    ------
    Scored
        The same, to the bit, whatever `chunk` and `threads` are.

    Raises
    ------
    ValueError
        Where the tasks do not stand in the order of their sites.
    """
    count = len(sites.latitude)
    if len(table) and (np.diff(table.site) < 0).any():
        raise ValueError(
            "score_chunks: the tasks must stand in the order of their sites; sort the task table by site"
        )
    edges = [(first, min(first + chunk, count)) for first in range(0, count, chunk)]

    parts = []
    for first, stop in edges:
        low, high = np.searchsorted(table.site, [first, stop])
        if high > low:
            parts.append((slice(first, stop), slice(int(low), int(high))))
    asked = rules, now, floors, horizon_hours, keep_findings

    def inputs(part: tuple[slice, slice]):
        here, at = part
        return here, at, weather(here), _sites(sites, here), _tasks(table, at, here.start), *asked

    if threads <= 1 and pool is None:
        for part in parts:
            yield score_part(*inputs(part))
        return
    own = ThreadPoolExecutor(threads) if pool is None else None
    try:
        waiting: deque = deque()
        for part in parts:
            waiting.append((pool or own).submit(score_part, *inputs(part)))
            if len(waiting) > threads:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        if own is not None:
            own.shutdown(cancel_futures=True)


def score_part(here, at, forecast, sites, table, rules, now, floors, horizon_hours, keep_findings) -> Scored:
    """One chunk: what `score_chunks` runs in threads, and a cluster in its workers."""
    findings, verdicts, candidates = _score(forecast, sites, table, rules, now, floors, horizon_hours)
    kept = tuple(findings) if keep_findings else ()
    return Scored(here, at, verdicts, candidates, best_starts(verdicts, candidates), kept)


def best_starts(verdicts: Verdicts, candidates: np.ndarray) -> np.ndarray:
    """The candidate that is go with the highest chance, the earliest of equals (task,); -1 where there is none."""
    chance = np.where((verdicts.verdict == GO) & candidates, verdicts.everything.lower, -1.0)
    best = chance.argmax(axis=1)
    return np.where(np.take_along_axis(chance, best[:, None], axis=1)[:, 0] < 0.0, -1, best)


def at_sites(forecast: Forecast, sites: np.ndarray | slice) -> Forecast:
    """The forecast of some of its sites; fields that all sites share stay shared."""

    def pick(values):
        return values if values is None or values.shape[0] == 1 else values[sites]

    fields = {
        name: Field(pick(one.values), pick(one.reason), pick(one.block_first), pick(one.block_last))
        for name, one in forecast.fields.items()
    }
    return replace(forecast, fields=fields)


def _sites(sites: SiteTable, here: slice) -> SiteTable:
    sheltered = np.broadcast_to(sites.sheltered, sites.hollow.shape)[here]
    return SiteTable(
        sites.latitude[here], sites.longitude[here], sites.elevation[here], sites.hollow[here], sheltered
    )


def _tasks(table: TaskTable, at: slice, first_site: int) -> TaskTable:
    """Some tasks of a table, their sites counted from `first_site`."""

    def each(columns: Mapping) -> dict:
        return {name: values[at] for name, values in columns.items()}

    return TaskTable(
        site=table.site[at] - first_site,
        zone=table.zone[at],
        duration=table.duration[at],
        clean_up=table.clean_up[at],
        label=each(table.label),
        blank=each(table.blank),
        facts=each(table.facts),
        scalars=each(table.scalars),
        instants=each(table.instants),
        neighbours=each(table.neighbours),
        neighbour_facts=each(table.neighbour_facts),
        neighbour_names=table.neighbour_names[at],
        hours=table.hours[at],
        irrigation=table.irrigation[at],
        tasks=table.tasks[at],
    )
