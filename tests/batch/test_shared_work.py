"""What sites and tasks share is worked out once: the sun of the days, and local days of tasks in several zones."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from advisor.area_conditions.clock import local_days
from advisor.rulebook.later import Later
from advisor.series import Series
from advisor.sun import nights, sun_events

AXIS = np.datetime64("2026-10-30T05", "h") + np.arange(115)
ZONES = [ZoneInfo(name) for name in ("America/Chicago", "America/Denver", "America/Chicago", "UTC")]


def length(zone: ZoneInfo, day: np.datetime64) -> int:
    """How many full hours of UTC a local day has, counted one by one; source: the time zone database."""
    first = datetime.combine(day.item(), time(0), tzinfo=UTC) - timedelta(hours=15)
    hours = (first + timedelta(hours=at) for at in range(60))
    return sum(hour.astimezone(zone).date() == day.item() for hour in hours)


@pytest.mark.parametrize("zones", [ZONES, ZONES[:1] * 4], ids=["zones that differ", "one zone"])
@pytest.mark.parametrize("gaps", [0.0, 0.1])
def test_days_are_reduced_as_hour_after_hour_would_be(zones, gaps):
    """The axis holds the day of 25 hours, 1 November 2026 in the United States, and days that it only touches."""
    draw = np.random.default_rng(3)
    values = draw.normal(size=(4, 3, len(AXIS)))
    values[draw.random(values.shape) < gaps] = np.nan
    local, series = local_days(AXIS, zones), Series(values)
    found = {"highest": local.highest(series), "lowest": local.lowest(series), "total": local.total(series),
             "mean": local.mean(series), "whole": local.whole(series), "known": local.known(series)}  # fmt: skip
    for task in range(4):
        for member in range(3):
            for day in range(local.count):
                hours = values[task, member, local.index[task] == day]
                known = hours[~np.isnan(hours)]
                wanted = {
                    "highest": known.max(initial=-np.inf), "lowest": known.min(initial=np.inf), "total": known.sum(),
                    "mean": known.sum() / max(len(known), 1), "known": len(known),
                    "whole": len(known) == length(zones[task], local.days[task, day]),
                }  # fmt: skip
                for name, value in wanted.items():
                    shape = (4, 3, local.count)
                    assert np.broadcast_to(found[name], shape)[task, member, day] == pytest.approx(value), (
                        name,
                        day,
                    )
    held = np.broadcast_to(local.held, (4, 1, local.count))
    assert (held == 25).any() and (held == 24).any() and (held < 23).any()


@pytest.mark.parametrize("latitude", [-65.0, -30.0, 0.0, 41.6, 60.0, 70.0])
def test_nights_have_the_sunsets_of_single_days(latitude):
    """Sites share the sun's place twelve hours apart; each sunset is the one that its own day gives, to the second."""
    longitude = np.array([-179.0, -93.6, 0.0, 100.0, 179.0])
    north = np.full(5, latitude)
    start = np.datetime64("2026-06-10T00:00:00")
    sunset, sunrise = nights(start, start + np.timedelta64(240, "h"), north, longitude)
    days = np.arange("2026-06-05", "2026-06-26", dtype="datetime64[D]")
    alone = sun_events(days[None, :], north[:, None], longitude[:, None])
    for site in range(5):
        falls, rises = alone.sunset[site], alone.sunrise[site]
        if np.isnat(falls).any() or np.isnat(rises).any():
            continue
        assert np.isin(sunset[site], falls).all() and np.isin(sunrise[site], rises).all()


def test_numbers_that_nobody_reads_are_not_made():
    made = []

    @dataclass(frozen=True)
    class Kept:
        number: int = Later()
        other: int | None = Later(None)

    one = Kept(lambda: made.append(1) or 7)
    assert not made and one.other is None
    assert one.number == 7 and one.number == 7 and made == [1]
    assert Kept(3, 4).other == 4
    with pytest.raises(TypeError, match="number"):
        Kept()
