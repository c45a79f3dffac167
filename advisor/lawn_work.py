"""What the person does to the lawn besides, mowing and seeding: as moments, and the time between them and a start.

Only the day of a mowing is known, so it counts whole: a start is counted from the end of the day before it, and to the
beginning of the day after it.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from advisor.clock import local_instant, to_numpy
from advisor.model import Area

#: [h] of no mowing before a pass, where the label states none: two days, common practice, no source. The rule file
#: says the same; here it only bounds for how long an unstated mowing leaves the answer open.
USUAL_MOWING_WAIT = 48.0
#: turf counts as newly seeded for this long [days]; common practice, no source
NEW_FOR_DAYS = 365

#: moments of `TaskTable.instants`
INSTANTS = ("asked_at", "mowed", "mowing", "mowing_over", "seeding")


def lawn_instants(area: Area, zone: ZoneInfo, now: datetime) -> dict[str, np.datetime64]:
    """Moments of an area's mowing and seeding, UTC; only those that are stated, and done by the time of asking."""
    out = {"asked_at": to_numpy(now)}
    if area.last_mowed is not None and area.last_mowed <= now.astimezone(zone).date():
        out["mowed"] = _midnight(area.last_mowed + timedelta(days=1), zone)
    if area.next_mowing is not None:
        out["mowing"] = _midnight(area.next_mowing, zone)
        out["mowing_over"] = _midnight(area.next_mowing + timedelta(days=1), zone)
    if area.seeding_planned is not None:
        out["seeding"] = _midnight(area.seeding_planned, zone)
    return out


def _midnight(day: date, zone: ZoneInfo) -> np.datetime64:
    return to_numpy(local_instant(day, time(0), zone))


def newly_seeded(area: Area, today: date) -> bool:
    return area.seeded_on is not None and 0 <= (today - area.seeded_on).days < NEW_FOR_DAYS


def mowings_since_seeding(area: Area, today: date) -> float:
    """How often the new turf has been mowed; NaN where nobody counted, infinite on turf that is not new."""
    if not newly_seeded(area, today):
        return np.inf
    return np.nan if area.mowings_since_seeding is None else float(area.mowings_since_seeding)


def seeding_open(area: Area, today: date) -> bool:
    """Whether a seeding is planned, or was planned and has not been answered yet."""
    planned, seeded = area.seeding_planned, area.seeded_on
    return planned is not None and not (seeded is not None and seeded >= planned)


def time_since_mowing(axis: np.ndarray, instants, label) -> np.ndarray:
    """[h] from the end of the last mowing day to each start (task, 1, hour).

    A mowing that is planned counts once its day is over; on the day itself the time is 0. Where no mowing is stated,
    the lawn was not mowed after the question was asked, which is enough for starts that lie far enough ahead; nearer
    ones are NaN.
    """
    starts = axis.astype("datetime64[s]")[None, :]
    stated = _hours(starts, instants["mowed"])
    coming = _hours(starts, instants["mowing_over"])
    begun = _hours(starts, instants["mowing"]) >= 0.0
    since = np.where(np.isnan(stated), np.inf, np.maximum(stated, 0.0))
    since = np.where(begun & ~np.isnan(coming), np.minimum(since, np.maximum(coming, 0.0)), since)
    asked = _hours(starts, instants["asked_at"])
    wanted = label["mowing_before"][:, None]
    wanted = np.where(np.isnan(wanted), USUAL_MOWING_WAIT, wanted)
    unstated = np.isnan(stated) & ~(begun & ~np.isnan(coming))
    since = np.where(unstated, np.where(asked >= wanted, asked, np.nan), since)
    return since[:, None, :]


def time_to_mowing(axis: np.ndarray, instants, duration: np.ndarray) -> np.ndarray:
    """[h] from the end of the work to the day of the next mowing (task, 1, hour); infinite where none is planned."""
    ends = _ends(axis, duration)
    ahead = -_hours(ends, instants["mowing"])
    over = -_hours(ends, instants["mowing_over"])
    left = np.where(np.isnan(ahead) | (over <= 0.0), np.inf, ahead)
    return left[:, None, :]


def time_to_seeding(axis: np.ndarray, instants, duration: np.ndarray) -> np.ndarray:
    """[h] from the end of the work to the day of the planned seeding (task, 1, hour).

    Infinite where none is planned; NaN where the day lies in the past, because nobody says whether seed went down.
    """
    ahead = -_hours(_ends(axis, duration), instants["seeding"])
    passed = instants["seeding"] + np.timedelta64(1, "D") <= instants["asked_at"]
    left = np.where(np.isnan(ahead), np.inf, np.where(passed[:, None], np.nan, ahead))
    return left[:, None, :]


def _ends(axis: np.ndarray, duration: np.ndarray) -> np.ndarray:
    return axis.astype("datetime64[s]")[None, :] + (duration[:, None] * 3600.0).astype("timedelta64[s]")


def _hours(moments: np.ndarray, since: np.ndarray) -> np.ndarray:
    """[h] from `since` (task,) to each moment (task or 1, hour); NaN where there is none."""
    elapsed = (moments - since[:, None]) / np.timedelta64(3600, "s")
    return np.where(np.isnat(since)[:, None], np.nan, elapsed)
