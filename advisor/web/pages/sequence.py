"""`/sequence`: the passes of each treatment on a time line: made, closed by the label, wanted, possible."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from markupsafe import Markup

from advisor import units
from advisor.clock import iso
from advisor.figures import Lane, timeline_axis_svg, timeline_svg
from advisor.ledger import read_ledger, read_statements, remembered
from advisor.messages.reschedule import reason_of, what, why
from advisor.model import Area, Record, Task, Treatment
from advisor.outlook import TaskOutlook
from advisor.reschedule import find_missed
from advisor.season import latest_day
from advisor.sequence import follow_up_span, is_overdue, passes_done
from advisor.statements import MISSED, Statement
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import date_words, local, relative, windows_words


def sequence_page(desk: Desk, scene: Scene) -> Page:
    records = [one for one in read_ledger(scene.household, desk.database) if one.started_at <= scene.now]
    missed = [one for one in read_statements(desk.database, scene.now) if one.kind == MISSED]
    choices = scene.once("choices", lambda: _choices(desk, scene, records, missed))
    rows = []
    for treatment in scene.household.treatments.values():
        for area_id in treatment.areas:
            area = scene.household.areas[area_id]
            scored = next((one for one in scene.outlook.tasks
                           if one.task.treatment.id == treatment.id and one.task.area.id == area_id), None)  # fmt: skip
            row = _row(scene, treatment, area, scored, records, missed)
            rows.append({**row, "choices": choices.get(f"{treatment.id}/{area_id}", [])})
    return Page(
        title="Sequence",
        template="sequence.html",
        context={"rows": rows},
        twin={"sequences": [{**row["twin"], "choices": row["choices"]} for row in rows]},
    )


def _choices(
    desk: Desk, scene: Scene, records: list[Record], missed: list[Statement]
) -> dict[str, list[dict[str, Any]]]:
    """What can be done about each pass that is overdue or was told of as missed, ranked, by task."""
    told = {f"{one.data.get('treatment')}/{one.area}" for one in missed if _still_open(one, records, scene)}
    climate = remembered(desk.service.folder, desk.database).get("climate")
    out = {}
    for one in find_missed(scene.outlook, records, told, climate):
        out[one.task.id] = [
            {
                "kind": choice.kind,
                "what": what(choice, one, scene.outlook),
                "why": why(rank, one, choice),
                "reason": reason_of(rank, one, choice),
                "chance": "not known" if choice.chance is None else f"{choice.chance:.0%}",
                "value": round(choice.value, 3),
                "from": choice.day.isoformat(),
                "until": choice.until.isoformat(),
            }
            for rank, choice in enumerate(one.choices)
        ]
    return out


def _still_open(one: Statement, records: list[Record], scene: Scene) -> bool:
    """Whether no pass was made since a pass was told of as missed."""
    zone = scene.household.site.zone
    same = (
        record
        for record in records
        if (record.treatment, record.area) == (one.data.get("treatment"), one.area)
    )
    return not any(local(record.started_at, zone).date() >= one.on for record in same)


def _row(
    scene: Scene,
    treatment: Treatment,
    area: Area,
    scored: TaskOutlook | None,
    records: list[Record],
    missed: list[Statement],
) -> dict[str, Any]:
    household, now = scene.household, scene.now
    zone = household.site.zone
    done = passes_done(household, treatment, area, records, now, scene.plans)
    task = (
        scored.task
        if scored
        else Task(household, treatment, area, household.labels[treatment.label], len(done), done)
    )
    span = follow_up_span(task) if scored else None
    interval = task.label.limits.get("minimum_interval")
    latest = latest_day(task, now)
    own_missed = [one for one in missed if one.area == area.id and one.data.get("treatment") == treatment.id]
    windows = [] if scored is None else [run for day in scored.days for run in day.windows]
    lanes = [("Passes made", Lane("done", tuple(_mark(one, zone) for one in done)))]
    if own_missed:
        marks = tuple(
            (_day(one.on) + 0.5, _day(one.on) + 0.5, f"missed, {date_words(one.on)}") for one in own_missed
        )
        lanes.append(("Told as missed", Lane("missed", marks)))
    if done and interval is not None and scored:
        last = done[-1].end
        until = last + timedelta(hours=interval)
        words = f"closed by the label until {local(until, zone).strftime('%a %-d %b, %H:%M')}"
        title = f"Label's interval, {units.show(interval, 'time', household.units)}"
        lanes.append((title, Lane("closed", ((_at(last, zone), _at(until, zone), words),))))
    if span is not None:
        first, last = span
        words = f"wanted {date_words(local(first, zone).date())} to {date_words(local(last, zone).date())}"
        lanes.append(("Next pass wanted", Lane("wanted", ((_at(first, zone), _at(last, zone), words),))))
    if scored is not None:
        spans = tuple(
            (_at(local(day.windows[0][0], zone), zone), _at(local(day.windows[-1][1], zone), zone) + 1 / 24,
             f"{date_words(day.day)}, start {windows_words(day, zone)}")
            for day in scored.days if day.windows
        )  # fmt: skip
        lanes.append(("Windows in the forecast", Lane("windows", spans)))
    ends = scored.days[-1].day if scored and scored.days else local(now, zone).date()
    edges = [_at(now, zone), _day(ends) + 1]
    edges += [_at(one.started_at, zone) for one in done] + (
        [_at(moment, zone) for moment in span] if span else []
    )
    if latest is not None and scored is not None:
        words = f"last sensible day {date_words(latest)}"
        lanes.append(
            ("Too late in the year", Lane("latest", ((_day(latest) + 1, _day(latest) + 400, words),)))
        )
        edges.append(_day(latest) + 6)
    first, last = min(edges) - 4, max(edges) + 4
    today = _at(now, zone)
    overdue = scored is not None and is_overdue(task, now)
    return {
        "treatment": treatment.name,
        "area": area.name,
        "key": f"{treatment.id}.{area.id}",
        "status": _status(scored, done, treatment, task, now, zone),
        "overdue": overdue,
        "axis": Markup(timeline_axis_svg(first, last, today)),
        "lanes": [
            {"title": title, "words": lane.words, "svg": Markup(timeline_svg(lane, first, last, today, title))}
            for title, lane in lanes
        ],
        "twin": {
            "treatment": treatment.id,
            "area": area.id,
            "passes": treatment.passes,
            "done": [{"started_at": iso(one.started_at), "ended_at": iso(one.ended_at), "id": one.id} for one in done],
            "missed": [{"on": one.on.isoformat(), "id": one.id} for one in own_missed],
            "next_pass": None if scored is None else task.pass_number,
            "wanted": None if span is None else [iso(span[0]), iso(span[1])],
            "overdue": overdue,
            "minimum_interval_hours": interval,
            "latest_day": None if latest is None else latest.isoformat(),
            "windows": [[iso(run[0]), iso(run[1])] for run in windows],
        },
    }  # fmt: skip


def _status(scored, done, treatment: Treatment, task: Task, now: datetime, zone) -> str:
    if scored is None:
        return f"Complete: {len(done)} of {treatment.passes} passes made, or put off by choice."
    told = [f"Pass {task.pass_number} of {treatment.passes} is next."]
    if is_overdue(task, now):
        told.append(
            f"It has been wanted since {date_words(local(follow_up_span(task)[0], zone).date())} and is overdue."
        )
    coming = scored.next_go()
    if coming is not None:
        when = f"{date_words(coming.day)}, start {windows_words(coming, zone)}"
        told.append(f"Next window: {when}, {relative(coming.windows[0][0], now)}.")
    else:
        told.append("There is no window in the days of this forecast.")
    return " ".join(told)


def _mark(record: Record, zone) -> tuple[float, float, str]:
    at = _at(record.started_at, zone)
    return at, at, f"made {local(record.started_at, zone).strftime('%a %-d %b, %H:%M')}"


def _day(day) -> float:
    return float(day.toordinal())


def _at(moment: datetime, zone) -> float:
    there = moment.astimezone(zone)
    return there.toordinal() + (there.hour * 60 + there.minute) / 1440.0
