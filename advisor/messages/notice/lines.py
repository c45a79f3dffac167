"""The single lines of notices: answer, reason, next chance, wait or go, mix."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from advisor import units
from advisor.clock import from_numpy
from advisor.explain import RuleReason, difference
from advisor.messages.cautions import cautions
from advisor.messages.mix_text import short_line, water
from advisor.messages.notice.layout import MOST_NAMES
from advisor.messages.waiting import likelihood
from advisor.messages.wording import long_date
from advisor.mix.plan import MixPlan, MixRefused, plan_mix
from advisor.model import Task
from advisor.outlook import Day, Outlook, TaskOutlook

#: a scored task with its day, None where the forecast does not hold that day
Row = tuple[TaskOutlook, Day | None]
_WORDS = {"go": "go", "no-go": "no-go", "unknown": "not known yet"}
#: longer names are cut, in words
_LONGEST_NAME = 5


def rows_of(outlook: Outlook, day: date) -> list[Row]:
    return [(scored, next((d for d in scored.days if d.day == day), None)) for scored in outlook.tasks]


def verdict(day: Day | None) -> str:
    return "unknown" if day is None else day.verdict


def answer_line(rows: Sequence[Row], when: str, most: int = MOST_NAMES[0]) -> str:
    """The answer in one sentence: which areas may go and when, which not, which are not known."""
    groups: dict[tuple[str, str], list[str]] = {}
    names = area_names([scored.task for scored, _ in rows])
    for (scored, day), name in zip(rows, names, strict=True):
        word = verdict(day)
        start = starts(day, scored.task.household.site.zone) if word == "go" else ""
        groups.setdefault((word, start), []).append(name)
    order = sorted(groups, key=lambda key: ("go", "unknown", "no-go").index(key[0]))
    parts = [f"{_WORDS[word]} for {listed(groups[word, start], most)}{start}" for word, start in order]
    told = most + 1 if most < MOST_NAMES[0] else most
    if len(parts) > told:
        rest = sum(len(groups[key]) for key in order[told - 1 :])
        parts = [*parts[: told - 1], f"{rest} more areas differ, see the page"]
    return f"{when[:1].upper()}{when[1:]}: {'; '.join(parts)}."


def starts(day: Day, zone: ZoneInfo) -> str:
    runs = [
        clock(first, zone) if first == last else f"between {clock(first, zone)} and {clock(last, zone)}"
        for first, last in day.windows
    ]
    runs[0] = runs[0] if runs[0].startswith("between") else f"at {runs[0]}"
    return ", start " + " or ".join(runs)


def reasons(rows: Sequence[Row], system: str) -> list[str]:
    """Why, in several lengths: for each answer the reason of the first task that has it."""
    long, short = [], []
    for word in ("no-go", "unknown", "go"):
        day = next((day for _, day in rows if day is not None and day.verdict == word), None)
        if day is None:
            continue
        whole, brief = _reason(day, system)
        long.append(whole)
        short.append(brief)
    if not long:
        return ["The forecast does not reach that day."]
    lengths = [" ".join(long[:2]), " ".join([long[0], *short[1:2]]), " ".join(short[:2]), long[0], short[0]]
    return sorted(dict.fromkeys(lengths), key=lambda text: -len(text.split()))


def _reason(day: Day, system: str) -> tuple[str, str]:
    """(a sentence, a few words)"""
    if day.verdict == "go":
        sure = f"Chance that everything holds: {day.chance:.0%}."
        if day.tightest is None:
            return sure, sure
        return f"{sure} Tightest: {_brief(day.tightest, system)}.", sure
    if not day.candidates:
        return "No start fits your hours.", "No start fits your hours."
    if day.verdict == "no-go":
        failing = [reason for reason in day.reasons if reason.verdict == "no-go"]
        if day.blocked.sole:
            return day.blocked.sole[0].text, f"{day.blocked.sole[0].title} alone stands in the way."
        if not failing:
            return ("Nothing at all of it can hold.",) * 2
        more = "" if len(failing) == 1 else f" and {len(failing) - 1} more"
        return failing[0].text, f"{failing[0].title}{more}."
    unknown = [reason for reason in day.reasons if reason.verdict == "unknown"]
    if day.too_early or not unknown:
        return "Too early to decide.", "Too early to decide."
    return unknown[0].text, f"Not known: {unknown[0].missing}."


def _brief(reason: RuleReason, system: str) -> str:
    title = reason.title[:1].lower() + reason.title[1:]
    if reason.headroom is None:
        return title
    return f"{title}, {units.show(reason.headroom, difference(reason.dimension), system)} to spare"


def next_chance(outlook: Outlook, after: date, most: int = MOST_NAMES[0]) -> tuple[str, date | None]:
    """The next day after `after` on which some task may go, and that day where one is known."""
    coming = [(day.day, scored, day) for scored in outlook.tasks for day in scored.days if day.day > after]
    goes = [row for row in coming if row[2].verdict == "go"]
    if goes:
        first = min(goes, key=lambda row: row[0])[0]
        found = [(scored, day) for at, scored, day in goes if at == first]
        whole = len(found) == len(outlook.tasks) > 1
        areas = "" if whole else f", {listed(area_names([scored.task for scored, _ in found]), most)}"
        start = min(day.windows[0][0] for _, day in found)
        at = clock(start, outlook.household.site.zone)
        return f"Next chance: {long_date(first)} from {at}{areas}.", first
    undecided = [at for at, _, day in coming if day.verdict == "unknown"]
    if undecided:
        return f"Next chance: no day is sure yet; {long_date(min(undecided))} is still open.", None
    return "Next chance: none in the days of this forecast.", None


def wait_line(rows: Sequence[Row], day: date) -> str:
    """Go on that day or wait, in one sentence; empty where nothing is left to weigh."""
    told = [(scored.task, found) for scored, _ in rows if (found := scored.waiting(day)) is not None]
    goes = [(task, found) for task, found in told if found.is_go]
    if not goes:
        if not told:
            return ""
        until = max(found.until for _, found in told)
        chance = min(found.good_window for _, found in told)
        if chance < 0.005:
            return f"Wait: nothing is known yet of a good window by {until:%-d %B}."
        return f"Wait: the chance of a good window by {until:%-d %B} is {likelihood(chance)}."
    best = max(goes, key=lambda pair: pair[1].wait - pair[1].go)[1]
    if best.advice == "go":
        return f"Go rather than wait: {best.go:.0%} of a pass against {best.wait:.0%}."
    later = "" if best.best_day is None else f" until {long_date(best.best_day)}"
    waiting = [task for task, found in goes if found.advice != "go"]
    areas = "" if len(waiting) == len(goes) else f" on {listed(area_names(waiting))}"
    return f"Rather wait{later}{areas}: {best.wait:.0%} of a pass against {best.go:.0%}."


def mix_words(rows: Sequence[Row], outlook: Outlook) -> tuple[list[str], list[str]]:
    """(the mix of all areas that may go in one line, in several lengths; the mix of each area)."""
    plans, refused, detail = [], [], []
    for scored, day in rows:
        if verdict(day) != "go":
            continue
        task = scored.task
        try:
            plan = plan_mix(outlook.household, task.treatment, task.area)
        except MixRefused as error:
            first = error.problems[0]
            hint = f" ({first.hint})" if first.hint else ""
            refused.append(f"No mix for {task.area.name}: {first.what}{hint}.")
            detail.append(refused[-1])
        else:
            plans.append(plan)
            detail.append(short_line(plan, outlook.household.units))
    if not plans and not refused:
        return [""], []
    told = _mixes(plans, outlook.household.units)
    count = len(plans) + len(refused)
    shorter = [f"No mix for {listed(_refused_names(rows, plans))}: see below."] if refused else []
    least = f"Mix for {count} area{'s' if count > 1 else ''}: see below."
    lengths = [" ".join([*told, *refused]), " ".join([*told, *shorter]), least]
    return list(dict.fromkeys(lengths)), detail


def _mixes(plans: Sequence[MixPlan], system: str) -> list[str]:
    """ "Mix of PRODUCT: front lawn 4.8 fl oz in 3.2 gal; back lawn 8.1 fl oz in 5.4 gal, 2 loads." """
    products: dict[str, list[str]] = {}
    for plan in plans:
        amount = plan.loads[0].product.measure.words(plan.measured)
        inside = ", spread dry" if plan.volume is None else f" in {water(plan.volume, system)}"
        extra = "" if plan.adjuvant_share is None else " with adjuvant"
        loads = "" if len(plan.loads) == 1 else f", {len(plan.loads)} loads"
        products.setdefault(plan.label.product, []).append(f"{plan.area.name} {amount}{inside}{extra}{loads}")
    return [f"Mix of {product}: {'; '.join(areas)}." for product, areas in products.items()]


def _refused_names(rows: Sequence[Row], plans: Sequence[MixPlan]) -> list[str]:
    mixed = {(plan.treatment.id, plan.area.id) for plan in plans}
    return [
        scored.task.area.name
        for scored, day in rows
        if verdict(day) == "go" and (scored.task.treatment.id, scored.task.area.id) not in mixed
    ]


def cautions_of(outlook: Outlook) -> list[str]:
    labels = tuple({scored.task.label.id: scored.task.label for scored in outlook.tasks}.values())
    return cautions(outlook.household, labels)


def area_names(tasks: Sequence[Task]) -> list[str]:
    """Names of the tasks' areas; with the treatment where there are several of them."""
    several = len({task.treatment.id for task in tasks}) > 1
    return [
        f"{_cut(task.area.name)} ({_cut(task.treatment.name)})" if several else _cut(task.area.name)
        for task in tasks
    ]


def _cut(name: str) -> str:
    found = name.split()
    return " ".join(found) if len(found) <= _LONGEST_NAME else " ".join(found[:_LONGEST_NAME]) + "..."


def listed(names: Sequence[str], most: int = MOST_NAMES[0]) -> str:
    """Names joined as one speaks; more than `most` and one are counted."""
    names = list(dict.fromkeys(names))
    if len(names) == 1:
        return names[0]
    if len(names) > most + 1 and most:
        return f"{', '.join(names[:most])} and {len(names) - most} more areas"
    if not most:
        return f"{len(names)} areas"
    return ", ".join(names[:-1]) + " and " + names[-1]



def called(day: date, now: datetime, zone: ZoneInfo) -> str:
    ahead = (day - now.astimezone(zone).date()).days
    name = {0: "today, ", 1: "tomorrow, "}.get(ahead, "")
    return f"{name}{long_date(day)}"


def clock(hour: np.datetime64, zone: ZoneInfo) -> str:
    return from_numpy(hour).astimezone(zone).strftime("%H:%M")
