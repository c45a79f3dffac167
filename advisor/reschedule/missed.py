"""Finding the passes that were missed, and ranking what can be done about each."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

from advisor.model import Record
from advisor.outlook import Outlook, TaskOutlook
from advisor.reschedule.candidates import begin_again, days_in_sight, leave_it, wait_for_later
from advisor.reschedule.case import Case
from advisor.reschedule.choices import Choice, Missed
from advisor.sequence import Room, is_overdue, room_left, wanted_days
from advisor.waiting import Climate

#: of choices that are worth the same, which comes first
_ORDER = {"window": 0, "late": 1, "later": 2, "again": 3, "leave": 4}


def find_missed(
    outlook: Outlook,
    records: Sequence[Record],
    told: Collection[str] = (),
    climate: Mapping[str, Climate] | None = None,
) -> list[Missed]:
    """Every open task that is overdue, or that somebody told of by its id, with its ranked choices."""
    found = []
    for scored in outlook.tasks:
        overdue = is_overdue(scored.task, outlook.now)
        if overdue or scored.task.id in told:
            found.append(_missed(outlook, scored, records, overdue, (climate or {}).get(scored.task.id)))
    return found


def _missed(
    outlook: Outlook, scored: TaskOutlook, records: Sequence[Record], overdue: bool, climate: Climate | None
) -> Missed:
    task, now = scored.task, outlook.now
    records = [one for one in records if one.started_at <= now]
    today = now.astimezone(task.household.site.zone).date()
    # a day that was chosen is one of the days missed; how late it is counts from when the pass was wanted
    wanted = wanted_days(replace(task, plan=None))
    case = Case(scored, records, now, today, wanted, room_left(task, records, now), climate)
    choices = leave_it(case)
    if not case.room.is_full:
        choices += [*days_in_sight(case), *wait_for_later(case), *begin_again(case)]
    return Missed(
        task, scored, overdue, wanted, case.days_late(today), case.room, _ranked(choices), _closed(case.room)
    )


def _ranked(choices: Sequence[Choice]) -> tuple[Choice, ...]:
    return tuple(sorted(choices, key=lambda one: (-round(one.value, 9), _ORDER[one.kind], one.day)))


def _closed(room: Room) -> str:
    """Why the label's year leaves no pass, or why that is not known; empty where it leaves one."""
    if math.isnan(room.more_passes):
        return (
            "an earlier pass of this year cannot be added up, so no day can be a go until its amount is known"
        )
    if not room.is_full:
        return ""
    if room.most_passes is not None and room.passes >= room.most_passes:
        return f"all {room.most_passes} passes that the label allows in its year are made"
    return "the label's yearly total leaves room for no pass more"
