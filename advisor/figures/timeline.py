"""The sequence on a time line: passes made, the label's waiting time, when the next pass is wanted, and the windows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from advisor.figures.svg import element, number, percent, text, title

HEIGHT, AXIS_HEIGHT = 26, 30


@dataclass(frozen=True, slots=True)
class Lane:
    """One row of the time line.

    Attributes
    ----------
    kind : str
        "done" and "missed" (full and empty marks), "closed" (hatched spans), "wanted" (open brackets), "windows"
        (brackets), "latest" (a line with hatching after it), "reach" (a thin line).
    spans : tuple of (first, stop, words)
        In days as fractions of a calendar: `date.toordinal()` plus the part of the day. A mark has first == stop.
    """

    kind: str
    spans: tuple[tuple[float, float, str], ...]

    @property
    def words(self) -> str:
        return "; ".join(words for _, _, words in self.spans) or "none"


def timeline_svg(lane: Lane, first: float, last: float, today: float, title_words: str) -> str:
    """One lane between two days (`toordinal` with fractions)."""
    middle = HEIGHT / 2
    parts = [*_months(first, last, HEIGHT)]
    for begin, end, words in lane.spans:
        left, right = (min(max((edge - first) / (last - first), 0.0), 1.0) for edge in (begin, end))
        wide = percent(max(right - left, 0.0))
        says = title(words)
        if lane.kind in ("done", "missed"):
            mark = element("rect", says, x=percent(left), y=middle - 8, width=5, height=16, class_=lane.kind)
            parts.append(mark)
        elif lane.kind in ("closed", "latest"):
            edge = left if lane.kind == "latest" else right
            parts.append(element("rect", says, x=percent(left), y=middle - 7, width=wide, height=14, class_="closed",
                                 fill="url(#hatch-fine)"))  # fmt: skip
            parts.append(_upright("bracket-ink", edge, middle - 9, middle + 9))
        elif lane.kind == "reach":
            parts.append(
                element(
                    "line", says, x1=percent(left), x2=percent(right), y1=middle, y2=middle, class_="hours"
                )
            )
        else:
            name = "bracket" if lane.kind == "windows" else "bracket-ink"
            if lane.kind == "windows":
                parts.append(
                    element(
                        "rect", says, x=percent(left), y=middle - 7, width=wide, height=14, class_="window"
                    )
                )
            parts.append(
                element(
                    "line",
                    says,
                    x1=percent(left),
                    x2=percent(right),
                    y1=middle - 8,
                    y2=middle - 8,
                    class_=name,
                )
            )
            parts += [_upright(name, edge, middle - 8, middle + 8) for edge in (left, right)]
    parts.append(_upright("now", (today - first) / (last - first), 0, HEIGHT))
    return element("svg", *parts, class_="fig lane", width="100%", height=HEIGHT, role="img",
                   aria_label=f"{title_words}: {lane.words}", focusable="false")  # fmt: skip


def timeline_axis_svg(first: float, last: float, today: float) -> str:
    """Months by name, weeks by a tick, today by its line."""
    parts = [*_months(first, last, AXIS_HEIGHT)]
    day = date.fromordinal(int(first))
    while day.weekday() != 0:
        day += timedelta(days=1)
    tick_every = 7 if last - first <= 130 else 14
    while day.toordinal() < last:
        share = (day.toordinal() - first) / (last - first)
        parts.append(_upright("minor", share, AXIS_HEIGHT - 6, AXIS_HEIGHT))
        if last - first <= 80 and share < 0.94:
            parts.append(text(day.day, x=percent(share), y=AXIS_HEIGHT - 8, class_="tick", dx=2))
        day += timedelta(days=tick_every)
    for begin in _month_starts(first, last):
        share = max((begin.toordinal() - first) / (last - first), 0.0)
        if share < 0.92:
            parts.append(text(begin.strftime("%b"), x=percent(share), y=11, dx=3, class_="day"))
    parts.append(_upright("now", (today - first) / (last - first), 0, AXIS_HEIGHT))
    return element("svg", *parts, class_="fig axis", width="100%", height=AXIS_HEIGHT, aria_hidden="true",
                   focusable="false")  # fmt: skip


def _month_starts(first: float, last: float) -> Sequence[date]:
    found, day = [date.fromordinal(int(first))], date.fromordinal(int(first)).replace(day=1)
    while True:
        day = (day + timedelta(days=32)).replace(day=1)
        if day.toordinal() >= last:
            break
        found.append(day)
    # a month that begins at once leaves no room for the name of the one before it
    return found[1:] if len(found) > 1 and (found[1].toordinal() - first) / (last - first) < 0.1 else found


def _months(first: float, last: float, height: int) -> list[str]:
    return [_upright("midnight", (day.toordinal() - first) / (last - first), 0, height)
            for day in _month_starts(first, last)[1:]]  # fmt: skip


def _upright(name: str, share: float, top: float, bottom: float) -> str:
    at = percent(min(max(share, 0.0), 1.0))
    return element("line", x1=at, x2=at, y1=number(top), y2=number(bottom), class_=name)
