"""What the person said since the household's files were written: how the soil looked, and that the lawn was watered.

Statements are kept beside the records and laid over the household each time it is scored; the files are never changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time
from typing import get_args
from zoneinfo import ZoneInfo

from advisor.clock import local_instant
from advisor.model import Area, Household, SoilState, Watering

SOIL, IRRIGATED, MISSED = "soil", "irrigated", "missed"
#: what the program itself worked out of the soil's water at the end of a day, kept between runs
SOIL_WATER = "soil-water"
SOIL_STATES = get_args(SoilState)


@dataclass(frozen=True, slots=True)
class Statement:
    """One thing said of one area.

    `on` is the local day that it speaks of and `stated_at` when it was said. `data` holds `state` of the soil and `at`
    what local time it was seen, or `depth` [mm], `at` and `duration` [h] of a watering, or the `depletion` [mm] at the
    end of the day.
    """

    kind: str
    area: str
    on: date
    stated_at: datetime
    data: Mapping[str, object] = field(default_factory=dict)
    id: str = ""


def with_statements(household: Household, statements: Iterable[Statement]) -> Household:
    """The household as the statements, in the order in which they were said, leave it.

    The soil that was seen last counts, whether the file or a statement says so. Waterings are added to the timetable
    when they came after that look, which has seen what lay before it. A timetable that is not stated stays not stated:
    one watering told of does not say that there are no others.
    """
    by_area: dict[str, list[Statement]] = {}
    for statement in statements:
        by_area.setdefault(statement.area, []).append(statement)
    changed = {
        name: _area(area, by_area[name], household.site.zone) if name in by_area else area
        for name, area in household.areas.items()
    }
    if changed == household.areas:
        return household
    return replace(household, areas=changed)


def _area(area: Area, told: list[Statement], zone: ZoneInfo) -> Area:
    told = sorted(told, key=lambda one: one.stated_at)
    looks = [at for at, one in enumerate(told) if one.kind == SOIL and one.data.get("state") in SOIL_STATES]
    look = max(looks, key=lambda at: (told[at].on, _moment(told[at], zone), at), default=-1)
    if look >= 0 and _not_before(told[look], area, zone):
        seen = told[look]
        area = replace(area, soil_state=seen.data["state"], soil_seen=seen.on, soil_seen_at=_time_of(seen))
    else:
        look = -1
    area = _worked_out(area, told)
    if area.irrigation is None:
        return area
    waterings = tuple(
        watering
        for at, one in enumerate(told)
        if one.kind == IRRIGATED and _after(one, area, at > look) and (watering := _watering(one)) is not None
    )
    return replace(area, irrigation=(*area.irrigation, *waterings)) if waterings else area


def _not_before(look: Statement, area: Area, zone: ZoneInfo) -> bool:
    """Whether a look that was told of did not come before the one that the file states."""
    if area.soil_seen is None or look.on != area.soil_seen or area.soil_seen_at is None:
        return area.soil_seen is None or look.on >= area.soil_seen
    return _moment(look, zone) >= local_instant(area.soil_seen, area.soil_seen_at, zone)


def _moment(one: Statement, zone: ZoneInfo) -> datetime:
    """When what a statement speaks of was; when it was said, where no time was told."""
    at = _time_of(one)
    return one.stated_at if at is None else local_instant(one.on, at, zone)


def _time_of(one: Statement) -> time | None:
    """The local time that a statement speaks of; None where it does not say."""
    try:
        return time.fromisoformat(str(one.data["at"])).replace(tzinfo=None) if one.data.get("at") else None
    except ValueError:
        return None


def _worked_out(area: Area, told: list[Statement]) -> Area:
    """The newest balance that an earlier run kept, where nobody has looked at the soil since."""
    kept = [
        one for one in told if one.kind == SOIL_WATER and isinstance(one.data.get("depletion"), (int, float))
    ]
    newest = max(kept, key=lambda one: (one.on, one.stated_at), default=None)
    if newest is None or (area.soil_seen is not None and newest.on < area.soil_seen):
        return area
    return replace(area, soil_depletion=float(newest.data["depletion"]), soil_depletion_day=newest.on)


def _after(watered: Statement, area: Area, said_later: bool) -> bool:
    """Whether a watering came after the soil was looked at; on the same day by their times, or what was said later."""
    if area.soil_seen is None or watered.on != area.soil_seen:
        return area.soil_seen is None or watered.on > area.soil_seen
    at = _time_of(watered)
    return said_later if at is None or area.soil_seen_at is None else at >= area.soil_seen_at


def _watering(one: Statement) -> Watering | None:
    depth = one.data.get("depth")
    if not isinstance(depth, (int, float)) or not 0.0 < depth < 200.0:
        return None
    duration = one.data.get("duration")
    hours = float(duration) if isinstance(duration, (int, float)) and 0.0 < duration <= 24.0 else 1.0
    return Watering(frozenset(), _time_of(one) or time(6, 0), float(depth), hours, on=one.on)
