"""When to stop while working, and by when the forecast wants the work done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from advisor import units
from advisor.atmosphere.wind import wind_speed_2m
from advisor.clock import from_numpy
from advisor.compass import point_of
from advisor.drift.deposit import deposit_at_neighbour
from advisor.logic import within
from advisor.model import Task
from advisor.one_start import OneStart
from advisor.rulebook.evaluate import measured
from advisor.rulebook.quantities import QUANTITIES
from advisor.start_card.readings import Readings

#: directions that are tried for a wind that turns [degrees true]
DIRECTIONS = np.arange(0.0, 360.0, 5.0)
#: wind at 10 m where none was read, and the least that has a direction to carry in [m/s]; common practice, no source
UNREAD_WIND, LEAST_WIND = 2.0, 0.6


@dataclass(frozen=True, slots=True)
class Stop:
    """When to stop while working, in words, with the value [canonical unit of `dimension`] where there is one."""

    text: str
    rule: str = ""
    value: float | None = None
    dimension: str = ""


def closes(scored: OneStart) -> tuple[datetime | None, str]:
    """The first full hour after the start at which any limit of the work is broken by most members, and its title."""
    area = scored.explainer.area
    hours = len(area.conditions.axis)
    first, title = hours, ""
    for finding in scored.findings:
        measure, quantity = finding.rule.measure, QUANTITIES[finding.rule.measure.quantity]
        if (
            measure.span != "work"
            or not quantity.hourly
            or quantity.scope == "neighbour"
            or not finding.applies[0]
        ):
            continue
        series, _ = measured(finding.rule, quantity, area)
        limits = [None if side is None else side[0] for side in (finding.at_least, finding.at_most)]
        fails = within(np.broadcast_to(series.values[:1], (1, series.values.shape[1], hours)), *limits).fails
        broken = np.flatnonzero(fails[0].mean(axis=0) > 0.5)
        later = broken[broken > scored.hour]
        if len(later) and later[0] < first:
            first, title = int(later[0]), finding.rule.title
    return (None, "") if first == hours else (from_numpy(area.conditions.axis[first]), title)


#: rules whose limit is watched while working: rule -> what is said
_WATCHED = {
    "wind-strong": "the wind rises above {}",
    "gusts": "a gust reaches {}",
    "wind-calm": "the wind drops below {} and smoke no longer moves away",
    "air-hot": "it gets warmer than {}",
    "evaporation": "Delta T passes {}",
}


def stops(task: Task, scored: OneStart, readings: Readings) -> Iterator[Stop]:
    """Limits in force that are watched while working, and what ends a job whatever the limits say."""
    system = task.household.units
    for finding in scored.findings:
        words = _WATCHED.get(finding.rule.id)
        side = finding.at_most if finding.at_most is not None else finding.at_least
        if words is None or not finding.applies[0] or side is None:
            continue
        dimension = QUANTITIES[finding.rule.measure.quantity].dimension
        limit = float(side[0])
        yield Stop(words.format(units.show(limit, dimension, system)), finding.rule.id, limit, dimension)
    yield from _turning_stops(task, scored, readings)
    yield Stop("the first drops fall, or thunder is heard")
    if task.label.mode != "soil":
        yield Stop("dew begins to settle on the leaves")
    yield Stop("anybody comes near: people, pets, or bees on open flowers")
    yield Stop("spray is seen to leave the lawn, or a nozzle drips or spits")


def _turning_stops(task: Task, scored: OneStart, readings: Readings) -> Iterator[Stop]:
    """From where the wind may not come, for each neighbour that it would carry too much to."""
    limits = {one.rule.id: float(one.at_most[0]) for one in scored.findings if one.rule.measure.for_each and
              one.rule.measure.quantity == "drift_deposit" and one.applies[0]}  # fmt: skip
    if not limits:
        return
    speed = UNREAD_WIND if readings.wind_range is None else readings.wind_range[1] / float(wind_speed_2m(1.0))
    for neighbour in task.area.neighbours:
        if not neighbour.is_reached_by_drift:
            continue
        rule = "drift-deposit-sensitive" if neighbour.is_sensitive else "drift-deposit"
        deposit = deposit_at_neighbour(
            neighbour.distance, neighbour.bearing, DIRECTIONS, max(speed, LEAST_WIND), neighbour.arc
        )
        closed = ~within(deposit, at_most=limits.get(rule, min(limits.values()))).holds
        if closed.all():
            says = f"{neighbour.name} cannot be kept free of drift: do not spray without a shield"
            yield Stop(says, "drift-deposit")
            continue
        for first, last in _runs(closed):
            says = f"the wind turns to come from {_from_to(first, last)}, towards the {neighbour.name}"
            yield Stop(says, "drift-deposit")


def _runs(closed: np.ndarray) -> Iterator[tuple[float, float]]:
    """First and last direction of each run of closed ones, clockwise, around north too; some are open."""
    for begin in np.flatnonzero(closed & ~np.roll(closed, 1)):
        length = int(np.argmin(np.roll(closed, -int(begin))))
        yield DIRECTIONS[begin], DIRECTIONS[(begin + length - 1) % len(DIRECTIONS)]


def _from_to(first: float, last: float) -> str:
    """Two directions, clockwise, by the compass."""
    return f"{point_of(first)} to {point_of(last)} ({first:.0f}° to {last:.0f}°)"
