"""What the rows of a figure show: for every rule its value, its limit and its verdict at each start hour.

The value of a rule at a start is what the rule makes of the hours that it looks at from there, the number that
the verdict rests on: the gust while the work lasts, the rain until the spray is fast, the coldest of two nights.
So a figure is read down a column: a start there meets the value of every row.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from advisor import units
from advisor.explain import Explainer
from advisor.explain.cells import medians
from advisor.figures.frame import Frame, clock_text, runs_of
from advisor.outlook import Outlook
from advisor.rulebook.quantities import QUANTITIES
from advisor.verdict import GO, NO_GO, UNKNOWN

#: members between these shares are drawn as a band
BAND = (10.0, 90.0)
#: quantities that say yes or no, count the hours that are left, or follow the sun: their verdict is drawn, no curve
_STRIPS = ("truth", "time", "count", "angle")


@dataclass(frozen=True, eq=False)
class Panel:
    """One rule over the hours of a frame, in the reader's units.

    Attributes
    ----------
    tasks : tuple of int
        Positions of the tasks that it stands for; tasks that see the same are drawn once.
    areas : tuple of str
        Their areas by name.
    values, low, high : ndarray (hour,)
        Median over members and the band of members; NaN where not known. The band is None for one member.
    at_least, at_most : float, optional
    state : ndarray of int8 (hour,)
        GO, NO_GO or UNKNOWN of this rule at each start.
    mine : ndarray of bool (hour,)
        Starts ahead inside the person's hours.
    line : bool
        False where only yes or no is drawn.
    """

    rule: str
    title: str
    kind: str
    tasks: tuple[int, ...]
    areas: tuple[str, ...]
    says: str
    unit: str
    decimals: int
    values: np.ndarray
    low: np.ndarray | None
    high: np.ndarray | None
    at_least: float | None
    at_most: float | None
    state: np.ndarray
    mine: np.ndarray
    line: bool

    @property
    def against(self) -> int:
        """How many of the person's hours this rule stands against."""
        return int((self.state[self.mine] == NO_GO).sum())

    @property
    def unknown(self) -> int:
        return int((self.state[self.mine] == UNKNOWN).sum())

    @property
    def limit_words(self) -> str:
        """ "at least 3.0 mph, at most 10 mph", or nothing for yes and no."""
        if not self.line:
            return ""
        sides = (("at least", self.at_least), ("at most", self.at_most))
        return ", ".join(f"{word} {self.show(limit)}" for word, limit in sides if limit is not None)

    @property
    def standing_words(self) -> str:
        mine = int(self.mine.sum())
        if not mine:
            return "none of your hours lies ahead"
        if not self.against and not self.unknown:
            return "kept at all your hours"
        told = []
        if self.against:
            told.append(
                "against all your hours" if self.against == mine else f"against {self.against} of {mine}"
            )
        if self.unknown:
            told.append(
                "not known at all your hours" if self.unknown == mine else f"{self.unknown} not known"
            )
        return ", ".join(told)

    def show(self, value: float) -> str:
        number = f"{round(value, self.decimals) + 0.0:,.{self.decimals}f}"
        return f"{number}{self.unit}" if self.unit in ("%", "°", "") else f"{number} {self.unit}"

    def span_words(self, first: int, stop: int) -> str:
        """The least and the most of some hours: "4.1 to 12.0 mph"."""
        known = self.values[first:stop][~np.isnan(self.values[first:stop])]
        if not len(known) or not self.line:
            return ""
        least, most = self.show(float(known.min())), self.show(float(known.max()))
        return least if least == most else f"{least} to {most}"

    def day_words(self, first: int, stop: int, hours: np.ndarray, zone) -> str:
        """One day of the row in words: values, and the starts that it stands against."""
        told = [self.span_words(first, stop)] if self.line else []
        for code, words in ((NO_GO, "against"), (UNKNOWN, "not known for")):
            runs = runs_of(self.state[first:stop] == code)
            if runs == [(0, stop - first)]:
                told.append(f"{words} every start")
            elif runs:
                spans = (_starts(hours[first + a], hours[first + b - 1], zone) for a, b in runs)
                told.append(f"{words} starts {', '.join(spans)}")
        if (self.state[first:stop] == GO).all():
            told.append("kept")
        return "; ".join(word for word in told if word)


@dataclass(frozen=True, slots=True)
class Fixed:
    """A rule that says the same at every hour: a date, a total, what the label lists."""

    rule: str
    title: str
    verdict: str
    areas: tuple[str, ...]


