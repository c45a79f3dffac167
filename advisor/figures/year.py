"""A year of shares, such as how often a day has a window: one row over the months."""

from __future__ import annotations

from calendar import month_abbr
from collections.abc import Sequence
from datetime import date

import numpy as np

from advisor.figures.frame import runs_of
from advisor.figures.svg import element, path, percent, text, title

HEIGHT, AXIS_HEIGHT = 64, 24
_TOP, _FOOT = 8, 58
#: a leap year, so that every day of any year has its place
_YEAR = 2024
DAYS = 366


def year_svg(shares: Sequence[float | None], today: date, says: str) -> str:
    """A curve of 366 shares from 0 to 1, the first of January first; None leaves a gap."""
    values = np.array([np.nan if one is None else one for one in shares], dtype=float)

    def y(share: float) -> float:
        return _FOOT - share * (_FOOT - _TOP)

    known = runs_of(~np.isnan(values))
    area = path([[(a, y(0.0)), *((at + 0.5, y(values[at])) for at in range(a, b)), (b, y(0.0))] for a, b in known],
                closed=True)  # fmt: skip
    line = path([[(at + 0.5, y(values[at])) for at in range(a, b)] for a, b in known])
    parts = [_upright("midnight", _at(date(_YEAR, month, 1)), 0, HEIGHT) for month in range(2, 13)]
    for share in (0.5, 1.0):
        parts.append(element("line", x1=0, x2="100%", y1=y(share), y2=y(share), class_="minor"))
        parts.append(text(f"{share:.0%}", x=2, y=y(share) + 11, class_="tick"))
    for first, stop in runs_of(np.isnan(values)):
        parts.append(element("rect", x=percent(first / DAYS), width=percent((stop - first) / DAYS), y=_TOP,
                             height=_FOOT - _TOP, fill="url(#dots)"))  # fmt: skip
    if line:
        curves = element("path", d=area, class_="band") + element("path", d=line, class_="value")
        parts.append(element("svg", curves, viewBox=f"0 0 {DAYS} {HEIGHT}", preserveAspectRatio="none", x=0, y=0,
                             width="100%", height=HEIGHT))  # fmt: skip
    parts.append(_upright("now", _at(today), 0, HEIGHT))
    for month in range(1, 13):
        first, stop = month_days(month)
        mean = month_mean(values, month)
        words = f"{month_abbr[month]}: {'not known' if mean is None else f'{mean:.0%} of days'}"
        parts.append(element("rect", title(words), x=percent(first / DAYS), width=percent((stop - first) / DAYS), y=0,
                             height=HEIGHT, class_="target"))  # fmt: skip
    return element("svg", *parts, class_="fig year", width="100%", height=HEIGHT, role="img", aria_label=says,
                   focusable="false")  # fmt: skip


def year_axis_svg(today: date) -> str:
    """The months by name."""
    parts = []
    for month in range(1, 13):
        first, stop = month_days(month)
        parts.append(text(month_abbr[month], x=percent((first + stop) / 2 / DAYS), y=15, class_="day"))
        if month > 1:
            parts.append(_upright("midnight", first / DAYS, 0, AXIS_HEIGHT))
    parts.append(_upright("now", _at(today), 0, AXIS_HEIGHT))
    return element("svg", element("g", *parts, class_="centred"), class_="fig axis", width="100%", height=AXIS_HEIGHT,
                   aria_hidden="true", focusable="false")  # fmt: skip


def month_days(month: int) -> tuple[int, int]:
    """First day of a month and of the next one, counted from the first of January of a leap year."""
    first = date(_YEAR, month, 1).timetuple().tm_yday - 1
    return first, DAYS if month == 12 else date(_YEAR, month + 1, 1).timetuple().tm_yday - 1


def month_mean(shares, month: int) -> float | None:
    first, stop = month_days(month)
    values = np.array([np.nan if one is None else one for one in shares[first:stop]], dtype=float)
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else None


def _at(day: date) -> float:
    return (date(_YEAR, day.month, day.day).timetuple().tm_yday - 0.5) / DAYS


def _upright(name: str, share: float, top: float, bottom: float) -> str:
    return element("line", x1=percent(share), x2=percent(share), y1=top, y2=bottom, class_=name)
