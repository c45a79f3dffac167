"""The almanac as one SVG picture: the weeks, the hours as an engraving, the waits, and what closes days.

Ink on paper with one accent. An hour's share is the breadth of a stroke, so that the field reads as light and dark
hatching; nothing is said by colour alone, and every shape has a title.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from advisor.almanac import Almanac
from advisor.almanac.tables import WEEKS
from advisor.figures.svg import element, number, path, text, title
from advisor.messages.almanac import MONTHS, week_name

WIDTH = 900
_LEFT, _RIGHT = 205, 50
_PLOT = WIDTH - _LEFT - _RIGHT
#: heights of the parts [px]
_HEAD, _WEEKS, _FIELD, _WAITS, _RULE, _GAP = 64, 110, 24 * 9, 80, 34, 46
#: how many rules are drawn, those that close most days of the year
_MOST_RULES = 6
_STYLE = """
.paper{fill:#fbfaf7}.ink{stroke:#22252a;fill:none;stroke-width:1.2}.fill{fill:#22252a}.soft{stroke:#9aa0a6;stroke-width:.7}
.accent{stroke:#12507b;fill:none;stroke-width:2}.accent-fill{fill:#12507b}.words{font:13px Georgia,serif;fill:#22252a}
.small{font:11px Georgia,serif;fill:#4a4f55}.head{font:bold 18px Georgia,serif;fill:#22252a}.end{text-anchor:end}
.mid{text-anchor:middle}.hatch line{stroke:#22252a;stroke-width:1.4}
@media (prefers-color-scheme:dark){.paper{fill:#1b1e22}.ink{stroke:#e6e4df}.fill{fill:#e6e4df}.words,.head{fill:#e6e4df}
.small{fill:#b9bcc0}.soft{stroke:#60666d}.accent{stroke:#9accf0}.accent-fill{fill:#9accf0}.hatch line{stroke:#e6e4df}}
"""


def almanac_picture(one: Almanac, name: str, source: str) -> str:
    """A whole SVG document, readable in grey and without colours."""
    rules = _rules_shown(one)
    height = _HEAD + _WEEKS + _FIELD + _WAITS + len(rules) * _RULE + 4 * _GAP + 20
    task = one.book.task
    heading = f"{task.treatment.name}, {task.area.name}"
    first, last = str(one.book.days[0]), str(one.book.days[-1])
    judged = int(one.judged.sum())
    says = f"Almanac of {heading}, {name}: {one.windows} of {judged} days from {first} to {last} had a window."
    parts = [
        title(says),
        element("desc", _escaped(_described(one))),
        element("style", _STYLE),
        element("defs", _hatch()),
        element("rect", width=WIDTH, height=height, class_="paper"),
        text(f"{heading}: when a window opens", x=20, y=28, class_="head"),
        text(f"{name}. {one.windows:,} of {judged:,} days, {first} to {last}. {source}", x=20, y=48, class_="small"),
    ]  # fmt: skip
    top = _HEAD
    parts.append(_at(top, _weeks(one)))
    top += _WEEKS + _GAP
    parts.append(_at(top, _field(one)))
    top += _FIELD + _GAP
    parts.append(_at(top, _waits(one)))
    top += _WAITS + _GAP
    parts.append(_at(top, _closers(one, rules)))
    return element(
        "svg", *parts, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {WIDTH} {height}", width=WIDTH, height=height,
        role="img", aria_label=says,
    )  # fmt: skip


def _escaped(words: str) -> str:
    from xml.sax.saxutils import escape

    return escape(words)


def _described(one: Almanac) -> str:
    told = [f"{MONTHS[month]}: {_percent(one.by_month[month])} of days" for month in range(12)]
    return "Share of days with a window by month. " + ", ".join(told) + "."


def _at(top: float, parts: Sequence[str]) -> str:
    return element("g", *parts, transform=f"translate({_LEFT},{number(top)})")


def _hatch() -> str:
    line = element("line", x1=0, y1=0, x2=0, y2=5)
    return element("pattern", line, id="almanac-hatch", width=5, height=5, patternUnits="userSpaceOnUse",
                   patternTransform="rotate(45)", class_="hatch")  # fmt: skip


def _percent(share: float) -> str:
    return "unknown" if np.isnan(share) else f"{share:.0%}"


def _heading(words: str, *more: str) -> str:
    small = [text(line, x=-10, y=28 + 15 * at, class_="small end") for at, line in enumerate(more)]
    return text(words, x=-10, y=12, class_="words end") + "".join(small)


def _months_along(height: float) -> list[str]:
    """Month names below, a thin line where each begins; placed by the weeks of a leap year."""
    starts = np.array([0, 31, 60, 91, 121, 152, 182, 213, 244, 274, 305, 335, 366]) / 366.0 * _PLOT
    parts = []
    for month in range(12):
        x = starts[month]
        parts.append(element("line", x1=number(x), x2=number(x), y1=0, y2=height, class_="soft"))
        parts.append(text(MONTHS[month], x=number((x + starts[month + 1]) / 2), y=height + 14, class_="small mid"))
    return parts


def _weeks(one: Almanac) -> list[str]:
    """Share by week: hatched to the share inside the person's hours, a thin step line for any hour of the day."""
    step = _PLOT / WEEKS
    parts = [_heading("days with a window", "hatched: in your hours", "line: at any hour")]
    parts += _months_along(_WEEKS)
    for share in (0.0, 0.5, 1.0):
        y = _WEEKS * (1.0 - share)
        parts.append(element("line", x1=0, x2=_PLOT, y1=number(y), y2=number(y), class_="soft"))
        parts.append(text(f"{share:.0%}", x=_PLOT + 2, y=number(y + 4 - 4 * share), class_="small"))
    for week in range(WEEKS):
        share = one.by_week[week]
        own, any_hour = _percent(share), _percent(one.by_week_any_hour[week])
        says = f"Week of {week_name(week)}: {own} of days in your hours, {any_hour} at any hour"
        tall = 0.0 if np.isnan(share) else _WEEKS * share
        parts.append(
            element("rect", title(says), x=number(week * step), y=number(_WEEKS - tall), width=number(step),
                    height=number(max(tall, 0.01)), fill="url(#almanac-hatch)")
        )  # fmt: skip
        if tall:
            parts.append(element("line", x1=number(week * step), x2=number((week + 1) * step), y1=number(_WEEKS - tall),
                                 y2=number(_WEEKS - tall), class_="accent"))  # fmt: skip
    line: list[list[tuple[float, float]]] = [[]]
    for week in range(WEEKS):
        share = one.by_week_any_hour[week]
        if np.isnan(share):
            line.append([])
            continue
        y = _WEEKS * (1.0 - float(share))
        line[-1] += [(week * step, y), ((week + 1) * step, y)]
    parts.append(element("path", d=path(line), class_="ink"))
    return parts


def _field(one: Almanac) -> list[str]:
    """A stroke for each week and local hour, as broad as the share of days on which that start would have gone."""
    step, row = _PLOT / WEEKS, _FIELD / 24
    parts = [_heading("start, by local hour", "stroke: share of days")]
    parts += _months_along(_FIELD)
    for hour in range(0, 25, 6):
        y = hour * row
        parts.append(element("line", x1=0, x2=_PLOT, y1=number(y), y2=number(y), class_="soft"))
        parts.append(text(f"{hour:02d}:00", x=_PLOT + 4, y=number(min(max(y + 4, 9), _FIELD)), class_="small"))
    for first, last in _own_hours(one):
        parts.append(element("line", title(f"your hours, {_clock(first)} to {_clock(last)}"), x1=-4, x2=-4,
                             y1=number(first * row), y2=number(last * row), class_="accent"))  # fmt: skip
    for week in range(WEEKS):
        for hour in range(24):
            share = one.by_week_and_hour[week, hour]
            if not share >= 0.005:
                continue
            broad = 0.3 + 4.2 * math.sqrt(float(share))
            says = f"Week of {week_name(week)}, {hour:02d}:00: {share:.0%} of days"
            x, y = week * step, hour * row
            parts.append(
                element("line", title(says), x1=number(x + 2), x2=number(x + step - 2), y1=number(y + row - 1.5),
                        y2=number(y + 1.5), class_="ink", style=f"stroke-width:{number(broad)}")
            )  # fmt: skip
    return parts


def _own_hours(one: Almanac) -> list[tuple[float, float]]:
    """Clock spans of the household, those of any weekday merged."""
    spans = sorted(
        (opens.hour + opens.minute / 60.0, (closes.hour + closes.minute / 60.0) if closes > opens else 24.0)
        for day in one.book.task.household.hours.values()
        for opens, closes in day
    )
    merged: list[tuple[float, float]] = []
    for first, last in spans:
        if merged and first <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], last))
        else:
            merged.append((first, last))
    return merged


def _clock(hour: float) -> str:
    return f"{int(hour):02d}:{round(hour % 1 * 60):02d}"


def _waits(one: Almanac) -> list[str]:
    """Days to the next window by month: a thick mark at half of all days, a thin line on to nine of ten."""
    known = one.wait_nine_of_ten[np.isfinite(one.wait_nine_of_ten)]
    top = max(float(known.max(initial=1.0)), 1.0)
    parts = [_heading("days to the next window", "mark: half of all days", "line: nine of ten")]
    parts += _months_along(_WAITS)
    for share in (0.0, 1.0):
        y = _WAITS * (1.0 - share)
        parts.append(text(f"{share * top:.0f}", x=_PLOT + 2, y=number(y + 4 + 4 * share), class_="small"))
    for month in range(12):
        half, most = one.wait_median[month], one.wait_nine_of_ten[month]
        if np.isnan(half):
            continue
        x = (month + 0.5) / 12 * _PLOT
        low, high = _WAITS * (1.0 - half / top), _WAITS * (1.0 - most / top)
        says = f"{MONTHS[month]}: half of the days wait at most {half:.0f} days, nine of ten at most {most:.0f}"
        parts.append(element("line", title(says), x1=number(x), x2=number(x), y1=_WAITS, y2=number(high), class_="ink"))
        mark = {"x1": number(x - 9), "x2": number(x + 9), "y1": number(low), "y2": number(low)}
        parts.append(element("line", title(says), **mark, class_="accent"))
    return parts


def _rules_shown(one: Almanac) -> list[int]:
    weight = np.nansum(one.closes, axis=1) if len(one.closes) else np.zeros(0)
    order = sorted(range(len(weight)), key=lambda at: (-weight[at], one.book.rules[at]))
    return [at for at in order[:_MOST_RULES] if weight[at] > 0.0]


def _closers(one: Almanac, rules: Sequence[int]) -> list[str]:
    """A row a rule: hatched to the share of days it closes, solid accent for the days on which it alone does."""
    parts = [text("what closes days (hatched), and alone (solid)", x=0, y=-8, class_="small")]
    for row, at in enumerate(rules):
        base = row * _RULE + _RULE - 8
        parts.append(text(one.book.titles[at].lower(), x=-10, y=number(base - 6), class_="words end"))
        parts.append(element("line", x1=0, x2=_PLOT, y1=base, y2=base, class_="soft"))
        for month in range(12):
            share, alone = one.closes[at, month], one.alone[at, month]
            if not share > 0.0 and not alone > 0.0:
                continue
            x, wide = month / 12 * _PLOT + 4, _PLOT / 12 - 8
            says = f"{one.book.titles[at]}, {MONTHS[month]}: closes {share:.0%} of days, alone {alone:.0%}"
            tall, solid = (_RULE - 12) * float(share), (_RULE - 12) * float(alone)
            parts.append(element("rect", title(says), x=number(x), y=number(base - tall), width=number(wide),
                                 height=number(tall), fill="url(#almanac-hatch)"))  # fmt: skip
            parts.append(element("rect", title(says), x=number(x), y=number(base - solid), width=number(wide),
                                 height=number(solid), class_="accent-fill"))  # fmt: skip
    return parts
