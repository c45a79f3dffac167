"""The score as one picture: whether stated chances of rain came true, and how errors grow with lead.

Hand-made SVG in ink and one accent. What is the advisor's is a filled square in the accent; what is the raw forecast's
an open circle in ink; the climate a dashed line: shapes and strokes alone tell them apart, so that the picture can be
read in grey. Every mark has a title. Text only: nothing here reads or writes a file.
"""

from __future__ import annotations

import math
from html import escape

from advisor import units
from advisor.score.report import ErrorRow, Score
from advisor.score.text import error_dimension, lead_words
from advisor.variables import VARIABLES
from advisor.verification.brier import ReliabilityTable

_SIDE, _GAP, _TOP, _LEFT = 240.0, 86.0, 74.0, 62.0
_STYLE = """
:root { color-scheme: light dark; }
svg { --ink: #1c1c1c; --paper: #ffffff; --accent: #12507b; font: 12px Georgia, serif; }
@media (prefers-color-scheme: dark) { svg { --ink: #ececec; --paper: #16181a; --accent: #9accf0; } }
@media print { svg { --ink: #000000; --paper: #ffffff; --accent: #12507b; } }
.paper { fill: var(--paper); } text { fill: var(--ink); } .title { font-weight: 600; font-size: 14px; }
.frame { fill: none; stroke: var(--ink); stroke-width: 1; } .grid { stroke: var(--ink); opacity: .18; }
.true { stroke: var(--ink); stroke-width: 1; opacity: .6; }
.own { fill: var(--accent); stroke: none; } .own-line { fill: none; stroke: var(--accent); stroke-width: 2.2; }
.raw { fill: var(--paper); stroke: var(--ink); stroke-width: 1.5; }
.raw-line { fill: none; stroke: var(--ink); stroke-width: 1.2; }
.climate { fill: none; stroke: var(--ink); stroke-width: 1.4; stroke-dasharray: 2 4; }
""".strip()


def score_picture(score: Score, system: str) -> str:
    """SVG text of a score; panels without data are left out. `system` is "us" or "metric"."""
    panels = []
    if score.own is not None:
        panels.append(_reliability_panel(score))
    for variable in dict.fromkeys(row.variable for row in score.errors):
        panels.append(
            _error_panel([row for row in score.errors if row.variable == variable], variable, system)
        )
    width = _LEFT + len(panels) * (_SIDE + _GAP)
    height = _TOP + _SIDE + 96.0
    body = "".join(
        f'<g transform="translate({_LEFT + at * (_SIDE + _GAP):.0f} {_TOP:.0f})">{panel}</g>'
        for at, panel in enumerate(panels)
    )
    title = f"How good the forecasts were: {score.site}"
    key = _key(_LEFT, _TOP + _SIDE + 70.0)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{escape(title)}" '
        f'viewBox="0 0 {width:.0f} {height:.0f}" width="{width:.0f}" height="{height:.0f}">'
        f"<title>{escape(title)}</title><desc>{escape(f'Against {score.truth}.')}</desc><style>{_STYLE}</style>"
        f'<rect class="paper" width="{width:.0f}" height="{height:.0f}"/>'
        f'<text class="title" x="{_LEFT:.0f}" y="24">{escape(title)}</text>{body}{key}</svg>\n'
    )


def _key(x: float, y: float) -> str:
    return (
        f'<g transform="translate({x:.0f} {y:.0f})">'
        f'<rect class="own" x="0" y="-9" width="10" height="10"/><text x="16" y="0">advisor</text>'
        f'<circle class="raw" cx="86" cy="-4" r="5"/><text x="98" y="0">raw forecast</text>'
        f'<path class="climate" d="M190 -4 h28"/><text x="226" y="0">climate</text></g>'
    )


def _reliability_panel(score: Score) -> str:
    most = max(int(score.own.count.max()), int(score.raw.count.max()), 1)
    parts = [_frame("Rain: what was stated, what came", "stated chance, %", "share in which it rained")]
    for at in range(0, 101, 25):
        x, y = at / 100 * _SIDE, _SIDE - at / 100 * _SIDE
        parts.append(f'<path class="grid" d="M{x:.1f} 0 V{_SIDE:.0f} M0 {y:.1f} H{_SIDE:.0f}"/>')
        parts.append(f'<text x="{x:.1f}" y="{_SIDE + 16:.0f}" text-anchor="middle">{at}</text>')
        parts.append(f'<text x="-8" y="{y + 4:.1f}" text-anchor="end">{at}%</text>')
    parts.append(
        f'<path class="true" d="M0 {_SIDE:.0f} L{_SIDE:.0f} 0"><title>stated and true agree here</title></path>'
    )
    parts += _reliability_marks(score.raw, most, "raw")
    parts += _reliability_marks(score.own, most, "own")
    return "".join(parts)


