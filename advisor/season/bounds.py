"""The days that bound a season: the label's own year, and the last day on which a pass still makes sense."""

from __future__ import annotations

from calendar import monthrange
from datetime import date, datetime, timedelta

from advisor.model import Task

#: how long after the mean first frost a pass still makes sense (published for perennials; the length is common
#: practice, no source)
AFTER_FIRST_FROST = timedelta(days=28)
#: for so long after a year's last day that day still counts; later it is the next year's [days]
SEASON_OVER_DAYS = 120


def recurring_day(year: int, month: int, day: int) -> date:
    """A calendar day that comes round each year; 29 February is the 28th in common years."""
    return date(year, month, min(day, monthrange(year, month)[1]))


def label_year(task: Task, now: datetime) -> tuple[date, date]:
    """[first, next first) day of the label's year that holds `now`."""
    today = now.astimezone(task.household.site.zone).date()
    month, day = task.label.year_starts
    first = recurring_day(today.year, month, day)
    if today < first:
        first = recurring_day(today.year - 1, month, day)
    return first, recurring_day(first.year + 1, month, day)


def latest_day(task: Task, now: datetime) -> date | None:
    """The last sensible day: the treatment's own, else four weeks after the site's mean first frost."""
    if task.treatment.latest is not None:
        return task.treatment.latest
    frost = task.household.site.first_frost
    if frost is None:
        return None
    today = now.astimezone(task.household.site.zone).date()
    latest = recurring_day(today.year, *frost) + AFTER_FIRST_FROST
    # In the months after the year's last day the next frost is the one that counts.
    if (today - latest).days < SEASON_OVER_DAYS:
        return latest
    return recurring_day(today.year + 1, *frost) + AFTER_FIRST_FROST
