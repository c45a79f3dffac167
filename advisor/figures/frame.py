"""The time axis that the rows of a figure share: hours, local days, nights, the person's hours, and the present."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from advisor.clock import HOUR, from_numpy, local_dates, to_numpy
from advisor.outlook import Outlook


@dataclass(frozen=True, eq=False)
class Frame:
    """What all rows of a figure have in common.

    Attributes
    ----------
    first : int
        Position on the forecast's axis of the first hour shown.
    hours : ndarray of datetime64[h] (hour,)
    days : tuple of (date, first, stop)
        Local days and the hours of the figure that they cover.
    night : tuple of (first, stop)
        Hours of the figure without sun.
    mine : ndarray of bool (hour,)
        Starts that lie ahead and inside somebody's hours, and at which the work fits.
    now : float, optional
        Where the present lies, in hours from the left; None outside.
    """

    first: int
    hours: np.ndarray
    days: tuple[tuple[date, int, int], ...]
    night: tuple[tuple[int, int], ...]
    mine: np.ndarray
    now: float | None
    zone_name: str
    clock_names: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.hours)

    def share(self, hour: float) -> float:
        return hour / len(self.hours)


def week_frame(outlook: Outlook, tasks: list[int], first_day: date, last_day: date) -> Frame | None:
    """The hours of some local days on the outlook's axis; None where the forecast holds none of them."""
    explainer, zone = outlook.explainer, outlook.household.site.zone
    if explainer is None:
        return None
    axis = explainer.area.conditions.axis
    dates = local_dates(axis, zone)
    inside = np.flatnonzero((dates >= np.datetime64(first_day)) & (dates <= np.datetime64(last_day)))
    if not len(inside):
        return None
    first, stop = int(inside[0]), int(inside[-1]) + 1
    hours, shown = axis[first:stop], dates[first:stop]
    days = tuple(
        (day.item(), int(np.flatnonzero(shown == day)[0]), int(np.flatnonzero(shown == day)[-1]) + 1)
        for day in np.unique(shown)
    )
    sun = explainer.area.conditions.sun_elevation[0, 0, first:stop]
    ahead = explainer.lead_hours[first:stop] >= 0.0
    spare = explainer.area.spare_time[tasks, 0, first:stop] >= -1e-9
    now = float((to_numpy(outlook.now) - hours[0].astype("datetime64[s]")) / np.timedelta64(3600, "s"))
    names = tuple(
        dict.fromkeys(from_numpy(hour).astimezone(zone).tzname() for hour in (hours[0], hours[-1] + HOUR))
    )
    return Frame(
        first=first,
        hours=hours,
        days=days,
        night=tuple(runs_of(sun < 0.0)),
        mine=spare.any(axis=0) & ahead,
        now=now if 0.0 <= now <= len(hours) else None,
        zone_name=zone.key,
        clock_names=names,
    )


def runs_of(mask: np.ndarray) -> list[tuple[int, int]]:
    """Runs of True as (first, stop)."""
    edges = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def clock_text(hour: np.datetime64, zone) -> str:
    return local(hour, zone).strftime("%H:%M")


def local(hour: np.datetime64, zone) -> datetime:
    return from_numpy(hour).astimezone(zone)
