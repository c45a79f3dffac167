"""Official warnings as an hourly series of a forecast: 1 in an hour that a warning touches, 0 in one that none does.

===================  ==========================================================================================
counts               warnings, watches and advisories about `STOPPING`, from their onset to their end; the time at
                     which the message runs out is not looked at, and an end that is not stated is no end
0                    no such warning stands in a list that was fetched within `LIST_AGE_LIMIT`: warnings reach a day
                     or two ahead, so that 0 says that none is announced, not that none will come
unknown              the household asked for warnings and there is no list, or it is too old
no series            nobody asked, or no source in use offers them here; a note says which
===================  ==========================================================================================
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from advisor.clock import HOUR, local_text, to_numpy
from advisor.forecast import Field, Flag, Forecast, Reason
from advisor.model import Settings
from advisor.sources import SOURCES
from advisor.sources.nws_alerts import Alert

VARIABLE = "warning_in_force"
#: what a spraying day is stopped for
STOPPING = ("wind", "thunder", "heat", "flood")
#: a list older than this may lack a warning that was given since [h]; twice the usual time between two pulls. Common
#: practice, no source.
LIST_AGE_LIMIT = 6.0
CHECK = "official-warning"

_OPEN = ", its end not stated,"

State = Literal["known", "missing", "off", "not-offered"]


@dataclass(frozen=True, slots=True)
class Warnings:
    """What is known of official warnings at a place.

    Attributes
    ----------
    state : str
        "known", "missing" (asked for and not there), "off" (nobody asks) or "not-offered" (no source in use has them).
    fetched_at : datetime, optional
        When the list was last vouched for.
    why : str
        Why it is missing.
    """

    state: State
    alerts: tuple[Alert, ...] = ()
    fetched_at: datetime | None = None
    why: str = ""
    source: str = ""


def offering(settings: Settings, what: str = "warnings") -> str | None:
    """The source in use that offers warnings or observations, None where none does."""
    used = (*settings.sources, *((settings.cross_check,) if settings.cross_check else ()))
    return next((name for name in used if name in SOURCES and what in SOURCES[name].offers), None)


def asked_for(settings: Settings) -> State:
    """"missing" until a list is there, where the household asks for warnings and a source in use offers them."""
    if not settings.warnings:
        return "off"
    return "missing" if offering(settings) else "not-offered"


def with_warnings(forecast: Forecast, warnings: Warnings, now: datetime) -> Forecast:
    """The forecast with the hourly series of warnings, and a flag for each warning that stops work.

    Parameters
    ----------
    forecast : Forecast
        After quality control, with the hours that are asked about on its axis.
    warnings : Warnings
    now : datetime
        Aware.
    """
    if warnings.state in ("off", "not-offered"):
        return _noted(forecast, _NOT_LOOKED_AT[warnings.state])
    why = warnings.why if warnings.state == "missing" else too_old(warnings, now)
    if why:
        shape = (1, 1, forecast.hours)
        one = Field(np.full(shape, np.nan), np.full(shape, Reason.NOT_FETCHED, dtype=np.uint8))
        flag = Flag("warnings-missing", VARIABLE, f"official warnings are not known: {why}", makes_unknown=(VARIABLE,))
        return _noted(forecast.with_fields({VARIABLE: one}, [flag]), f"official warnings are not known: {why}")
    stopping = [alert for alert in warnings.alerts if alert.subject in STOPPING]
    values = np.zeros(forecast.hours)
    flags = []
    for alert in stopping:
        first, last = _hours(alert, forecast)
        if first <= last:
            values[first : last + 1] = 1.0
            flags.append(Flag(CHECK, VARIABLE, _named(alert), forecast.axis[first], forecast.axis[last]))
    one = Field(values[None, None], np.zeros((1, 1, forecast.hours), dtype=np.uint8))
    told = "; ".join(dict.fromkeys(flag.says for flag in flags)) or "none for wind, thunder, heat or flood"
    return _noted(forecast.with_fields({VARIABLE: one}, flags), f"official warnings: {told}")


_NOT_LOOKED_AT = {
    "off": "official warnings are not looked at: they are switched off",
    "not-offered": "official warnings are not looked at: no source in use offers them",
}


def too_old(warnings: Warnings, now: datetime) -> str:
    """Why a list no longer counts; empty where it does."""
    if warnings.fetched_at is None:
        return "it is not known when the list was fetched"
    age = (now - warnings.fetched_at) / timedelta(hours=1)
    if age < -1.0:
        return f"the list was fetched {-age:.1f} h in the future, by this clock"
    return "" if age <= LIST_AGE_LIMIT else f"the newest list is {age:.0f} h old, and may be {LIST_AGE_LIMIT:g} h"


def in_words(forecast: Forecast, first: int, stop: int, zone: ZoneInfo) -> str:
    """The warnings that touch the hours [first, stop) of the axis: "Heat Advisory from Sun 2 Aug 12:00 to ..."."""
    begin, end = forecast.start + first * HOUR, forecast.start + stop * HOUR
    told = []
    for flag in forecast.flags:
        if flag.check == CHECK and flag.first_hour < end and flag.last_hour >= begin:
            until = "" if flag.says.endswith(_OPEN) else f" to {local_text(flag.last_hour + HOUR, zone)}"
            told.append(f"{flag.says} from {local_text(flag.first_hour, zone)}{until}")
    return " and ".join(dict.fromkeys(told)) or "an official warning"


def _hours(alert: Alert, forecast: Forecast) -> tuple[int, int]:
    """First and last hour of the axis that the event touches; last before first where it touches none."""
    first = 0 if alert.onset is None else forecast.index(to_numpy(alert.onset, "h"))
    if alert.ends is None:
        last = forecast.hours - 1
    else:
        # an end on the full hour does not touch the hour that begins then
        last = forecast.index(to_numpy(alert.ends - timedelta(seconds=1), "h"))
        if alert.onset is not None and alert.ends <= alert.onset:
            last = -1
    return max(first, 0), min(last, forecast.hours - 1)


def _named(alert: Alert) -> str:
    return " ".join(alert.event.split()) + ("" if alert.ends is not None else _OPEN)


def _noted(forecast: Forecast, note: str) -> Forecast:
    provenance = forecast.provenance
    return replace(forecast, provenance=replace(provenance, notes=(*provenance.notes, note)))

