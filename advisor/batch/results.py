"""From scores to rows: a row a task and local day, with the day's verdict as the outlook defines it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np

from advisor.batch.sites_file import Row
from advisor.clock import iso, local_dates
from advisor.forecast import Forecast
from advisor.scoring import Scored
from advisor.verdict import GO, NO_GO, UNKNOWN, VERDICT_WORDS

COLUMNS = ("site", "treatment", "area", "pass", "day", "verdict", "best_start", "chance", "chance_at_most", "too_early",
           "spread")  # fmt: skip


def rows_of(
    scored: Scored, rows: Sequence[Row], forecast: Forecast, last: np.datetime64, now: datetime, days: int
) -> Iterator[dict[str, object]]:
    """Rows of a chunk in the order of its sites, areas and days; chances as numbers of 0 to 1, times UTC.

    Parameters
    ----------
    rows : sequence of Row
        The chunk's sites.
    forecast : Forecast
        Any of the chunk's, on its axis; days on which it holds no data are not told of. What its members are is told
        beside every chance.
    last : datetime64[h]
        Last hour of the data.
    """
    tasks = [(row, task) for row in rows for task in row.tasks]
    axis = forecast.axis
    by_zone: dict[str, tuple[np.ndarray, np.ndarray]] = {}
    verdicts = scored.verdicts
    for at, (row, task) in enumerate(tasks):
        zone = row.site.zone
        if zone.key not in by_zone:
            dates = local_dates(axis, zone)
            today = np.datetime64(now.astimezone(zone).date())
            by_zone[zone.key] = dates, np.unique(dates[(dates >= today) & (axis <= last)])[:days]
        dates, ahead = by_zone[zone.key]
        lower, upper = verdicts.everything.lower[at], verdicts.everything.upper[at]
        for day in ahead:
            hours = np.flatnonzero((dates == day) & scored.candidates[at])
            codes = verdicts.verdict[at, hours]
            code = NO_GO if not len(hours) or (codes == NO_GO).all() else GO if (codes == GO).any() else UNKNOWN
            # the likeliest start of those that made the verdict
            of_code = hours[codes == code]
            best = of_code[lower[of_code].argmax()] if len(of_code) else None
            yield {
                "site": row.name,
                "treatment": task.treatment.id,
                "area": task.area.id,
                "pass": task.pass_number,
                "day": str(day),
                "verdict": VERDICT_WORDS[code],
                "best_start": iso(axis[best]) if code == GO else None,
                "chance": None if best is None else round(float(lower[best]), 4),
                "chance_at_most": None if best is None else round(float(upper[best]), 4),
                "too_early": bool(code == UNKNOWN and best is not None and verdicts.too_early[at, best]),
                "spread": forecast.provenance.spread,
            }