def _reliability_marks(table: ReliabilityTable, most: int, kind: str) -> list[str]:
    """One mark a bin, its area in proportion to how often it was stated."""
    who = {"own": "advisor", "raw": "raw forecast"}[kind]
    marks = []
    for count, stated, came in zip(table.count, table.forecast, table.observed, strict=True):
        if not count:
            continue
        x, y, size = stated * _SIDE, _SIDE - came * _SIDE, 3.0 + 7.0 * math.sqrt(count / most)
        told = f"<title>{who}: {stated:.0%} stated, it rained {came:.0%} of {int(count)} times</title>"
        if kind == "own":
            side = 1.8 * size
            marks.append(
                f'<rect class="own" x="{x - side / 2:.1f}" y="{y - side / 2:.1f}" width="{side:.1f}" '
                f'height="{side:.1f}">{told}</rect>'
            )
        else:
            marks.append(f'<circle class="raw" cx="{x:.1f}" cy="{y:.1f}" r="{size:.1f}">{told}</circle>')
    return marks


def _error_panel(rows: list[ErrorRow], variable: str, system: str) -> str:
    dimension = error_dimension(variable)
    unit = units.display_unit(dimension, system)
    factor, _ = units.conversion(unit, dimension)
    printed = units.PRINTED.get(unit, unit)
    series = {
        "climate": [row.crps_climate / factor for row in rows],
        "raw": [row.crps_raw / factor for row in rows],
        "own": [row.crps / factor for row in rows],
    }
    known = [value for values in series.values() for value in values if math.isfinite(value)]
    step = _step(max(known, default=1.0))
    top = step * math.ceil(max(known, default=1.0) / step - 1e-9)
    name = VARIABLES[variable].says.split(" at ")[0]
    parts = [_frame(f"{name[0].upper()}{name[1:]}", "lead, days", f"error (CRPS), {printed}")]
    for at in range(round(top / step) + 1):
        y = _SIDE - at * step / top * _SIDE
        parts.append(f'<path class="grid" d="M0 {y:.1f} H{_SIDE:.0f}"/>')
        parts.append(f'<text x="-8" y="{y + 4:.1f}" text-anchor="end">{at * step:g}</text>')
    spots = [(at + 0.5) / len(rows) * _SIDE for at in range(len(rows))]
    for x, row in zip(spots, rows, strict=True):
        words = lead_words(row.low, row.high).replace("days ", "").replace("day ", "")
        parts.append(f'<text x="{x:.1f}" y="{_SIDE + 16:.0f}" text-anchor="middle">{words}</text>')
    for kind, values in series.items():
        points = [
            (x, _SIDE - value / top * _SIDE)
            for x, value in zip(spots, values, strict=True)
            if math.isfinite(value)
        ]
        if points:
            style = "climate" if kind == "climate" else f"{kind}-line"
            line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
            parts.append(f'<polyline class="{style}" points="{line}"/>')
    for kind, who in (("raw", "raw forecast"), ("own", "advisor")):
        for x, value, row in zip(spots, series[kind], rows, strict=True):
            if not math.isfinite(value):
                continue
            y = _SIDE - value / top * _SIDE
            what = f"{lead_words(row.low, row.high)}: {value:.2f} {printed}, {row.days} days"
            told = f"<title>{who}, {escape(what)}</title>"
            if kind == "own":
                parts.append(
                    f'<rect class="own" x="{x - 5:.1f}" y="{y - 5:.1f}" width="10" height="10">{told}</rect>'
                )
            else:
                parts.append(f'<circle class="raw" cx="{x:.1f}" cy="{y:.1f}" r="5">{told}</circle>')
    return "".join(parts)


def _frame(title: str, below: str, beside: str) -> str:
    return (
        f'<text x="0" y="-14">{escape(title)}</text><rect class="frame" width="{_SIDE:.0f}" height="{_SIDE:.0f}"/>'
        f'<text x="{_SIDE / 2:.0f}" y="{_SIDE + 34:.0f}" text-anchor="middle">{escape(below)}</text>'
        f'<text transform="translate(-44 {_SIDE / 2:.0f}) rotate(-90)" text-anchor="middle">{escape(beside)}</text>'
    )


def _step(largest: float) -> float:
    """A round step that gives three to six lines."""
    power = 10.0 ** math.floor(math.log10(max(largest, 1e-6)))
    return next(step * power for step in (0.2, 0.25, 0.5, 1.0, 2.0) if largest / (step * power) <= 5.0)
