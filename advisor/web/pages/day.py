"""`/day/DATE`: why a day came out so, for each task: what stands against it, what would change it, and what holds."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np

from advisor.clock import iso, parse_day
from advisor.errors import UsageError
from advisor.explain import RuleReason
from advisor.messages.outlook_json import outlook_object, reason_object
from advisor.messages.outlook_text import decided_from, reached_from
from advisor.outlook import Day, Outlook, TaskOutlook
from advisor.verdict import VERDICT_WORDS
from advisor.web.desk import Scene
from advisor.web.page import Page
from advisor.web.pages.drawing import figure
from advisor.web.words import (
    ANSWERS,
    chance_words,
    clock,
    date_words,
    decides,
    listed,
    long_date,
    margin,
    task_words,
    windows_words,
)


class NoSuchDay(UsageError):
    """A day that the forecast does not reach."""


def day_page(scene: Scene, text: str, hour: str | None = None) -> Page:
    """Parameters
    ----------
    text : str
        An ISO date.
    hour : str, optional
        A start of the day, "HH:MM" local time, to be looked at instead of the one that comes nearest to a go.
    """
    outlook = scene.outlook
    day = parse_day(text)
    rows = [(at, scored, _of(scored, day)) for at, scored in enumerate(outlook.tasks)]
    if not any(found for _, _, found in rows):
        first, last = (scored_days[0].day, scored_days[-1].day) if (
            scored_days := [one for scored in outlook.tasks for one in scored.days]) else (None, None)  # fmt: skip
        reach = f"it reaches from {long_date(first)} to {long_date(last)}" if first else "no pass is open"
        raise NoSuchDay(f"the outlook does not speak of {long_date(day)}: {reach}")
    tasks = [_task(at, scored, found, outlook, hour) for at, scored, found in rows if found is not None]
    figures = [
        {
            "area": outlook.tasks[at].task.area.name,
            "figure": figure(outlook, [at], day, day, f"d{at}", None, hourly=True),
        }
        for at, _, found in rows
        if found is not None
    ]
    for task, drawn in zip(tasks, figures, strict=True):
        task["figure"] = drawn["figure"]
    whole = outlook_object(outlook)
    whole["treatments"] = [
        {**one, "days": [found for found in one["days"] if found["date"] == day.isoformat()]}
        for one in whole["treatments"]
    ]
    days = sorted({one.day for scored in outlook.tasks for one in scored.days})
    at = days.index(day)
    beside = {at + step: days[at + step] for step in (-1, 1) if 0 <= at + step < len(days)}
    turn = {where: {"date": one.isoformat(), "day": date_words(one)} for where, one in beside.items()}
    return Page(
        title=long_date(day),
        template="day.html",
        context={
            "day": long_date(day),
            "date": day.isoformat(),
            "answer": _answer(tasks),
            "tasks": tasks,
            "before": turn.get(at - 1),
            "after": turn.get(at + 1),
        },
        twin={**whole, "starts": [task["starts_twin"] for task in tasks]},
    )  # fmt: skip


def _answer(tasks: list[dict[str, Any]]) -> str:
    """The day in one line: "Go: front lawn, start 12:00. No-go: back lawn." """
    groups: dict[tuple[str, str], list[str]] = {}
    for task in tasks:
        start = f", start {task['windows']}" if task["verdict"] == "go" else ""
        groups.setdefault((task["word"], start), []).append(task["area"])
    order = sorted(groups, key=lambda key: list(ANSWERS.values()).index(key[0]))
    return " ".join(
        f"{word}: {listed(list(dict.fromkeys(groups[word, start])))}{start}." for word, start in order
    )


def _of(scored: TaskOutlook, day: date) -> Day | None:
    return next((one for one in scored.days if one.day == day), None)


def _task(at: int, scored: TaskOutlook, day: Day, outlook: Outlook, wanted: str | None) -> dict[str, Any]:
    household = outlook.household
    zone, system = household.site.zone, household.units
    shown = _shown(at, day, outlook, wanted)
    reasons = day.reasons
    asked = False
    if shown is not None and shown != day.shown_start:
        reasons = tuple(outlook.explainer.reasons(at, outlook.forecast.index(shown)))
        asked = True
    verdict = day.verdict if not asked else _verdict_at(outlook, at, shown)
    failing, unknown, kept = (
        [one for one in reasons if one.verdict == word] for word in ("no-go", "unknown", "go")
    )
    return {
        **task_words(scored, outlook.now),
        "key": f"{scored.task.treatment.id}.{scored.task.area.id}",
        "verdict": day.verdict,
        "word": ANSWERS[day.verdict],
        "windows": windows_words(day, zone),
        "chance": chance_words(day),
        "decides": decides(day, system),
        "shown": clock(shown, zone),
        "asked": asked,
        "shown_verdict": verdict,
        "shown_word": ANSWERS[verdict],
        "outside": not day.candidates,
        "failing": [_reason(one, system) for one in failing],
        "unknown": [_reason(one, system) for one in unknown],
        "kept": [_reason(one, system) for one in kept],
        "always": _always(day),
        "sole": [one.text for one in day.blocked.sole],
        "together": _together(day),
        "too_early": day.too_early,
        "decided": decided_from(day, outlook),
        "reached": reached_from(scored, day, outlook),
        "starts": _starts(at, day, outlook, shown),
        "starts_twin": {
            "treatment": scored.task.treatment.id,
            "area": scored.task.area.id,
            "starts": [
                {"start": iso(start), "verdict": _verdict_at(outlook, at, start),
                 "chance": round(float(_chance_at(outlook, at, start)), 3)}
                for start in day.candidates
            ],
            "shown_start": iso(shown),
            "reasons": [reason_object(one, system) for one in reasons],
        },
    }  # fmt: skip


def _shown(at: int, day: Day, outlook: Outlook, wanted: str | None) -> np.datetime64 | None:
    """The start asked for where it is one of the day's, else the one that the day's reasons speak of."""
    zone = outlook.household.site.zone
    if wanted:
        for start in day.candidates:
            if clock(start, zone) == wanted:
                return start
    return day.shown_start


def _reason(one: RuleReason, system: str) -> dict[str, Any]:
    return {
        "rule": one.rule,
        "title": one.title,
        "kind": one.kind,
        "text": one.text,
        "source": one.source,
        "anyway": one.anyway,
        "margin": margin(one, system),
        "times": f"{one.standing:.1f}" if one.headroom is not None and np.isfinite(one.standing) else "",
        "chance": f"{one.chance:.0%}",
        "neighbour": one.neighbour,
    }


def _always(day: Day) -> str:
    titles = {reason.rule: reason.title.lower() for reason in day.reasons}
    return listed([titles.get(rule, rule) for rule in day.blocked.always])


def _together(day: Day) -> str:
    if day.blocked.sole or len(day.blocked.together) < 2:
        return ""
    titles = {reason.rule: reason.title.lower() for reason in day.reasons}
    return listed([titles.get(rule, rule) for rule in day.blocked.together])


def _starts(at: int, day: Day, outlook: Outlook, shown: np.datetime64 | None) -> list[dict[str, Any]]:
    """Every start of the day with its answer and the rules that stand against it."""
    zone = outlook.household.site.zone
    out = []
    for start in day.candidates:
        verdict = _verdict_at(outlook, at, start)
        reasons = outlook.explainer.reasons(at, outlook.forecast.index(start)) if verdict != "go" else []
        word = "no-go" if verdict == "no-go" else "unknown"
        told = [one.title.lower() for one in reasons if one.verdict == word]
        out.append({
            "time": clock(start, zone), "verdict": verdict, "word": ANSWERS[verdict],
            "chance": f"{_chance_at(outlook, at, start):.0%}",
            "why": listed(told, 4) or ("too early to decide" if verdict == "unknown" else ""),
            "current": start == shown,
        })  # fmt: skip
    return out


def _verdict_at(outlook: Outlook, at: int, start: np.datetime64) -> str:
    return VERDICT_WORDS[int(outlook.verdicts.verdict[at, outlook.forecast.index(start)])]


def _chance_at(outlook: Outlook, at: int, start: np.datetime64) -> float:
    return outlook.verdicts.everything.lower[at, outlook.forecast.index(start)]
