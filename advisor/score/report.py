"""The score of one site's forecasts by lead time: what the advisor said, the raw forecast, and the climate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from advisor.score.climate import crps_climate, rain_climate
from advisor.score.walk import crps_raw, crps_walked, rained, share_wet, walk, walk_rain
from advisor.spread.learned import BAND_EDGES, LEAST_DAYS, band_of
from advisor.spread.pairs import Pairs
from advisor.verification.brier import (
    BrierDecomposition,
    ReliabilityTable,
    murphy_decomposition,
    reliability_table,
)

#: variables scored by CRPS, in the order they are shown
CONTINUOUS = ("air_temperature", "wind_speed_10m")
#: borders of the bins of a reliability table
EDGES = np.linspace(0.0, 1.0, 11)


@dataclass(frozen=True, slots=True)
class ErrorRow:
    """One variable at one lead band.

    Attributes
    ----------
    low, high : float
        Lead [h], above `low` up to `high`; infinite for the last band.
    pairs, days : int
        Forecasts, and distinct days they are for.
    learned : bool
        Whether the advisor's own is the learned spread; else it is the assumed one.
    crps, crps_raw, crps_climate : float
        Mean CRPS in the variable's canonical unit; NaN for a climate of one day.
    inside : float
        Share of the outcomes inside the advisor's 80 % interval.
    """

    variable: str
    low: float
    high: float
    pairs: int
    days: int
    learned: bool
    crps: float
    crps_raw: float
    crps_climate: float
    inside: float


@dataclass(frozen=True, slots=True)
class RainRow:
    """The chance of measurable rain at one lead band, as in `ErrorRow`; Brier scores."""

    low: float
    high: float
    pairs: int
    days: int
    learned: bool
    own: BrierDecomposition
    raw: BrierDecomposition
    climate: float


@dataclass(frozen=True, eq=False)
class Score:
    """Everything that was found; `own` and `raw` are the reliability tables of the chance of rain over all leads."""

    site: str
    truth: str
    first: np.datetime64 | None
    last: np.datetime64 | None
    errors: tuple[ErrorRow, ...]
    rain: tuple[RainRow, ...]
    own: ReliabilityTable | None
    raw: ReliabilityTable | None
    rain_period: int = 12

    @property
    def empty(self) -> bool:
        return not self.errors and not self.rain


def make_score(tables: Mapping[str, Pairs], site: str = "", truth: str = "") -> Score:
    """Score kept pairs, walking forward in time: nothing is used that was not known when a forecast was issued.

    Parameters
    ----------
    tables : mapping of str to Pairs
        By variable, after `control_pairs`.
    truth : str
        Where the observations come from, for people.

    Notes
    -----
    In a lead band in which some forecasts could be corrected by at least ten days, only those are counted, for the
    advisor, the raw forecast and the climate alike; before that it is the assumed spread that is scored.
    """
    errors: list[ErrorRow] = []
    for name in CONTINUOUS:
        if name in tables and len(tables[name]):
            errors += _error_rows(tables[name])
    rain, own, raw = _rain_rows(tables["precipitation"]) if "precipitation" in tables else ([], None, None)
    days = [table.day for table in tables.values() if len(table)]
    first = min((day.min() for day in days), default=None)
    last = max((day.max() for day in days), default=None)
    period = tables["precipitation"].period if "precipitation" in tables else 12
    return Score(site, truth, first, last, tuple(errors), tuple(rain), own, raw, period)


def _error_rows(pairs: Pairs) -> list[ErrorRow]:
    walked = walk(pairs)
    scores = crps_walked(pairs, walked), crps_raw(pairs), crps_climate(pairs)
    position = walked.position
    rows = []
    for low, high, chosen, learned in _bands(pairs, ~np.isnan(scores[0]) & ~np.isnan(scores[1]), walked.days):
        own, raw, climate = (float(_mean(one[chosen])) for one in scores)
        inside = float(np.mean((position[chosen] > 0.1) & (position[chosen] < 0.9)))
        days = len(np.unique(pairs.day[chosen]))
        rows.append(
            ErrorRow(pairs.variable, low, high, int(chosen.sum()), days, learned, own, raw, climate, inside)
        )
    return rows


def _rain_rows(pairs: Pairs) -> tuple[list[RainRow], ReliabilityTable | None, ReliabilityTable | None]:
    chance, days = walk_rain(pairs)
    share, climate, happened = share_wet(pairs.members), rain_climate(pairs), rained(pairs)
    known = ~np.isnan(happened) & ~np.isnan(share)
    rows, used = [], np.zeros(len(pairs), dtype=bool)
    for low, high, chosen, learned in _bands(pairs, known, days):
        used |= chosen
        own = murphy_decomposition(chance[chosen], happened[chosen], EDGES)
        raw = murphy_decomposition(share[chosen], happened[chosen], EDGES)
        frequency = float(_mean((climate[chosen] - happened[chosen]) ** 2))
        count = len(np.unique(pairs.day[chosen]))
        rows.append(RainRow(low, high, int(chosen.sum()), count, learned, own, raw, frequency))
    if not used.any():
        return rows, None, None
    own, raw = (reliability_table(one[used], happened[used], EDGES) for one in (chance, share))
    return rows, own, raw


def _bands(pairs: Pairs, known: np.ndarray, days: np.ndarray):
    """(low, high, chosen (pair,), learned) of every lead band that has pairs."""
    band = band_of(pairs.lead)
    for at, high in enumerate(BAND_EDGES):
        chosen = known & (band == at)
        learned = chosen & (days >= LEAST_DAYS)
        if not chosen.any():
            continue
        enough = bool(learned.any())
        yield (BAND_EDGES[at - 1] if at else 0.0), high, (learned if enough else chosen), enough


def _mean(values: np.ndarray) -> float:
    known = values[~np.isnan(values)]
    return known.mean() if len(known) else np.nan
