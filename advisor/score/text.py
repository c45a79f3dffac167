"""The score as lines of text for a terminal 80 columns wide, and as one JSON object."""

from __future__ import annotations

import math

import numpy as np

from advisor import units
from advisor.score.report import EDGES, Score
from advisor.spread.learned import LEAST_DAYS
from advisor.variables import VARIABLES
from advisor.verification.brier import ReliabilityTable

SCHEMA_ID = "advisor.score/1"


def score_text(score: Score, system: str) -> str:
    """Everything in one screen; `system` is "us" or "metric"."""
    days = int((score.last - score.first).astype(int)) + 1 if score.first is not None else 0
    lines = [f"How good the forecasts were: {score.site}"]
    lines.append(f"Against {score.truth}, {_day(score.first)} to {_day(score.last)} ({days} days)")
    for variable in dict.fromkeys(row.variable for row in score.errors):
        lines += ["", *_error_lines(score, variable, system)]
    if score.rain:
        lines += ["", *_rain_lines(score)]
    if score.own is not None:
        lines += ["", *_reliability_lines(score)]
    rows = (*score.errors, *score.rain)
    if any(not row.learned for row in rows):
        lines += ["", f"* assumed spread: fewer than {LEAST_DAYS} days to learn from when these were issued"]
    lines += [
        "",
        "Climate: the other days of the kept history. All but the climate knew only what was known then.",
    ]
    return "\n".join(lines)


def _day(day: np.datetime64 | None) -> str:
    return "-" if day is None else day.item().strftime("%-d %b %Y")


def lead_words(low: float, high: float) -> str:
    """A lead band in days, such as "day 2" or "days 4-5"."""
    first, last = int(low // 24) + 1, None if math.isinf(high) else int(high // 24)
    if last is None:
        return f"day {first} on"
    return f"day {first}" if first == last else f"days {first}-{last}"


def error_dimension(variable: str) -> str:
    """Dimension of an error of a variable: a temperature's is a difference."""
    dimension = VARIABLES[variable].dimension
    return "temperature_difference" if dimension == "temperature" else dimension


def _error_lines(score: Score, variable: str, system: str) -> list[str]:
    dimension = error_dimension(variable)
    unit = units.display_unit(dimension, system)
    factor, _ = units.conversion(unit, dimension)
    printed = units.PRINTED.get(unit, unit)
    title = VARIABLES[variable].says.capitalize()
    lines = [f"{title}: error of the stated distribution (CRPS) in {printed}, less is better"]
    lines.append(f"  {'lead':<10} {'days':>5} {'advisor':>9} {'raw':>7} {'climate':>9}   in the 80 % range")
    for row in score.errors:
        if row.variable == variable:
            own, raw, climate = (
                _number(one / factor, 2) for one in (row.crps, row.crps_raw, row.crps_climate)
            )
            mark = " " if row.learned else "*"
            lead = f"  {lead_words(row.low, row.high):<10} {row.days:>5}"
            lines.append(f"{lead} {own:>8}{mark} {raw:>7} {climate:>9}   {row.inside:.0%}")
    return lines


def _rain_lines(score: Score) -> list[str]:
    lines = [f"Chance of measurable rain in {score.rain_period} h: Brier score, less is better"]
    lines.append(
        f"  {'lead':<10} {'days':>5} {'advisor':>9} {'raw':>7} {'climate':>9}   = reliab. - resol. + uncert."
    )
    for row in score.rain:
        own, mark = row.own, " " if row.learned else "*"
        lines.append(
            f"  {lead_words(row.low, row.high):<10} {row.days:>5} {own.score:>8.3f}{mark} {row.raw.score:>7.3f} "
            f"{_number(row.climate, 3):>9}     {own.reliability:.3f}    {own.resolution:.3f}    {own.uncertainty:.3f}"
        )
    return lines


def _reliability_lines(score: Score) -> list[str]:
    lines = ["When a chance was stated, it then rained:"]
    lines.append(f"  {'stated':<12} {'advisor':>8} {'it rained':>10}   {'raw':>8} {'it rained':>10}")
    for span, own, own_share, raw, raw_share in reliability_rows(score):
        lines.append(f"  {span:<12} {own:>8} {own_share:>10}   {raw:>8} {raw_share:>10}")
    return lines


def reliability_rows(score: Score) -> list[tuple[str, str, str, str, str]]:
    """(stated chance, how often the advisor said so, how often it then rained, the same two of the raw forecast)."""
    rows = []
    for at in range(len(EDGES) - 1):
        own, raw = (_cells(table, at) for table in (score.own, score.raw))
        if own[0] or raw[0]:
            span = f"{EDGES[at] * 100:.0f}-{EDGES[at + 1] * 100:.0f} %"
            rows.append((span, f"{own[0]}x", own[1], f"{raw[0]}x", raw[1]))
    return rows


def _cells(table: ReliabilityTable, at: int) -> tuple[int, str]:
    count = int(table.count[at])
    return count, f"{table.observed[at]:.0%}" if count else "-"


def _number(value: float, places: int) -> str:
    return f"{value:.{places}f}" if math.isfinite(value) else "-"


def score_object(score: Score) -> dict:
    """The score as plain JSON values: SI units in the names, UTC dates, null for what is not known."""

    def plain(value):
        return float(value) if value is not None and math.isfinite(value) else None

    def band(row):
        return {"lead_from_h": row.low, "lead_to_h": plain(row.high), "pairs": row.pairs, "days": row.days,
                "spread": "learned" if row.learned else "assumed"}  # fmt: skip

    suffix = {"air_temperature": "degC", "wind_speed_10m": "m_s"}
    errors = [
        {
            "variable": row.variable,
            **band(row),
            f"crps_{suffix[row.variable]}": plain(row.crps),
            f"crps_raw_{suffix[row.variable]}": plain(row.crps_raw),
            f"crps_climate_{suffix[row.variable]}": plain(row.crps_climate),
            "share_inside_80_percent": plain(row.inside),
        }
        for row in score.errors
    ]

    def parts(one):
        return {name: plain(getattr(one, name)) for name in one._fields}

    rain = [
        {
            **band(row),
            "brier": parts(row.own),
            "brier_raw": parts(row.raw),
            "brier_climate": plain(row.climate),
        }
        for row in score.rain
    ]
    return {
        "schema": SCHEMA_ID,
        "site": score.site,
        "observed": score.truth,
        "first_day": None if score.first is None else str(score.first),
        "last_day": None if score.last is None else str(score.last),
        "rain_period_h": score.rain_period,
        "errors": errors,
        "rain": rain,
        "reliability": {
            name: _table_object(one) for name, one in (("advisor", score.own), ("raw", score.raw))
        },
    }


def _table_object(table: ReliabilityTable | None) -> list[dict] | None:
    if table is None:
        return None
    return [
        {
            "from": round(float(EDGES[at]), 10),
            "to": round(float(EDGES[at + 1]), 10),
            "count": int(table.count[at]),
            "mean_chance": float(table.forecast[at]) if table.count[at] else None,
            "share_that_happened": float(table.observed[at]) if table.count[at] else None,
        }
        for at in range(len(EDGES) - 1)
    ]
