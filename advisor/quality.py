"""Quality control of a forecast: what cannot be believed becomes unknown, and a flag says why.

Nothing here fills a gap. A value is taken away when it is impossible, contradicts another, repeats for too
long, or when the whole forecast is too old; one value is changed, the gust, which is raised to the mean wind.

====================  =======================================================  ========================
check                 rule                                                     makes unknown
====================  =======================================================  ========================
age                   older than the source's limit, issued or fetched over    everything
                      1 h in the future, of unknown age, or silent about now
bounds                outside the bounds of `advisor.variables`                the value
stuck                 one value for longer than `STUCK_HOURS`, hour by hour;   the run
                      calm, saturated air and zero are left alone
no-gust               gust below half of a mean wind of 2 m/s or more          the gust
gust-below-wind       gust below the mean wind of the hour                     nothing; it is raised
dew-point-above-air   dew point above the air temperature beyond rounding      both, and the humidity
humidity-disagrees    humidity unlike that of temperature and dew point        humidity and dew point
sun-at-night          radiation while the sun is well below the horizon        radiation, throughout
rain-without-chance   measurable rain where its chance is stated as 0          nothing
gap, ends-early       hours inside the forecast or at its end without a value  nothing more
members               fewer members than the source promises                   nothing more
====================  =======================================================  ========================
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from advisor.clock import to_numpy
from advisor.forecast import Field, Flag, Forecast, Reason
from advisor.quality_checks import CHECKS, raised
from advisor.sources import SOURCES
from advisor.variables import VARIABLES

#: for a source that is not in the table of sources [h]. Common practice, no source.
DEFAULT_AGE_LIMIT = 12.0
#: clocks may disagree by this much [h]
FUTURE_SLACK = 1.0

#: without any of these at the present hour a forecast is silent about now
_CORE = ("air_temperature", "wind_speed_10m", "precipitation")


def control(forecast: Forecast, now: datetime, age_limit_hours: float | None = None) -> Forecast:
    """Forecast with everything that cannot be believed made unknown, and a flag for each finding.

    Parameters
    ----------
    now : datetime
        Aware. For weather of the past, give `age_limit_hours=math.inf`, and `now` is not looked at.
    age_limit_hours : float, optional
        Limit of the forecast's age [h]; the source's own when not given.
    """
    flags: list[Flag] = []
    stale = _age(forecast, now, age_limit_hours)
    if stale:
        return _all_unknown(forecast, stale)
    fields = dict(forecast.fields)
    for check in CHECKS:
        check(forecast, fields, flags)
    _gaps(forecast, flags)
    _members(forecast, fields, flags)
    return forecast.with_fields(fields, flags)


def age_limit(source_name: str) -> float:
    """How old a forecast of this source may be [h]."""
    return SOURCES[source_name].age_limit_hours if source_name in SOURCES else DEFAULT_AGE_LIMIT


def _age(forecast: Forecast, now: datetime, limit: float | None) -> str:
    """Why the forecast is stale; empty when it is not."""
    provenance = forecast.provenance
    limit = age_limit(provenance.source) if limit is None else limit
    if limit == np.inf:
        return ""
    counts_from_issue = provenance.source in SOURCES and SOURCES[provenance.source].age_counts_from == "issue"
    if counts_from_issue and provenance.issued_at is None:
        return "it does not say when it was issued"
    age = provenance.age_hours(now)
    if age is None:
        return "its age is not known: neither the time of issue nor of asking is stated"
    if not age <= limit:
        return f"it is {age:.0f} h old, and may be {limit:g} h"
    for said, instant in (("issued", provenance.issued_at), ("fetched", provenance.fetched_at)):
        if instant is not None and instant - now > timedelta(hours=FUTURE_SLACK):
            return (
                f"it was {said} {(instant - now).total_seconds() / 3600.0:.1f} h in the future, by this clock"
            )
    return "" if _holds(forecast, now) else "none of its periods holds the present hour"


def _holds(forecast: Forecast, now: datetime) -> bool:
    """Whether any core variable is known at the hour of `now` or the one after it.

    A fresh answer may begin with the next full hour.
    """
    at = forecast.index(to_numpy(now, "h"))
    carried = [name for name in _CORE if name in forecast.fields] or list(forecast.fields)
    for name in carried:
        known = forecast.fields[name].known
        if known[..., max(0, at) : max(0, at + 2)].any():
            return True
    return False


def _all_unknown(forecast: Forecast, why: str) -> Forecast:
    fields = {
        name: replace(
            one, values=np.full_like(one.values, np.nan), reason=np.full_like(one.reason, int(Reason.STALE))
        )
        for name, one in forecast.fields.items()
    }
    flag = Flag("age", "all", f"the forecast is stale: {why}", makes_unknown=tuple(forecast.fields))
    return forecast.with_fields(fields, [flag])


def _gaps(forecast: Forecast, flags: list[Flag]) -> None:
    """Holes of the source's own; what the checks took away has flags of its own."""
    lasts = {}
    for name, one in forecast.fields.items():
        known = one.known.any(axis=(0, 1))
        hours = np.flatnonzero(known)
        if not len(hours):
            continue
        lasts[name] = int(hours[-1])
        inside = ~known
        inside[: hours[0]] = False
        inside[hours[-1] + 1 :] = False
        if inside.any():
            says = f"{int(inside.sum())} hours inside the forecast have no {VARIABLES[name].says}"
            flags.append(raised(forecast, inside[None, None, :], "gap", name, says, (name,)))
    end = max(lasts.values(), default=0)
    for name, last in lasts.items():
        # Instants end an hour after the sums of the same answer, which is no early end.
        if end - last > 1:
            tail = np.arange(forecast.hours) > last
            says = f"{VARIABLES[name].says} ends {end - last} h before the forecast does"
            flags.append(raised(forecast, tail[None, None, :], "ends-early", name, says, (name,)))


def _members(forecast: Forecast, fields: dict[str, Field], flags: list[Flag]) -> None:
    if forecast.members == 1:
        return
    for name, one in fields.items():
        if one.values.shape[1] == 1:
            continue
        arrived = one.known.sum(axis=1)
        short = (arrived > 0) & (arrived < forecast.nominal_members)
        if short.any():
            fewest = int(arrived[short].min())
            most = int(np.broadcast_to(forecast.nominal_members, short.shape)[short].max())
            says = f"only {fewest} of {most} members have {VARIABLES[name].says}; the rest count as unknown"
            flags.append(raised(forecast, short[:, None, :], "members", name, says))
