"""The outlook and the case for or against a day, as lines of text for a terminal 80 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np

from advisor import units
from advisor.clock import from_numpy
from advisor.explain import Blocker, RuleReason, difference, least_change
from advisor.forecast import AGE_ASSUMED, REASON_TEXT, Reason
from advisor.messages.cautions import SHORT_CAUTION
from advisor.messages.waiting import waiting_sentence
from advisor.messages.weather_text import credit, weather_notes
from advisor.messages.wording import wrap
from advisor.outlook import Day, Outlook, TaskOutlook
from advisor.sequence import progress

WORDS = {"go": "GO", "no-go": "no-go", "unknown": "unknown"}


def head(outlook: Outlook) -> list[str]:
    """Where, when, and how old the forecast is: the lines that stand over every answer."""
    site, provenance = outlook.household.site, outlook.forecast.provenance
    age = provenance.age_hours(outlook.now)
    since = "issued" if provenance.issued_at else "fetched"
    aged = "age unknown" if age is None else f"{since} {_ago(age)}"
    if AGE_ASSUMED in provenance.notes:
        aged = "age not stated, taken as fetched now"
    local = outlook.now.astimezone(site.zone)
    lines = [
        f"{outlook.household.name}, {local.strftime('%A %-d %B %Y, %H:%M')} {local.tzname()}",
        f"Forecast: {credit(provenance)}, {aged}",
    ]
    if provenance.spread != "none":
        lines.append(f"Chances: {provenance.spread}, {outlook.forecast.members} members")
    return lines


def outlook_text(outlook: Outlook, width: int = 80) -> str:
    """One screen: every task with its days, verdict, best start, chance, tightest rule and headroom."""
    lines = head(outlook)
    if not outlook.tasks:
        return "\n".join(
            [*lines, "", "No pass is open: every treatment's sequence is complete for this year."]
        )
    for scored in outlook.tasks:
        lines += ["", *(wrap(line, width, "", "  ") for line in task_head(scored, outlook.now))]
        lines.append(f"  {'day':<10}  {'answer':<8} {'start between':<14} {'chance':>6}  what decides")
        for day in scored.days:
            lines += _day_lines(day, outlook, width)
        lines += _waiting_lines(scored, outlook, width)
    asks = _unknowns(outlook)
    if asks:
        lines += [
            "",
            "Not known yet:",
            *(wrap(_what_is_missing(text), width, "  - ", "    ") for text in asks),
        ]
    notes = weather_notes(outlook.forecast.provenance)
    if notes:
        lines += ["", "Of the weather:", *(wrap(note, width, "  - ", "    ") for note in notes)]
    lines += ["", wrap(SHORT_CAUTION, width), "Why a day came out so: advisor why " + _first_no(outlook)]
    return "\n".join(lines)


def task_head(scored: TaskOutlook, now: datetime) -> list[str]:
    task = scored.task
    title = f"{task.treatment.name}, {task.area.name}: pass {task.pass_number} of {task.treatment.passes}"
    told = progress(task, now)
    return [title if told == "first pass" else f"{title} ({told})"]


def _waiting_lines(scored: TaskOutlook, outlook: Outlook, width: int) -> list[str]:
    today = outlook.now.astimezone(outlook.household.site.zone).date()
    found = scored.waiting(today)
    return [] if found is None else [wrap(waiting_sentence(found, today), width, "  ", "  ")]


def _day_lines(day: Day, outlook: Outlook, width: int) -> list[str]:
    zone = outlook.household.site.zone
    name = day.day.strftime("%a %-d %b")
    start = windows_text(day, zone)
    chance = "" if day.chance is None or not (day.verdict == "go" or day.too_early) else f"{day.chance:.0%}"
    decides = _decides(day, outlook.household.units)
    lead = f"  {name:<10}  {WORDS[day.verdict]:<8} {start:<14} {chance:>6}  "
    return textwrap.wrap(decides, width, initial_indent=lead, subsequent_indent=" " * len(lead)) or [
        lead.rstrip()
    ]


def windows_text(day: Day, zone, words: str = "-") -> str:
    """The runs of go starts of a day: "10:00-12:00, 16:00"."""
    runs = [
        _clock(first, zone) if first == last else f"{_clock(first, zone)}{words}{_clock(last, zone)}"
        for first, last in day.windows
    ]
    return ", ".join(runs)


def _decides(day: Day, system: str) -> str:
    """In a few words: the tightest rule with its headroom, or what stands in the way."""
    if not day.candidates:
        return "no start fits your hours"
    if day.verdict == "unknown":
        if day.too_early and day.chance is not None:
            return "too early to decide"
        missing = list(dict.fromkeys(reason.missing for reason in day.unknown))
        return f"not known: {_joined(missing)}" if missing else "not known"
    if day.verdict == "no-go":
        if len(day.failing) == 1 and len(day.blocked.sole) == 1:
            return f"{day.failing[0].title.lower()}, alone{_short_of(day.blocked.sole[0], system)}"
        return _names(day.failing)
    tight = day.tightest
    return f"tightest: {tight.title.lower()}{_spare(tight, system)}" if tight else ""


def _names(reasons: Sequence[RuleReason]) -> str:
    return _joined([reason.title.lower() for reason in reasons])


def _joined(words: list[str]) -> str:
    shown = ", ".join(words[:3])
    return shown if len(words) <= 3 else f"{shown} and {len(words) - 3} more"


def _short_of(blocker: Blocker, system: str) -> str:
    return "" if blocker.change is None else f" ({least_change(blocker, system)} short)"


def _spare(reason: RuleReason, system: str) -> str:
    if reason.headroom is None:
        return f" (kept at {reason.chance:.0%})" if reason.chance < 1.0 else ""
    return f" ({_margin(reason.headroom, reason, system)} to spare)"


def _margin(value: float, reason: RuleReason, system: str) -> str:
    return units.show(value, difference(reason.dimension), system)


#: how many of the rules that are far from their limits are named
_CLEAR_NAMED = 6


def why_text(outlook: Outlook, scored: TaskOutlook, day: Day, width: int = 80) -> str:
    """The case of one day in one screen: the answer, what blocks, what would have to change, and what holds."""
    zone, system = outlook.household.site.zone, outlook.household.units
    lines = [
        f"{day.day.strftime('%A %-d %B')}, {scored.task.treatment.name}, {scored.task.area.name}: {WORDS[day.verdict]}"
    ]
    shown = (
        from_numpy(day.shown_start).astimezone(zone).strftime("%H:%M")
        if day.shown_start is not None
        else None
    )
    failing, unknown = day.failing, day.unknown
    kept = [reason for reason in day.reasons if reason.verdict == "go"]
    if not day.candidates:
        lines.append(wrap(f"No start on this day lies inside your hours. For {shown}, the nearest:", width))
    elif day.verdict == "go":
        lines.append(
            wrap(f"Best start {shown}; the chance that everything holds is {day.chance:.0%}.", width)
        )
    else:
        chance = f"; the chance that everything holds is {day.chance:.0%}" if day.too_early else ""
        lines.append(wrap(f"Seen for a start at {shown}, which comes nearest to a go{chance}.", width))
    if failing:
        lines += ["", "What keeps it open:" if day.too_early else "Against it:"]
        for reason in failing:
            lines += _case(reason, width, "?" if day.too_early else "x")
    if unknown:
        lines += ["", "Not known:"]
        for reason in unknown:
            lines.append(wrap(f"{reason.title}. {_what_is_missing(reason.text)}", width, "  ? ", "    "))
    if day.verdict != "go":
        change = _change(scored, day, outlook, failing, unknown, width)
        lines += ["", *change] if change else []
    if kept:
        lines += ["", "It hinges on:" if day.verdict == "go" else "What holds, the tightest first:"]
        for reason in kept[:5]:
            lines.append(
                wrap(f"{reason.title}: {reason.text}{_of_spread(reason, system)}", width, "  + ", "    ")
            )
        if len(kept) > 5:
            more = [reason.title.lower() for reason in kept[5:]]
            rest = ", ".join(more[:_CLEAR_NAMED])
            if len(more) > _CLEAR_NAMED:
                rest += f" and {len(more) - _CLEAR_NAMED} more (--json tells of each)"
            lines.append(wrap(f"also clear: {rest}", width, "    ", "    "))
    lines += ["", *head(outlook)[1:], wrap(SHORT_CAUTION, width)]
    return "\n".join(lines)


def _case(reason: RuleReason, width: int, mark: str) -> list[str]:
    return [
        wrap(f"{reason.title} ({reason.kind}). {reason.text}", width, f"  {mark} ", "    "),
        wrap(f"Limit from {reason.source}.", width, "    ", "    "),
        wrap(f"If one went anyway: {reason.anyway}", width, "    ", "    "),
    ]


def _change(scored: TaskOutlook, day: Day, outlook: Outlook, failing: Sequence[RuleReason],
            unknown: Sequence[RuleReason], width: int) -> list[str]:  # fmt: skip
    decided = decided_from(day, outlook)
    if decided:
        text = f"A later forecast: this day is decided {decided}."
        return ["What would change it:", wrap(text, width, "  > ", "    ")]
    reached = reached_from(scored, day, outlook)
    if reached:
        text = f"A later forecast: from about {reached} on it should reach to the end of what is asked."
        return ["What would change it:", wrap(text, width, "  > ", "    ")]
    if day.blocked.sole:
        return [
            "What would change it:",
            *(wrap(blocker.text, width, "  > ", "    ") for blocker in day.blocked.sole),
        ]
    if day.blocked.together:
        titles = {reason.rule: reason.title.lower() for reason in day.reasons}
        names = ", ".join(titles.get(rule, rule) for rule in day.blocked.together)
        return ["What would change it:", wrap(f"Only these together: {names}.", width, "  > ", "    ")]
    if unknown and not failing:
        return [
            "What would change it:",
            wrap(
                "The missing answers above; nothing that is known stands in the way.", width, "  > ", "    "
            ),
        ]
    return []


def decided_from(day: Day, outlook: Outlook) -> str:
    """When a day that is too early to decide comes within the decision horizon; empty for other days."""
    first = decided_at(day, outlook)
    if first is None:
        return ""
    told = first.astimezone(outlook.household.site.zone).strftime("%a %-d %b %H:%M")
    return f"{outlook.household.settings.horizon_hours:g} h before the start, from {told} on"


def decided_at(day: Day, outlook: Outlook) -> datetime | None:
    if not day.too_early or day.shown_start is None:
        return None
    return from_numpy(day.shown_start) - timedelta(hours=outlook.household.settings.horizon_hours)


def reached_from(scored: TaskOutlook, day: Day, outlook: Outlook) -> str:
    """From which day on what lies after the end of the data should be told; empty for other days."""
    first = reached_on(scored, day, outlook)
    return "" if first is None else f"{first:%a %-d %b}"


def reached_on(scored: TaskOutlook, day: Day, outlook: Outlook) -> date | None:
    """The day on which a forecast that reaches as far as the present one should tell all of a day whose end lies after
    the present data."""
    after = REASON_TEXT[Reason.AFTER_END]
    if day.verdict != "unknown" or not any(after in reason.text for reason in day.unknown):
        return None
    today = outlook.now.astimezone(outlook.household.site.zone).date()
    told = [one.day for one in scored.days if one.day < day.day and one.candidates and not one.unknown]
    return day.day - (max(told) - today) if told else None


def _of_spread(reason: RuleReason, system: str) -> str:
    if reason.headroom is None or not np.isfinite(reason.standing):
        return f" The chance of it is {reason.chance:.0%}." if reason.chance < 1.0 else ""
    spare = _margin(reason.headroom, reason, system)
    return f" To spare: {spare}, {reason.standing:.1f} times the forecast's usual error."


def _unknowns(outlook: Outlook) -> list[str]:
    """Each missing thing once, the first time that it is missed."""
    told: dict[str, str] = {}
    for scored in outlook.tasks:
        for day in scored.days:
            for reason in day.unknown if day.verdict == "unknown" else ():
                told.setdefault(reason.missing, reason.text)
    return list(told.values())[:6]


def _what_is_missing(text: str) -> str:
    """The sentence as it stands under a heading that says already that this is not known."""
    bare = text.removeprefix("Not known: ")
    return bare[:1].upper() + bare[1:]


def _first_no(outlook: Outlook) -> str:
    for wanted in ("no-go", "unknown", "go"):
        for scored in outlook.tasks:
            for day in scored.days:
                if day.verdict == wanted and day.candidates:
                    return day.day.isoformat()
    return outlook.now.date().isoformat()


def _clock(hour: np.datetime64, zone) -> str:
    return from_numpy(hour).astimezone(zone).strftime("%H:%M")


def _ago(hours: float) -> str:
    length = f"{abs(hours) * 60:.0f} min" if abs(hours) < 1 else f"{abs(hours):.0f} h"
    return f"{length} ago" if hours >= 0 else f"{length} in the future by this clock"
