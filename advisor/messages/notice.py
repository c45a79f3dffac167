"""The notice a person receives: first the answer, then the reason, then the next chance; mix, cautions, forecast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from advisor import units
from advisor.clock import from_numpy
from advisor.messages.cautions import cautions
from advisor.messages.outlook_text import head
from advisor.outlook import Day, Outlook, TaskOutlook
from advisor.task_table import planned_rate

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
    mixing = mix_lines(rows, outlook)
    labels = tuple({scored.task.label.id: scored.task.label for scored in outlook.tasks}.values())
    lines += ["", *mixing] if mixing else []
    lines += ["", "Before you start:", *(f"- {caution}" for caution in cautions(outlook.household, labels))]
    lines += ["", *head(outlook)]
    answer = "; ".join(f"{scored.task.id}={_verdict(found)}" for scored, found in rows)
    return NoticeText(kind, day, first.rstrip("."), "\n".join(lines), answer)


def answer_line(rows: Sequence[tuple[TaskOutlook, Day | None]], when: str, outlook: Outlook) -> str:
    groups: dict[tuple[str, str], list[str]] = {}
    for scored, day in rows:
        verdict = _verdict(day)
        start = ""
        if day is not None and day.verdict == "go":
            run = next(run for run in day.windows if run[0] <= day.best_start <= run[1])
            zone = outlook.household.site.zone
            start = f", start between {_clock(run[0], zone)} and {_clock(run[1], zone)}" if run[0] != run[1] else (
                f", start at {_clock(run[0], zone)}")  # fmt: skip
        groups.setdefault((verdict, start), []).append(scored.task.area.name)
    words = {"go": "Go", "no-go": "No-go", "unknown": "Not known yet"}
    order = sorted(groups, key=lambda key: ("go", "unknown", "no-go").index(key[0]))
    parts = [f"{words[verdict]} for {_list(groups[verdict, start])}{start}" for verdict, start in order]
    head_part, *rest = parts
    return (
        f"{when[0].upper()}{when[1:]}: {head_part[0].lower()}{head_part[1:]}"
        + "".join(f"; {p[0].lower()}{p[1:]}" for p in rest)
        + "."
    )


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
    """Product and water for the areas that may go, at the label's rate."""
    system = outlook.household.units
    lines = []
    for scored, day in rows:
        task = scored.task
        rate = planned_rate(task)
        if day is None or day.verdict != "go" or rate is None:
            continue
        size = task.area.size * task.treatment.sprayed_share
        product = units.show(rate * size, "volume" if task.label.formulation == "liquid" else "mass", system)
        line = f"Mix for {task.area.name}: {product} of {task.label.product}"
        carrier = outlook.household.sprayers[task.treatment.sprayer].carrier_rate
        if task.label.formulation == "granule":
            line += ", spread dry"
        elif carrier is not None:
            line += f" in {_water(carrier * size, system)} of water"
        else:
            line += "; calibrate the sprayer to know the water"
        lines.append(line + ".")
    return lines


def _water(litres: float, system: str) -> str:
    return f"{litres / 3.785411784:.1f} gal" if system == "us" else f"{litres:.1f} L"


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
