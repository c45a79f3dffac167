"""The rows of the week: days and hours along the top, windows in brackets, then a row a rule.

Read down a column: a start there meets every row's value. Where a row's value passes its limit the space between is
hatched; where the rule stands against a start at one of the person's hours a bar lies at the foot of the row, thin at
other hours, dotted where it is not known.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

import numpy as np

from advisor.figures.frame import Frame, clock_text, local, runs_of
from advisor.figures.panels import Panel
from advisor.figures.svg import element, number, path, percent, text, title
from advisor.verdict import NO_GO, UNKNOWN

#: heights of a row with a line, of one without, of the days' row and of a row of windows [px]
LINE_HEIGHT, STRIP_HEIGHT, AXIS_HEIGHT, WINDOW_HEIGHT = 58, 18, 34, 30
_FOOT = 7
_TOP = 10


def patterns_svg() -> str:
    """The hatchings that all figures of a page refer to; put once on a page, before the figures."""
    return element(
        "svg",
        element(
            "defs",
            _lines("hatch", 5, 45, "hatch-ink", 1.3),
            _lines("hatch-fine", 4, 45, "hatch-soft", 0.9),
            _lines("night", 3, 90, "hatch-night", 1.0),
            element(
                "pattern",
                element("circle", cx=1.5, cy=1.5, r=1.0, class_="dot"),
                id="dots", width=6, height=6, patternUnits="userSpaceOnUse",
            ),
        ),
        class_="patterns", width=0, height=0, aria_hidden="true", focusable="false",
    )  # fmt: skip


def _lines(name: str, step: int, slant: int, class_: str, width: float) -> str:
    line = element("line", x1=0, y1=0, x2=0, y2=step, class_=class_, stroke_width=width)
    return element("pattern", line, id=name, width=step, height=step, patternUnits="userSpaceOnUse",
                   patternTransform=f"rotate({slant})" if slant != 90 else None)  # fmt: skip


def axis_svg(frame: Frame, zone, link: Callable[[date], str] | None = None, *, hourly: bool = False) -> str:
    """The local days, or the hours of one day; days lead to their reasons."""
    parts = [*_nights(frame, AXIS_HEIGHT), *_day_lines(frame, AXIS_HEIGHT)]
    if hourly:
        for at in range(len(frame)):
            hour = local(frame.hours[at], zone).hour
            if hour % 3 == 0:
                parts.append(text(f"{hour:02d}", x=percent(frame.share(at)), y=27, class_="tick", dx=2))
                parts.append(_upright("minor", frame.share(at), 24, AXIS_HEIGHT))
    for day, first, stop in frame.days:
        if stop - first < 8:
            continue
        middle = percent(frame.share((first + stop) / 2))
        if hourly:
            parts.append(
                text(day.strftime("%a %-d %b"), x=percent(frame.share(first)), y=12, dx=2, class_="day")
            )
            continue
        words = text(day.strftime("%a"), x=middle, y=13, class_="day") + text(
            day.strftime("%-d %b") if day.day == 1 or first == frame.days[0][1] else day.day,
            x=middle, y=28, class_="tick",
        )  # fmt: skip
        words = element("g", words, class_="centred")
        if link is None:
            parts.append(words)
            continue
        target = element("rect", x=percent(frame.share(first)), y=0, width=percent(frame.share(stop - first)),
                         height=AXIS_HEIGHT, class_="target")  # fmt: skip
        says = f"{day.strftime('%A %-d %B')}: why"
        parts.append(element("a", title(says), target, words, href=link(day), aria_label=says))
    parts += _now(frame, AXIS_HEIGHT)
    return _svg(parts, AXIS_HEIGHT, None, "axis")


def windows_svg(
    frame: Frame, go: np.ndarray, undecided: np.ndarray, mine: np.ndarray, says: str, zone
) -> str:
    """One area's hours: a thin line where the person has time, a bracket over each window, dots where it is not known.

    Parameters
    ----------
    go, undecided, mine : ndarray of bool (hour,)
        Go starts, starts that are not known, and starts inside the person's hours, over the frame.
    """
    height, base = WINDOW_HEIGHT, WINDOW_HEIGHT - 8
    parts = [*_nights(frame, height), *_day_lines(frame, height)]
    for first, stop in runs_of(mine):
        parts.append(_level("hours", frame, first, stop, base))
    for first, stop in runs_of(undecided & mine):
        parts.append(_box(frame, first, stop, base - 8, 6, "undecided"))
    windows = runs_of(go & mine)
    for first, stop in windows:
        parts.append(_box(frame, first, stop, base - 13, 16, "window"))
        parts += [_upright("bracket", frame.share(edge), base - 14, base + 3) for edge in (first, stop)]
        parts.append(_level("bracket", frame, first, stop, base - 14))
    for _, opens, closes in frame.days:
        own = [(first, stop) for first, stop in windows if opens <= first < closes]
        if own:
            words = ", ".join(clock_text(frame.hours[first], zone) for first, _ in own)
            right = frame.share(own[-1][1])
            edge, end = (right, False) if right < 0.9 else (frame.share(own[0][0]), True)
            parts.append(text(words, x=percent(edge), y=base - 5, dx=-4 if end else 4,
                              class_="mark end" if end else "mark"))  # fmt: skip
    parts += _now(frame, height)
    return _svg(parts, height, says, "windows")


def panel_svg(
    panel: Panel,
    frame: Frame,
    key: str,
    zone,
    link: Callable[[date], str] | None = None,
    *,
    hourly: bool = False,
) -> str:
    """One rule's row.

    Parameters
    ----------
    key : str
        Sets this row's names apart from those of other rows on the page; letters, digits and hyphens.
    link : callable, optional
        Day to the address that a click on the day's part of the row leads to.
    hourly : bool
        A title an hour instead of one a day.
    """
    height = LINE_HEIGHT if panel.line else STRIP_HEIGHT
    parts = [*_nights(frame, height), *_day_lines(frame, height)]
    if panel.line:
        parts += _curve(panel, frame, key, height)
    parts += _foot(panel, frame, height)
    parts += _now(frame, height)
    # for the mouse: the row says itself in words, and the days along the top are the links for everybody
    parts.append(element("g", *_hovers(panel, frame, height, zone, link, hourly), aria_hidden="true"))
    return _svg(parts, height, row_words(panel, frame, zone), "row" if panel.line else "row strip")


def row_words(panel: Panel, frame: Frame, zone) -> str:
    """The row for somebody who cannot see it."""
    areas = f" ({', '.join(panel.areas)})" if panel.areas else ""
    limit = f", limit {panel.limit_words}" if panel.limit_words else ""
    days = [
        f"{day.strftime('%a %-d')}: {words}"
        for day, first, stop in frame.days
        if (words := panel.day_words(first, stop, frame.hours, zone))
    ]
    return f"{panel.title}{areas}{limit}: {panel.standing_words}. " + ". ".join(days) + "."


# -- the curve ---------------------------------------------------------------------------------------------------


def _curve(panel: Panel, frame: Frame, key: str, height: int) -> list[str]:
    count, foot = len(frame), height - _FOOT
    low, high = _range(panel)

    def y(value: float) -> float:
        return _TOP + (high - value) / (high - low) * (foot - 3 - _TOP)

    parts = []
    for first, stop in runs_of(np.isnan(panel.values)):
        parts.append(_box(frame, first, stop, 2, foot - 4, "not-known"))
    if panel.low is not None:
        band = path(_ribbon(panel.low, panel.high, y), closed=True, decimals=1)
        if band:
            parts.append(_stretched(count, height, element("path", d=band, class_="band")))
    shapes = []
    for limit, upper in ((panel.at_most, True), (panel.at_least, False)):
        if limit is None:
            continue
        beyond = path(_beyond(panel.values, limit, upper, y, count, height), closed=True, decimals=4)
        if beyond:
            clip = f"{key}-{'most' if upper else 'least'}"
            shapes.append(
                element("clipPath", element("path", d=beyond), id=clip, clipPathUnits="objectBoundingBox")
            )
            parts.append(element("rect", x=0, y=0, width="100%", height=height, class_="beyond",
                                 fill="url(#hatch)", clip_path=f"url(#{clip})"))  # fmt: skip
        parts.append(element("line", x1=0, x2="100%", y1=y(limit), y2=y(limit), class_="limit"))
    line = path(
        [[(at + 0.5, y(panel.values[at])) for at in range(a, b)] for a, b in runs_of(~np.isnan(panel.values))]
    )
    if line:
        parts.append(_stretched(count, height, element("path", d=line, class_="value")))
    parts += _figures(panel, frame, y, foot)
    return ([element("defs", *shapes)] if shapes else []) + parts


def _range(panel: Panel) -> tuple[float, float]:
    """Bottom and top of a row: all values and limits, from zero for what cannot be negative."""
    rows = [panel.values] + ([panel.low, panel.high] if panel.low is not None else [])
    known = np.concatenate([row[~np.isnan(row)] for row in rows])
    marks = [*known, *(limit for limit in (panel.at_least, panel.at_most) if limit is not None)] or [0.0]
    low, high = float(min(marks)), float(max(marks))
    if low >= 0.0 and panel.unit not in ("°F", "°C"):
        low = 0.0
    room = max(high - low, 1e-6)
    return low, high + 0.06 * room


def _ribbon(low: np.ndarray, high: np.ndarray, y) -> list[list[tuple[float, float]]]:
    runs = []
    for first, stop in runs_of(~np.isnan(low + high)):
        there = [(at + 0.5, y(high[at])) for at in range(first, stop)]
        back = [(at + 0.5, y(low[at])) for at in range(stop - 1, first - 1, -1)]
        runs.append(there + back)
    return runs


def _beyond(values: np.ndarray, limit: float, upper: bool, y, count: int, height: int):
    """The space between the curve and a limit that it passes, in shares of the row's box."""
    sign = 1.0 if upper else -1.0
    over = np.nan_to_num((values - limit) * sign, nan=-1.0)
    runs = []
    for first, stop in runs_of(over > 0):
        points = [(_crossing(values, limit, first - 1, first, count), limit)]
        points += [(at + 0.5, values[at]) for at in range(first, stop)]
        points += [(_crossing(values, limit, stop, stop - 1, count), limit)]
        runs.append([(x / count, y(value) / height) for x, value in points])
    return runs


