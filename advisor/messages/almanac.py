"""The almanac as text for a terminal and as JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np

from advisor.almanac import Almanac
from advisor.almanac.tables import WEEKS
from advisor.clock import iso
from advisor.model import Household

SCHEMA_ID = "advisor.almanac/1"
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
#: local hours that the terminal's table shows; the rest of the day is in --json and in the picture
SHOWN_HOURS = range(6, 21)


def almanac_text(
    household: Household, almanacs: Sequence[Almanac], source: str, notes: Sequence[str], width: int = 80
) -> str:
    """Every task: months with waits and closing rules, weeks, and the hours at which a start would have gone."""
    first, last = _span(almanacs)
    days = max(one.days for one in almanacs)
    lines = [
        f"{household.name}: {days:,} days, {_day(first)} to {_day(last)}",
        *_wrapped(f"Weather: {source}", width),
    ]
    lines += [line for note in notes for line in _wrapped(f"Note: {note}.", width)]
    lines += _wrapped(
        "A day has a window when some start inside your hours would have kept every rule that the weather decides; "
        "intervals, totals and the label's paper are not counted here.", width)  # fmt: skip
    for one in almanacs:
        task = one.book.task
        lines += ["", f"{task.treatment.name}, {task.area.name}: {one.windows:,} of {int(one.judged.sum()):,} days"]
        lines += _months(one, width)
        lines += ["", "  Share of days with a window, by week:", *_weeks(one.by_week)]
        lines += ["", "  Share of days on which a start would have gone, by local hour:", *_hours(one)]
        lines += _left_out(one, width)
    return "\n".join(lines)


def _span(almanacs: Sequence[Almanac]) -> tuple[date, date]:
    first = min(one.book.days[0] for one in almanacs).astype(object)
    return first, max(one.book.days[-1] for one in almanacs).astype(object)


def _months(one: Almanac, width: int) -> list[str]:
    lines = ["  month  days judged  window  any hour   wait: mean   half  nine of ten"]
    any_hour = _any_hour_by_month(one)
    for month in range(12):
        shares = f"{_percent(one.by_month[month]):>7} {_percent(any_hour[month]):>9}"
        waits = (one.wait_mean[month], one.wait_median[month], one.wait_nine_of_ten[month])
        mean, half, most = (_days(wait) for wait in waits)
        lines.append(f"  {MONTHS[month]:<5} {one.judged[month]:>12,} {shares} {mean:>12} {half:>6} {most:>12}")
    unknown = int(one.unknown.sum())
    if unknown:
        lines.append(f"  {unknown:,} days could not be judged for want of data.")
    if one.windows:
        lines.append(f"  The longest wait for a window was {one.longest_wait:,} days.")
    lines += ["", "  What closes most days:"]
    for month in range(12):
        closes = ", ".join(f"{title.lower()} {share:.0%}" for title, share in one.closers(month + 1))
        lead = f"    {MONTHS[month]:<5}"
        lines += textwrap.wrap(closes or "nothing", width, initial_indent=lead, subsequent_indent=" " * len(lead))
    return lines


def _any_hour_by_month(one: Almanac) -> np.ndarray:
    month = one.book.days.astype("datetime64[M]").astype(int) % 12
    known = one.book.any_hour >= 0
    total = np.bincount(month[known], minlength=12)
    found = np.bincount(month[one.book.any_hour == 1], minlength=12)
    return np.where(total > 0, found / np.maximum(total, 1), np.nan)


def _weeks(shares: np.ndarray) -> list[str]:
    """Four weeks a column group, thirteen rows: down, then across."""
    names = [week_name(week) for week in range(WEEKS)]
    rows = []
    for row in range(13):
        cells = [f"{names[at]:>6} {_percent(shares[at]):>4}" for at in range(row, WEEKS, 13)]
        rows.append("    " + "     ".join(cells))
    return rows


def week_name(week: int) -> str:
    """First day of a week, of a leap year: 1 Jan, 8 Jan, ..."""
    day = date(2024, 1, 1) + timedelta(days=7 * week)
    return f"{day.day} {MONTHS[day.month - 1]}"


def _hours(one: Almanac) -> list[str]:
    lines = ["    hour " + "".join(f"{hour:>4}" for hour in SHOWN_HOURS)]
    for month in range(12):
        cells = (one.by_month_and_hour[month, hour] for hour in SHOWN_HOURS)
        lines.append(f"    {MONTHS[month]:<5}" + "".join(f"{_bare_percent(share):>4}" for share in cells))
    return lines


def _left_out(one: Almanac, width: int) -> list[str]:
    if not one.book.left_out:
        return []
    told = "; ".join(f"{rule} ({missing})" for rule, missing in one.book.left_out.items())
    says = f"Left out for want of what they need, so that windows are rarer than shown: {told}."
    return ["", *_wrapped(says, width, "  ")]


def _percent(share: float) -> str:
    return "?" if np.isnan(share) else f"{share:.0%}"


def _bare_percent(share: float) -> str:
    if np.isnan(share):
        return "?"
    return "." if share < 0.005 else f"{100 * share:.0f}"


def _days(value: float) -> str:
    return "?" if np.isnan(value) else f"{value:.0f} d"


def _day(day: date) -> str:
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def _wrapped(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent)


def almanac_object(
    household: Household, almanacs: Sequence[Almanac], source: str, notes: Sequence[str], now: datetime
) -> dict[str, Any]:
    """The object that `advisor almanac --json` prints: shares from 0 to 1, null where the years do not tell."""
    first, last = _span(almanacs)
    return {
        "schema": SCHEMA_ID,
        "generated_at": iso(now),
        "site": {
            "name": household.site.name,
            "latitude": household.site.latitude,
            "longitude": household.site.longitude,
            "time_zone": household.site.zone.key,
        },
        "history": {
            "source": source,
            "first_day": first.isoformat(),
            "last_day": last.isoformat(),
            "notes": list(notes),
        },
        "treatments": [_task_object(one) for one in almanacs],
    }


def _task_object(one: Almanac) -> dict[str, Any]:
    book, any_hour = one.book, _any_hour_by_month(one)
    return {
        "treatment": book.task.treatment.id,
        "area": book.task.area.id,
        "days": one.days,
        "days_judged": int(one.judged.sum()),
        "days_unknown": int(one.unknown.sum()),
        "days_with_window": one.windows,
        "longest_wait_days": one.longest_wait,
        "by_week": [
            {
                "first_day": _month_day(week),
                "window": _share(one.by_week[week]),
                "any_hour": _share(one.by_week_any_hour[week]),
                "by_local_hour": _shares(one.by_week_and_hour[week]),
            }
            for week in range(WEEKS)
        ],
        "by_month": [
            {
                "month": month + 1,
                "days_judged": int(one.judged[month]),
                "days_unknown": int(one.unknown[month]),
                "window": _share(one.by_month[month]),
                "any_hour": _share(any_hour[month]),
                "by_local_hour": _shares(one.by_month_and_hour[month]),
                "wait_mean_days": _share(one.wait_mean[month]),
                "wait_median_days": _share(one.wait_median[month]),
                "wait_nine_of_ten_days": _share(one.wait_nine_of_ten[month]),
                "closes": [
                    {
                        "rule": rule,
                        "title": title,
                        "days": _share(one.closes[at, month]),
                        "alone": _share(one.alone[at, month]),
                    }
                    for at, (rule, title) in enumerate(zip(book.rules, book.titles, strict=True))
                    if one.closes[at, month] > 0.0 or one.alone[at, month] > 0.0
                ],
            }
            for month in range(12)
        ],
        "near_day": _shares(one.near_day),
        "left_out": dict(book.left_out),
    }  # fmt: skip


def _month_day(week: int) -> str:
    return (date(2024, 1, 1) + timedelta(days=7 * week)).strftime("%m-%d")


def _share(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 4)


def _shares(values: np.ndarray) -> list[float | None]:
    return [_share(value) for value in values]
