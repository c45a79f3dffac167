"""What happens in the season: weather, outages of providers and channels, set clocks. Pure functions of a seed."""

from __future__ import annotations

import hashlib
import random
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

ZONE = ZoneInfo("America/Chicago")
HOUR = timedelta(hours=1)
#: local hours in which a go day may be begun
FIRST_START, LAST_START = 11, 15


@dataclass(frozen=True)
class World:
    """`begins` is the first instant; spans are (from, until) of the service's own clock."""

    seed: int
    begins: datetime
    days: int
    provider_down: tuple[tuple[datetime, datetime], ...] = ()
    hook_down: tuple[tuple[datetime, datetime], ...] = ()
    #: (from when, by how much the clock is off)
    clock_set: tuple[tuple[datetime, timedelta], ...] = ()
    cache: dict = field(default_factory=dict, compare=False, repr=False)

    @property
    def ends(self) -> datetime:
        return self.begins + timedelta(days=self.days)

    def clock(self, true: datetime) -> datetime:
        """What the computer's clock shows."""
        off = timedelta(0)
        for since, by in self.clock_set:
            if true >= since:
                off = by
        return true + off

    def truth(self, day: date) -> str:
        """What the day will be."""
        draw = _draw(self.seed, "truth", day)
        return "go" if draw < 0.38 else "no-go" if draw < 0.95 else "unknown"

    def forecast(self, day: date, pulled: datetime) -> str:
        """What the forecast pulled then says of a day: often wrong two days ahead, seldom on the day itself."""
        today = pulled.astimezone(ZONE).date()
        ahead = (day - today).days
        if ahead > 2:
            return "unknown"
        wrong = (0.06, 0.16, 0.3)[max(ahead, 0)]
        if _draw(self.seed, "wrong", day, pulled.timestamp() // 10800) < wrong:
            return "no-go" if self.truth(day) == "go" else "go"
        return self.truth(day)

    def last_start(self, day: date, pulled: datetime) -> int:
        """The last local hour of a go window; it moves from forecast to forecast."""
        span = LAST_START - FIRST_START
        return LAST_START - int(_draw(self.seed, "window", day, pulled.timestamp() // 43200) * (span + 1) * 0.6)

    def makes_the_pass(self, day: date) -> bool:
        return _draw(self.seed, "person", day) < 0.5

    def is_down(self, spans, now: datetime) -> bool:
        return any(since <= now < until for since, until in spans)


def make_world(days: int, seed: int) -> World:
    """A season from 1 August 2026, across the end of daylight saving when it is long enough."""
    begins = datetime(2026, 8, 1, 5, tzinfo=UTC)
    dice = random.Random(seed)
    return World(
        seed, begins, days,
        provider_down=_spans(dice, begins, days, every=9.0, hours=(2.0, 40.0)),
        hook_down=_spans(dice, begins, days, every=8.0, hours=(0.2, 9.0)),
        clock_set=_clock(dice, begins, days),
    )  # fmt: skip


def _spans(dice: random.Random, begins: datetime, days: int, every: float, hours) -> tuple:
    found, at = [], begins + timedelta(days=dice.uniform(0.5, every))
    while at < begins + timedelta(days=days):
        length = timedelta(hours=dice.uniform(*hours))
        found.append((at, at + length))
        at += length + timedelta(days=dice.expovariate(1.0 / every))
    return tuple(found)


def _clock(dice: random.Random, begins: datetime, days: int) -> tuple:
    """Now and then somebody sets the clock, by minutes or hours or, seldom, by days, and sets it right again."""
    found, at = [], begins + timedelta(days=dice.uniform(1.0, 4.0))
    while at < begins + timedelta(days=days):
        days_off = timedelta(days=dice.choice((-2, 2)))
        by = dice.choice([HOUR * dice.uniform(-0.8, 0.8), HOUR, -HOUR, HOUR * dice.uniform(-6, 6), days_off])
        right = at + timedelta(hours=dice.uniform(1.0, 30.0))
        found += [(at, by), (right, timedelta(0))]
        at = right + timedelta(days=dice.expovariate(1.0 / 8.0))
    return tuple(found)


def _draw(*parts: object) -> float:
    text = "|".join(map(str, parts)).encode()
    return int.from_bytes(hashlib.sha256(text).digest()[:8], "big") / 2**64