def _crossing(values: np.ndarray, limit: float, outside: int, inside: int, count: int) -> float:
    """Where the curve between two neighbouring hours meets the limit, in hours from the left."""
    if not 0 <= outside < count or np.isnan(values[outside]):
        return inside + 0.5 + (0.5 if outside > inside else -0.5) * 0.6
    share = (limit - values[inside]) / (values[outside] - values[inside])
    return inside + 0.5 + share * (outside - inside)


def _figures(panel: Panel, frame: Frame, y, foot: int) -> list[str]:
    """The limit, and the value that goes farthest toward it, as numbers."""
    parts = []
    for limit, upper in ((panel.at_most, True), (panel.at_least, False)):
        if limit is None or np.isnan(panel.values).all():
            continue
        at = _middle_of_extreme(panel.values, upper)
        value, height = float(panel.values[at]), y(float(panel.values[at]))
        share = frame.share(at + 0.5)
        over = value > limit if upper else value < limit
        if (panel.show(value) == panel.show(0.0) and upper) or share < 0.02:
            continue
        end = share > 0.85
        base = height - 4 if upper or height + 11 > foot else height + 11
        base = min(max(base, 9), foot - 2)
        parts.append(text(panel.show(value), x=percent(share), y=base, dx=-3 if end else 3,
                          class_=f"extreme{' over' if over else ''}{' end' if end else ''}"))  # fmt: skip
    return parts


