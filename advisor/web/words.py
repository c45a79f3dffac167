"""Times, margins and answers in the reader's words, for the pages."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from advisor import units
from advisor.clock import from_numpy
from advisor.explain import RuleReason, difference, least_change
from advisor.outlook import Day, TaskOutlook
from advisor.sequence import follow_up_span, overdue_words

ANSWERS = {"go": "Go", "no-go": "No-go", "unknown": "Unknown"}


def clock(moment: np.datetime64 | datetime | None, zone: ZoneInfo) -> str:
    return "" if moment is None else local(moment, zone).strftime("%H:%M")


def local(moment: np.datetime64 | datetime, zone: ZoneInfo) -> datetime:
    return (from_numpy(moment) if isinstance(moment, np.datetime64) else moment).astimezone(zone)


def date_words(day: date) -> str:
    return day.strftime("%a %-d %b")


def long_date(day: date) -> str:
    return day.strftime("%A %-d %B")


def moment_words(moment: datetime | None, zone: ZoneInfo) -> str:
    if moment is None:
        return "not known"
    return local(moment, zone).strftime("%a %-d %b %Y, %H:%M %Z")


def span_words(first: np.datetime64, last: np.datetime64, zone: ZoneInfo) -> str:
    """A window of starts: "10:00 to 12:00", or one hour."""
    return clock(first, zone) if first == last else f"{clock(first, zone)} to {clock(last, zone)}"


def windows_words(day: Day, zone: ZoneInfo) -> str:
    """All windows of a day: "12:00 or 16:00", "10:00 to 12:00"."""
    return " or ".join(span_words(*run, zone) for run in day.windows)


def hours_words(hours: float) -> str:
    """A length of time for the eye: "40 min", "3 h", "5 days"."""
    if hours < 1.0:
        return f"{round(hours * 60)} min"
    if hours < 36.0:
        return f"{round(hours)} h"
    return f"{round(hours / 24.0)} days"


def relative(moment: np.datetime64 | datetime, now: datetime) -> str:
    """ "in 3 h", "5 days ago", "now"."""
    moment = from_numpy(moment) if isinstance(moment, np.datetime64) else moment
    hours = (moment - now) / timedelta(hours=1)
    if abs(hours) < 1 / 60:
        return "now"
    return f"in {hours_words(hours)}" if hours > 0 else f"{hours_words(-hours)} ago"


def margin(reason: RuleReason, system: str) -> str:
    """ "2.6 mph to spare", "2.0 °F short", or nothing where a distance has no meaning."""
    if reason.headroom is None:
        return ""
    amount = units.show(abs(reason.headroom), difference(reason.dimension), system)
    return f"{amount} {'to spare' if reason.headroom >= 0 else 'short'}"


def listed(words: list[str], most: int = 99) -> str:
    if not words:
        return ""
    if len(words) > most:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def decides(day: Day, system: str) -> str:
    """In a few words: the tightest rule with its headroom, or what stands in the way."""
    if not day.candidates:
        return "no start fits your hours"
    if day.verdict == "go":
        tight = day.tightest
        spare = margin(tight, system) if tight else ""
        return f"tightest: {tight.title.lower()}{f', {spare}' if spare else ''}" if tight else ""
    if day.verdict == "unknown":
        if day.too_early:
            return "too early to decide"
        missing = [reason.missing for reason in day.unknown if reason.missing]
        return f"not known: {listed(list(dict.fromkeys(missing)), 3)}" if missing else "not known"
    if len(day.failing) == 1 and len(day.blocked.sole) == 1:
        short = least_change(day.blocked.sole[0], system)
        return f"{day.failing[0].title.lower()} alone{f', {short} short' if short else ''}"
    return listed([reason.title.lower() for reason in day.failing], 3)


def chance_words(day: Day) -> str:
    if day.chance is None or not (day.verdict == "go" or day.too_early):
        return ""
    return f"{day.chance:.0%}"


def task_words(scored: TaskOutlook, now: datetime) -> dict[str, str]:
    """Name, pass and what is wanted of a task."""
    task = scored.task
    zone = task.household.site.zone
    out = {
        "treatment": task.treatment.name,
        "area": task.area.name,
        "pass": f"pass {task.pass_number} of {task.treatment.passes}",
        "wanted": "",
    }
    span = follow_up_span(task)
    if span is not None:
        first, last = (moment.astimezone(zone).date() for moment in span)
        out["wanted"] = f"wanted {date_words(first)} to {date_words(last)}"
        late = overdue_words(task, now)
        out["wanted"] += f", {late}" if late else ""
    return out
