"""Forecasts beside what was then measured, and what of them can be believed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from advisor.forecast import Flag, Forecast
from advisor.spread.stated import stated_error
from advisor.variables import VARIABLES

#: an observation this many stated errors away from its forecast is a fault of the station: far outside what any
#: forecast errs by, so that no real surprise is cut off. The background check of weather centres; the size is common
#: practice, no source.
FAULTY_BEYOND = 10.0
#: lowest and highest land [m]: the Dead Sea's shore and Mount Everest
LOWEST, HIGHEST = -430.0, 8850.0


@dataclass(frozen=True, eq=False)
class Pairs:
    """Pairs of one variable, one row each.

    Attributes
    ----------
    variable : str
        Of `advisor.variables`; rain is a total of `period` hours.
    lead : ndarray (pair,)
        [h] from the issue of the forecast to the hour it is valid for, to the end of the period for rain.
    members : ndarray (pair, member)
        The forecast in the canonical unit, one column where it has no members.
    observed : ndarray (pair,)
        What was measured, NaN where that is not known.
    valid : ndarray of datetime64[h] (pair,)
        The hour it is valid for, the start of the period for rain. Days are counted in UTC.
    place : ndarray of int (pair,)
        Which site, 0 for a single one.
    elevation : ndarray (pair,), optional
        [m] of the place, NaN where not known.
    period : int
        [h]
    """

    variable: str
    lead: np.ndarray
    members: np.ndarray
    observed: np.ndarray
    valid: np.ndarray
    place: np.ndarray
    elevation: np.ndarray | None = None
    period: int = 1

    def __len__(self) -> int:
        return len(self.lead)

    @property
    def day(self) -> np.ndarray:
        return self.valid.astype("datetime64[D]")

    @property
    def issued(self) -> np.ndarray:
        """datetime64[h] (pair,) of issue, rounded up to a full hour."""
        before = self.lead - (self.period if VARIABLES[self.variable].kind == "sum" else 0)
        return self.valid - np.floor(before).astype("timedelta64[h]")

    @property
    def centre(self) -> np.ndarray:
        """Mean of the known members (pair,); NaN where none is."""
        return mean_known(self.members, -1)

    def rows(self, chosen: np.ndarray) -> Pairs:
        """The pairs at these positions, or where this is true."""
        return replace(
            self, lead=self.lead[chosen], members=self.members[chosen], observed=self.observed[chosen],
            valid=self.valid[chosen], place=self.place[chosen],
            elevation=None if self.elevation is None else self.elevation[chosen],
        )  # fmt: skip


def mean_known(values: np.ndarray, axis: int) -> np.ndarray:
    """Mean of what is known along an axis, NaN where nothing is, without a warning."""
    known = ~np.isnan(values)
    count = known.sum(axis=axis)
    total = np.where(known, values, 0.0).sum(axis=axis)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def make_pairs(
    variable: str, lead, members, observed, valid, place=None, elevation=None, period: int = 1
) -> Pairs:
    """Pairs from arrays or lists, members (pair,) or (pair, member)."""
    members = np.asarray(members, dtype=float)
    lead = np.asarray(lead, dtype=float)
    return Pairs(
        variable,
        np.broadcast_to(lead, len(members)).copy() if lead.ndim == 0 else lead,
        members[:, None] if members.ndim == 1 else members,
        np.asarray(observed, dtype=float),
        np.asarray(valid).astype("datetime64[h]"),
        np.zeros(len(members), dtype=int) if place is None else np.asarray(place, dtype=int),
        None if elevation is None else np.asarray(elevation, dtype=float),
        period,
    )


def control_pairs(pairs: Pairs) -> tuple[Pairs, tuple[Flag, ...]]:
    """Pairs with everything that cannot be believed made unknown, and a flag for each finding.

    ==============  ========================================================================  ==================
    check           rule                                                                      makes unknown
    ==============  ========================================================================  ==================
    bounds          outside the bounds of `advisor.variables`, for rain those of each hour     the value
    elevation       no land is so low or high: a mark for "missing" read as a number           the elevation
    disagrees       an observation `FAULTY_BEYOND` stated errors away from the forecast,       the observation
                    for variables that state one
    ==============  ========================================================================  ==================
    """
    variable = VARIABLES[pairs.variable]
    high = variable.high * (pairs.period if variable.kind == "sum" else 1)
    flags: list[Flag] = []

    def outside(values: np.ndarray, what: str) -> np.ndarray:
        wrong = (values < variable.low) | (values > high)
        if wrong.any():
            flags.append(Flag("bounds", pairs.variable, f"{int(wrong.sum())} {what} impossible, such as "
                              f"{values[wrong][0]:.4g}", makes_unknown=(pairs.variable,)))  # fmt: skip
        return np.where(wrong, np.nan, values)

    members, observed = outside(pairs.members, "forecast values"), outside(pairs.observed, "observations")
    elevation = pairs.elevation
    if elevation is not None:
        wrong = (elevation < LOWEST) | (elevation > HIGHEST)
        if wrong.any():
            flags.append(Flag("elevation", "elevation", f"{int(wrong.sum())} rows with an elevation of no land, such "
                              f"as {elevation[wrong][0]:.0f} m", makes_unknown=("elevation",)))  # fmt: skip
        elevation = np.where(wrong, np.nan, elevation)
    pairs = replace(pairs, members=members, observed=observed, elevation=elevation)
    if variable.spread is not None:
        away = np.abs(observed - pairs.centre)
        wrong = away > FAULTY_BEYOND * stated_error(pairs.variable, pairs.lead)
        if wrong.any():
            says = f"{int(wrong.sum())} observations too far from their forecast, by up to {away[wrong].max():.1f}"
            flags.append(Flag("disagrees", pairs.variable, says, makes_unknown=(pairs.variable,)))
            pairs = replace(pairs, observed=np.where(wrong, np.nan, observed))
    return pairs, tuple(flags)


#: what is learned and scored, and over how many hours it is taken
LEARNED_VARIABLES: dict[str, int] = {
    "air_temperature": 1,
    "dew_point": 1,
    "wind_speed_10m": 1,
    "precipitation": 12,
}


def pairs_of(
    forecast: Forecast, measured: Forecast, variable: str, lead: np.ndarray, place: int = 0
) -> Pairs:
    """Pairs of one forecast and the measurements of the same place, first site of both.

    Parameters
    ----------
    forecast, measured : Forecast
    variable : str
        Of `LEARNED_VARIABLES`.
    lead : ndarray (hour,)
        [h] from the forecast's issue to each of its hours; hours at 0 are left out.
    """
    period = LEARNED_VARIABLES[variable]
    ours, theirs = forecast.values(variable)[0], measured.values(variable)[0].mean(axis=0)
    axis = forecast.axis
    at = np.arange(measured.hours) + (measured.start - forecast.start).astype(int)
    truth = np.full(forecast.hours, np.nan)
    inside = (at >= 0) & (at < forecast.hours)
    truth[at[inside]] = theirs[inside]
    coming = lead > 0.0
    if period == 1:
        kept = coming & ~np.isnan(truth) & ~np.isnan(ours).all(axis=0)
        return make_pairs(
            variable, lead[kept], ours[:, kept].T, truth[kept], axis[kept], np.full(kept.sum(), place)
        )
    starts = np.flatnonzero(
        (axis.astype(int) % period == 0) & coming & (np.arange(len(axis)) + period <= len(axis))
    )
    span = starts[:, None] + np.arange(period)
    members, total = ours[:, span].sum(axis=-1).T, truth[span].sum(axis=-1)
    kept = ~np.isnan(total) & ~np.isnan(members).all(axis=-1)
    ends = lead[starts] + period
    where = np.full(kept.sum(), place)
    return make_pairs(
        variable, ends[kept], members[kept], total[kept], axis[starts[kept]], where, None, period
    )


def joined(parts: list[Pairs]) -> Pairs:
    """One table of several of the same variable; members padded with NaN to the longest."""
    width = max(part.members.shape[1] for part in parts)
    members = [
        np.pad(part.members, ((0, 0), (0, width - part.members.shape[1])), constant_values=np.nan)
        for part in parts
    ]
    first = parts[0]
    return make_pairs(
        first.variable,
        np.concatenate([part.lead for part in parts]),
        np.concatenate(members),
        np.concatenate([part.observed for part in parts]),
        np.concatenate([part.valid for part in parts]),
        np.concatenate([part.place for part in parts]),
        None,
        first.period,
    )