def _middle_of_extreme(values: np.ndarray, upper: bool) -> int:
    """The middle of the first run of hours that hold the extreme."""
    extreme = np.nanmax(values) if upper else np.nanmin(values)
    first, stop = runs_of(np.abs(np.nan_to_num(values, nan=np.inf) - extreme) < 1e-9)[0]
    return (first + stop - 1) // 2


# -- foot, ground and hovering -----------------------------------------------------------------------------------


def _foot(panel: Panel, frame: Frame, height: int) -> list[str]:
    """Bars where the rule stands against a start, dots where it is not known."""
    top, thick = (height - _FOOT, _FOOT - 2) if panel.line else (5, height - 9)
    parts = []
    for code, name in ((NO_GO, "against"), (UNKNOWN, "open")):
        for first, stop in runs_of((panel.state == code) & ~panel.mine):
            parts.append(_box(frame, first, stop, top + thick - 2, 2, f"{name} other"))
        for first, stop in runs_of((panel.state == code) & panel.mine):
            parts.append(_box(frame, first, stop, top, thick, name))
    return parts


def _hovers(panel: Panel, frame: Frame, height: int, zone, link, hourly: bool) -> list[str]:
    parts = []
    for day, first, stop in frame.days:
        if hourly:
            cells = []
            for at in range(first, stop):
                words = panel.day_words(at, at + 1, frame.hours, zone).replace("every start", "this start")
                cells.append(element("rect", title(f"{clock_text(frame.hours[at], zone)}: {words}"),
                                     x=percent(frame.share(at)), y=0, width=percent(frame.share(1)), height=height,
                                     class_="target"))  # fmt: skip
            parts += cells
            continue
        says = (
            f"{panel.title}, {day.strftime('%a %-d %b')}: {panel.day_words(first, stop, frame.hours, zone)}"
        )
        target = element("rect", title(says), x=percent(frame.share(first)), y=0,
                         width=percent(frame.share(stop - first)), height=height, class_="target")  # fmt: skip
        parts.append(target if link is None else element("a", target, href=link(day), tabindex="-1"))
    return parts


