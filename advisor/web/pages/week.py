"""`/`: the answer now and the next chance, the days ahead in a table, and the week as small multiples."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from advisor.clock import iso
from advisor.messages.outlook_json import outlook_object, reason_object
from advisor.messages.waiting import waiting_sentence
from advisor.outlook import Day, Outlook, TaskOutlook
from advisor.web.desk import Scene
from advisor.web.page import Page
from advisor.web.pages.drawing import figure
from advisor.web.pages.present import Present, present
from advisor.web.words import (
    ANSWERS,
    chance_words,
    date_words,
    decides,
    listed,
    local,
    long_date,
    margin,
    relative,
    span_words,
    task_words,
    windows_words,
)


def week(scene: Scene) -> Page:
    outlook = scene.outlook
    presents = [present(outlook, at) for at in range(len(outlook.tasks))]
    tasks = [_task(scored, presents[at], outlook) for at, scored in enumerate(outlook.tasks)]
    return Page(
        title="The week",
        template="week.html",
        context={
            "headline": _headline(outlook, presents),
            "tasks": tasks,
            "groups": _groups(outlook, lambda day: f"{scene.path}/day/{day.isoformat()}"),
        },
        twin={
            **outlook_object(outlook),
            "present": [_twin(scored, presents[at], outlook) for at, scored in enumerate(outlook.tasks)],
        },
    )  # fmt: skip


def _headline(outlook: Outlook, presents: Sequence[Present]) -> dict[str, str]:
    """The one sentence that answers: what holds now, and when next."""
    if not outlook.tasks:
        return {"now": "Nothing to do.", "next": "No pass is open: every sequence is complete for this year."}
    go = [
        scored.task.area.name
        for scored, now in zip(outlook.tasks, presents, strict=True)
        if now.verdict == "go"
    ]
    if go:
        now = f"Go now: {listed(go)}."
    elif all(one.verdict == "unknown" for one in presents):
        now = "Not known now."
    else:
        now = "Not now."
    return {"now": now, "next": _next_words(outlook)}


def _next_words(outlook: Outlook) -> str:
    coming = [
        (day.windows[0][0], day, scored)
        for scored in outlook.tasks
        for day in scored.days
        if day.verdict == "go"
    ]
    if coming:
        zone = outlook.household.site.zone
        first = min(start for start, _, _ in coming)
        day = next(day for start, day, _ in coming if start == first)
        names = [scored.task.area.name for _, other, scored in coming if other.day == day.day]
        who = "" if len(names) == len(outlook.tasks) and len(names) == 1 else f", on {listed(names)}"
        return f"Next chance: {long_date(day.day)}, start {windows_words(day, zone)}{who}."
    early = [day for scored in outlook.tasks for day in scored.days if day.too_early]
    if early:
        day = max(early, key=lambda one: (one.chance or 0.0, -one.day.toordinal()))
        return f"No chance is sure yet; {long_date(day.day)} is too early to decide."
    if any(day.verdict == "unknown" for scored in outlook.tasks for day in scored.days):
        return "Next chance: not known. What is missing stands below."
    return "No chance in the days of this forecast."


def _task(scored: TaskOutlook, now: Present, outlook: Outlook) -> dict[str, Any]:
    household = outlook.household
    zone, system = household.site.zone, household.units
    coming = scored.next_go()
    today = local(outlook.now, zone).date()
    waiting = scored.waiting(today)
    return {
        **task_words(scored, outlook.now),
        "id": scored.task.id,
        "key": f"{scored.task.treatment.id}.{scored.task.area.id}",
        "now": {"verdict": now.verdict, "word": ANSWERS[now.verdict], "text": now.text},
        "next": None if coming is None else _chance(coming, outlook),
        "wait": "" if waiting is None else waiting_sentence(waiting, today),
        "sooner": _why_not_sooner(scored, coming),
        "days": [_row(day, zone, system) for day in scored.days],
    }


def _chance(day: Day, outlook: Outlook) -> dict[str, Any]:
    zone, system = outlook.household.site.zone, outlook.household.units
    spare = margin(day.tightest, system) if day.tightest else ""
    return {
        "date": day.day.isoformat(),
        "day": date_words(day.day),
        "span": windows_words(day, zone),
        "relative": relative(day.windows[0][0], outlook.now),
        "chance": f"{day.chance:.0%}",
        "tightest": "" if day.tightest is None else day.tightest.title.lower(),
        "spare": spare,
    }


def _why_not_sooner(scored: TaskOutlook, coming: Day | None) -> list[dict[str, str]]:
    """The days before the next chance, with what stands against each."""
    days = [day for day in scored.days if coming is None or day.day < coming.day]
    return [
        {"date": day.day.isoformat(), "day": day.day.strftime("%A"), "why": _first_reason(day)}
        for day in days[:3]
    ]


def _first_reason(day: Day) -> str:
    if not day.candidates:
        return "no start fits your hours"
    told = day.failing if day.verdict == "no-go" else day.unknown
    return told[0].title.lower() if told else "too early to decide"


def _row(day: Day, zone, system: str) -> dict[str, Any]:
    return {
        "date": day.day.isoformat(),
        "day": date_words(day.day),
        "verdict": day.verdict,
        "word": ANSWERS[day.verdict],
        "windows": ", ".join(span_words(*run, zone) for run in day.windows),
        "chance": chance_words(day),
        "decides": decides(day, system),
    }


def _groups(outlook: Outlook, link: Callable[[date], str]) -> list[dict[str, Any]]:
    """A figure a treatment: its areas share the rows in which they see the same."""
    if outlook.explainer is None:
        return []
    by_treatment: dict[str, list[int]] = {}
    for at, scored in enumerate(outlook.tasks):
        by_treatment.setdefault(scored.task.treatment.id, []).append(at)
    out = []
    for number, (name, tasks) in enumerate(by_treatment.items()):
        days = [day.day for at in tasks for day in outlook.tasks[at].days]
        if not days:
            continue
        drawn = figure(outlook, tasks, min(days), max(days), f"w{number}", link)
        if drawn:
            out.append(
                {
                    "title": outlook.household.treatments[name].name,
                    "several": len(by_treatment) > 1,
                    "figure": drawn,
                }
            )
    return out


def _twin(scored: TaskOutlook, now: Present, outlook: Outlook) -> dict[str, Any]:
    system = outlook.household.units
    return {
        "treatment": scored.task.treatment.id,
        "area": scored.task.area.id,
        "verdict": now.verdict,
        "hour": iso(now.hour),
        "text": now.text,
        "reasons": [reason_object(reason, system) for reason in now.reasons],
    }
