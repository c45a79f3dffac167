"""Sun times of one day for a person to read, in the clock of the site."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np

from advisor.sun.events import SUNRISE_ELEVATION, sun_events
from advisor.sun.position import solar_elevation

_AGREEMENT = dt.timedelta(minutes=3)
"""astral's time is taken only within this distance of our own; it is normally within one minute."""


@dataclass(frozen=True, slots=True)
class SunDay:
    """Sun times of one local date, all zone-aware.

    kind is "ordinary", "polar_day" (up all day), "polar_night" (below the horizon all day), or "unknown" when
    the place is not known. sunrise and sunset are those around the date's solar noon, so that a midsummer
    sunset may fall after midnight; None where there is none. source names where the times come from.
    """

    kind: Literal["ordinary", "polar_day", "polar_night", "unknown"]
    date: dt.date
    sunrise: dt.datetime | None
    noon: dt.datetime | None
    sunset: dt.datetime | None
    source: str


def sun_day(date: dt.date, latitude: float, longitude: float, zone: str | dt.tzinfo) -> SunDay:
    """Sunrise, solar noon and sunset of a local date for printing; never raises on a place or a season.

    Asks astral for each event by itself (its ``sun()`` fails when any of five events fails) and falls back on
    `sun_events` where astral fails or disagrees.

    Parameters
    ----------
    date : datetime.date
        Local date.
    latitude, longitude : float
        North and east positive. [degrees]
    zone : str or tzinfo
        Clock of the site, such as "America/Chicago".

    Returns
    -------
    SunDay
        See there.

    References
    ----------
    NOAA Global Monitoring Laboratory, Solar Calculator (also the base of astral).
    """
    clock = ZoneInfo(zone) if isinstance(zone, str) else zone
    if not (math.isfinite(latitude) and math.isfinite(longitude)):
        return SunDay("unknown", date, None, None, None, "no coordinates")
    sunrise, noon, sunset = _own_times(date, latitude, longitude, clock)
    if sunrise is None and sunset is None:
        stamp = np.datetime64(noon.astimezone(dt.UTC).replace(tzinfo=None), "s")
        above = float(solar_elevation(stamp, latitude, longitude)) > SUNRISE_ELEVATION
        return SunDay("polar_day" if above else "polar_night", date, None, noon, None, "NOAA equations")
    theirs = _astral_times(sunrise, sunset, latitude, longitude)
    used = "astral" if any(time is not None for time in theirs) else "NOAA equations"
    sunrise, sunset = theirs[0] or sunrise, theirs[1] or sunset
    local = [None if time is None else time.astimezone(clock) for time in (sunrise, sunset)]
    return SunDay("ordinary", date, local[0], noon, local[1], used)


def _own_times(date, latitude, longitude, clock):
    """Our own sunrise, transit and sunset of the solar day whose noon falls on the local date."""
    days = np.datetime64(date, "D") + np.array([0, -1, 1])
    events = sun_events(days, latitude, longitude)
    noons = [_aware(time).astimezone(clock) for time in events.transit]
    chosen = next((i for i, noon in enumerate(noons) if noon.date() == date), 0)
    return _aware(events.sunrise[chosen]), noons[chosen], _aware(events.sunset[chosen])


def _aware(stamp) -> dt.datetime | None:
    return None if np.isnat(stamp) else stamp.astype("datetime64[s]").item().replace(tzinfo=dt.UTC)


def _astral_times(sunrise, sunset, latitude, longitude):
    """astral's sunrise and sunset next to ours, or None where it fails or is more than three minutes off."""
    try:
        from astral import Observer
        from astral import sun as astral_sun
    except ImportError:
        return None, None
    place = Observer(latitude=latitude, longitude=longitude)
    found = []
    for name, own in (("sunrise", sunrise), ("sunset", sunset)):
        best = None
        if own is not None:
            for day in (own.date(), own.date() - dt.timedelta(days=1), own.date() + dt.timedelta(days=1)):
                try:
                    theirs = getattr(astral_sun, name)(place, date=day, tzinfo=dt.UTC)
                except Exception:  # noqa: BLE001  # astral raises ValueError, and others, on ordinary days
                    continue
                if abs(theirs - own) <= _AGREEMENT:
                    best = theirs
                    break
        found.append(best)
    return tuple(found)