def _nights(frame: Frame, height: int) -> list[str]:
    return [_box(frame, first, stop, 0, height, "night") for first, stop in frame.night]


def _day_lines(frame: Frame, height: int) -> list[str]:
    return [_upright("midnight", frame.share(first), 0, height) for _, first, _ in frame.days[1:]]


def _now(frame: Frame, height: int) -> list[str]:
    return [] if frame.now is None else [_upright("now", frame.share(frame.now), 0, height)]


#: what is filled with a hatching; named in the drawing itself, where a style sheet's address would not find it
_HATCHED = {"night": "night", "beyond": "hatch", "not-known": "dots", "open": "dots", "undecided": "dots"}


def _box(frame: Frame, first: int, stop: int, top: float, height: float, name: str) -> str:
    hatching = _HATCHED.get(name.split()[0])
    return element("rect", x=percent(frame.share(first)), y=top, width=percent(frame.share(stop - first)),
                   height=height, class_=name, fill=hatching and f"url(#{hatching})")  # fmt: skip


def _upright(name: str, share: float, top: float, bottom: float) -> str:
    return element("line", x1=percent(share), x2=percent(share), y1=top, y2=bottom, class_=name)


def _level(name: str, frame: Frame, first: int, stop: int, y: float) -> str:
    return element(
        "line", x1=percent(frame.share(first)), x2=percent(frame.share(stop)), y1=y, y2=y, class_=name
    )


def _stretched(count: int, height: int, *children: str) -> str:
    """An inner view whose horizontal unit is the hour, stretched over the row."""
    return element("svg", *children, viewBox=f"0 0 {count} {height}", preserveAspectRatio="none", x=0, y=0,
                   width="100%", height=height, class_="stretched")  # fmt: skip


def _svg(parts: Sequence[str], height: int, says: str | None, name: str) -> str:
    labelled = {"role": "img", "aria_label": says} if says else {}
    return element("svg", *parts, class_=f"fig {name}", width="100%", height=number(height), focusable="false",
                   **labelled)  # fmt: skip
