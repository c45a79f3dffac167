"""The notice a person receives: first the answer, then the reason, then the next chance; mix, cautions, forecast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from advisor.clock import from_numpy
from advisor.messages.cautions import cautions
from advisor.messages.mix_text import short_line
from advisor.messages.outlook_text import head
from advisor.messages.waiting import waiting_line
from advisor.mix.plan import MixRefused, plan_mix
from advisor.outlook import Day, Outlook, TaskOutlook

KINDS = ("evening", "morning")


@dataclass(frozen=True, slots=True)
class NoticeText:
    """`answer` is what the notice says in one word a task: it changes when the verdicts change."""

    kind: str
    day: date
    subject: str
    text: str
    answer: str


def notice_day(outlook: Outlook, kind: str) -> date:
    """The local day a notice speaks of: an evening's speaks of tomorrow, a morning's of today."""
    today = outlook.now.astimezone(outlook.household.site.zone).date()
    return today + timedelta(days=1) if kind == "evening" else today


def make_notice(outlook: Outlook, kind: str, day: date | None = None) -> NoticeText | None:
    """The notice of a kind about a day, or None where no pass is open."""
    if not outlook.tasks:
        return None
    day = day or notice_day(outlook, kind)
    rows = [(scored, next((d for d in scored.days if d.day == day), None)) for scored in outlook.tasks]
    when = _when(day, outlook)
    first = ("Changed. " if kind == "changed" else "") + answer_line(rows, when, outlook)
    lines = [first, reason_line(rows), next_line(rows, outlook, day)]
    lines += filter(None, [waiting_line(rows, outlook, day)])
    mixing = mix_lines(rows, outlook)
    labels = tuple({scored.task.label.id: scored.task.label for scored in outlook.tasks}.values())
    lines += ["", *mixing] if mixing else []
    lines += ["", "Before you start:", *(f"- {caution}" for caution in cautions(outlook.household, labels))]
    lines += ["", *head(outlook)]
    answer = "; ".join(f"{scored.task.id}={_verdict(found)}" for scored, found in rows)
    return NoticeText(kind, day, first.rstrip("."), "\n".join(lines), answer)


def answer_line(rows: Sequence[tuple[TaskOutlook, Day | None]], when: str, outlook: Outlook) -> str:
    """The answer in one sentence: which areas may go and when, which not, which are not known."""
    groups: dict[tuple[str, str], list[str]] = {}
    for scored, day in rows:
        verdict = _verdict(day)
        start = _starts(day, outlook) if verdict == "go" else ""
        groups.setdefault((verdict, start), []).append(scored.task.area.name)
    words = {"go": "go", "no-go": "no-go", "unknown": "not known yet"}
    order = sorted(groups, key=lambda key: ("go", "unknown", "no-go").index(key[0]))
    parts = [f"{words[verdict]} for {_list(groups[verdict, start])}{start}" for verdict, start in order]
    return f"{when[0].upper()}{when[1:]}: {'; '.join(parts)}."


def _starts(day: Day, outlook: Outlook) -> str:
    zone = outlook.household.site.zone
    runs = [
        f"at {_clock(first, zone)}" if first == last else f"between {_clock(first, zone)} and {_clock(last, zone)}"
        for first, last in day.windows
    ]
    return ", start " + " or ".join(runs)


def reason_line(rows: Sequence[tuple[TaskOutlook, Day | None]]) -> str:
    """Why, in one line: for each answer the reason of the first task that has it."""
    told: list[str] = []
    for verdict in ("no-go", "unknown", "go"):
        day = next((day for _, day in rows if day is not None and day.verdict == verdict), None)
        if day is None:
            continue
        if verdict == "go":
            told.append(f"Chance that everything holds: {day.chance:.0%}. Tightest: {day.tightest.text}")
        elif not day.candidates:
            told.append("No start fits your hours.")
        elif verdict == "no-go":
            failing = [reason for reason in day.reasons if reason.verdict == "no-go"]
            told.append(day.blocked.sole[0].text if day.blocked.sole else failing[0].text)
        else:
            unknown = [reason for reason in day.reasons if reason.verdict == "unknown"]
            told.append("Too early to decide." if day.too_early or not unknown else unknown[0].text)
    return " ".join(told[:2]) or "The forecast does not reach that day."


def next_line(rows: Sequence[tuple[TaskOutlook, Day | None]], outlook: Outlook, after: date) -> str:
    """The next day on which some task may go."""
    coming = [
        (day.day, scored, day)
        for scored, _ in rows
        for day in scored.days
        if day.verdict == "go" and day.day > after
    ]
    if coming:
        first = min(coming, key=lambda row: row[0])[0]
        areas = _list([scored.task.area.name for day, scored, _ in coming if day == first])
        start = min(found.windows[0][0] for day, _, found in coming if day == first)
        return f"Next chance: {first.strftime('%a %-d %b')} from {_clock(start, outlook.household.site.zone)}, {areas}."
    open_days = [
        day.day for scored, _ in rows for day in scored.days if day.verdict == "unknown" and day.day > after
    ]
    if open_days:
        return f"Next chance: none is sure yet; {min(open_days).strftime('%a %-d %b')} is not decided."
    return "Next chance: none in the days of this forecast."


def mix_lines(rows: Sequence[tuple[TaskOutlook, Day | None]], outlook: Outlook) -> list[str]:
    """One line an area that may go: product and spray by the planner of the mixing sheet, or why there is no mix."""
    lines = []
    for scored, day in rows:
        if day is None or day.verdict != "go":
            continue
        task = scored.task
        try:
            plan = plan_mix(outlook.household, task.treatment, task.area)
        except MixRefused as error:
            first = error.problems[0]
            hint = f" ({first.hint})" if first.hint else ""
            lines.append(f"No mix for {task.area.name}: {first.what}{hint}.")
        else:
            lines.append(short_line(plan, outlook.household.units))
    return lines


def _when(day: date, outlook: Outlook) -> str:
    ahead = (day - outlook.now.astimezone(outlook.household.site.zone).date()).days
    name = {0: "today, ", 1: "tomorrow, "}.get(ahead, "")
    return f"{name}{day.strftime('%a %-d %b')}"


def _verdict(day: Day | None) -> str:
    return "unknown" if day is None else day.verdict


def _list(names: list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]


def _clock(hour: np.datetime64, zone) -> str:
    return from_numpy(hour).astimezone(zone).strftime("%H:%M")
