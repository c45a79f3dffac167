"""When a treatment's season comes round again, by its own date, the weeds' months, or the label's year."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from advisor.growth.weeds import UnknownWeed, Weed, find_weed
from advisor.model import Task
from advisor.season import label_year, recurring_day


def weeds_of(target: str) -> tuple[list[Weed], list[str]]:
    """The weeds that a treatment names, and the names that are not in the table."""
    found, unknown = [], []
    for name in (part.strip() for part in target.split(",")):
        if not name:
            continue
        try:
            found.append(find_weed(name))
        except UnknownWeed:
            unknown.append(name)
    return found, unknown


def months_to_treat(weeds: Sequence[Weed], southern: bool) -> list[int]:
    """Months, 1 to 12, in which a treatment suits most of the weeds; none where no weed is known."""
    if not weeds:
        return []
    counts = {month: sum(month in weed.treat for weed in weeds) for month in range(1, 13)}
    most = max(counts.values())
    months = [month for month, count in counts.items() if count == most]
    return months_at(months, southern)


def months_at(months: Sequence[int], southern: bool) -> list[int]:
    """Months of the table of weeds as they fall at a site, in order; half a year later in the south."""
    return sorted((month + 5) % 12 + 1 for month in months) if southern else sorted(months)


def next_season(task: Task, now: datetime) -> tuple[date, str]:
    """(first day, why) of the next season, in a later label year than today's.

    The day of the treatment's own `start_from`, moved on by years; else the first of the months that suit most of its
    weeds; else the label year's first day.
    """
    today = now.astimezone(task.household.site.zone).date()
    _, following = label_year(task, now)
    start = task.treatment.start_from
    if start is not None:
        day = recurring_day(following.year, start.month, start.day)
        while day < following or day <= today:
            day = recurring_day(day.year + 1, start.month, start.day)
        return day, "that is when the treatment began this year"
    weeds, _ = weeds_of(task.treatment.target)
    months = months_to_treat(weeds, task.household.site.latitude < 0)
    if months:
        for year in (following.year, following.year + 1):
            begins = [date(year, month, 1) for month in months if _begins(month, months)]
            later = [day for day in begins if day >= following and day > today]
            if later:
                names = ", ".join(weed.common_name for weed in weeds)
                return min(later), f"from that month on most of {names} can be treated again"
    return following, "that is when the next label year begins"


def _begins(month: int, months: Sequence[int]) -> bool:
    """Whether a month is the first of a run of months."""
    return (month - 2) % 12 + 1 not in months or len(months) == 12 and month == 1