def panels_of(outlook: Outlook, tasks: list[int], frame: Frame) -> tuple[list[Panel], list[Fixed]]:
    """Rows for some tasks, what stands most against their hours first, and the rules that need no row."""
    explainer = outlook.explainer
    panels: list[Panel] = []
    fixed: dict[tuple[str, str], Fixed] = {}
    for at, finding in enumerate(explainer.findings):
        if finding.rule.id == "availability":
            continue  # it is drawn as the person's hours themselves
        own: list[Panel] = []
        for task in tasks:
            if not finding.applies[task]:
                continue
            panel = _panel(outlook, explainer, at, task, frame)
            if _says_the_same(panel):
                word = {GO: "go", NO_GO: "no-go", UNKNOWN: "unknown"}[int(panel.state[0])]
                before = fixed.get((panel.rule, word))
                areas = (*(before.areas if before else ()), *panel.areas)
                fixed[panel.rule, word] = Fixed(panel.rule, panel.title, word, areas)
                continue
            twin = next((n for n, other in enumerate(own) if _alike(other, panel)), None)
            if twin is None:
                own.append(panel)
            else:
                other = own[twin]
                own[twin] = replace(other, tasks=(*other.tasks, task), areas=(*other.areas, *panel.areas),
                                    mine=other.mine | panel.mine)  # fmt: skip
        panels += own
    panels.sort(
        key=lambda panel: (-panel.against, -panel.unknown, not panel.line, _nearness(panel), panel.rule)
    )
    return panels, list(fixed.values())


def states(explainer: Explainer, at: int, task: int) -> np.ndarray:
    """GO, NO_GO or UNKNOWN of one rule at every start of the axis, by its floor."""
    return explainer.codes(task)[at].astype(np.int8)


def _panel(outlook: Outlook, explainer: Explainer, at: int, task: int, frame: Frame) -> Panel:
    finding = explainer.findings[at]
    quantity = QUANTITIES[finding.rule.measure.quantity]
    dimension, system = explainer.dimension(quantity, task), explainer.system
    shown = slice(frame.first, frame.first + len(frame))
    count = len(explainer.area.conditions.axis)
    values = finding.value[task if finding.value.shape[0] > 1 else 0]
    values = np.broadcast_to(values, (values.shape[0], count))[:, shown]
    values = np.where(np.isinf(values), np.nan, values)
    factor, offset = units.conversion(units.display_unit(dimension, system), dimension)
    values = (values - offset) / factor
    low, high = _band(values) if len(values) > 1 else (None, None)
    limits = [
        None if side is None or not np.isfinite(side[task]) else (float(side[task]) - offset) / factor
        for side in (finding.at_least, finding.at_most)
    ]
    unit = units.display_unit(dimension, system)
    scored = outlook.tasks[task]
    mine = (explainer.area.spare_time[task, 0, shown] >= -1e-9) & (explainer.lead_hours[shown] >= 0.0)
    return Panel(
        rule=finding.rule.id, title=finding.rule.title, kind=finding.kind(task), tasks=(task,),
        areas=(scored.task.area.name,), says=quantity.says, unit=units.PRINTED.get(unit, unit),
        decimals=units.display_decimals(dimension, system), values=medians(values) if len(values) > 1 else values[0],
        low=low, high=high, at_least=limits[0], at_most=limits[1], state=states(explainer, at, task)[shown], mine=mine,
        line=dimension not in _STRIPS,
    )  # fmt: skip


def _band(values: np.ndarray) -> np.ndarray:
    """Between which values most of the members (member, hour) lie, (2, hour); NaN where none is known."""
    band = np.full((len(BAND), values.shape[1]), np.nan)
    known = ~np.isnan(values)
    every, some = known.all(axis=0), known.any(axis=0)
    # passing over unknown members takes numpy a hundred times as long
    for hours, percentile in ((every, np.percentile), (some & ~every, np.nanpercentile)):
        if hours.any():
            band[:, hours] = percentile(values[:, hours], BAND, axis=0)
    return band


def _says_the_same(panel: Panel) -> bool:
    """One verdict throughout, and no line worth drawing."""
    if (panel.state != panel.state[0]).any():
        return False
    known = panel.values[~np.isnan(panel.values)]
    return not panel.line or not len(known) or float(np.ptp(known)) < 1e-9


def _alike(one: Panel, other: Panel) -> bool:
    same_limits = (one.at_least, one.at_most) == (other.at_least, other.at_most)
    return (
        same_limits
        and one.kind == other.kind
        and np.array_equal(one.state, other.state)
        and (not one.line or np.array_equal(one.values, other.values, equal_nan=True))
    )


def _nearness(panel: Panel) -> float:
    """How near the value comes to its limit at the person's hours, in shares of the row's own range."""
    if not panel.line:
        return np.inf
    margin = np.full(len(panel.values), np.inf)
    if panel.at_most is not None:
        margin = np.minimum(margin, panel.at_most - panel.values)
    if panel.at_least is not None:
        margin = np.minimum(margin, panel.values - panel.at_least)
    margin = margin[panel.mine & ~np.isnan(margin)]
    known = panel.values[~np.isnan(panel.values)]
    span = max(float(np.ptp(known)), 1e-9) if len(known) else 1.0
    return float(margin.min()) / span if len(margin) else np.inf


def _starts(first: np.datetime64, last: np.datetime64, zone) -> str:
    return (
        clock_text(first, zone) if first == last else f"{clock_text(first, zone)} to {clock_text(last, zone)}"
    )
