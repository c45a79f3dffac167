"""Where the service reads the time: the computer's clock, or a faster one for demonstrations and tests."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Protocol, runtime_checkable


@runtime_checkable
class Clock(Protocol):
    """`rate` is how many seconds it advances in one second."""

    @property
    def rate(self) -> float: ...

    def now(self) -> datetime:
        """The present instant, aware, UTC."""
        ...


class RealClock:
    rate = 1.0

    def now(self) -> datetime:
        return datetime.now(UTC)

    def __repr__(self) -> str:
        return "RealClock()"


@dataclass(frozen=True)
class FastClock:
    """Shows `start` at the anchor and then runs `rate` times as fast as time itself.

    The anchor is a reading of the monotonic clock, which setting the computer's clock does not move. Two
    processes with the same start, rate and anchor show the same time.
    """

    start: datetime
    rate: float
    anchor: float = field(default_factory=time.monotonic)

    def __post_init__(self):
        if self.start.tzinfo is None:
            raise ValueError("the start names no time zone")
        if not 0 < self.rate <= 1e6:
            raise ValueError(f"the rate {self.rate} is not between 0 and a million")

    def now(self) -> datetime:
        elapsed = timedelta(seconds=(time.monotonic() - self.anchor) * self.rate)
        return self.start.astimezone(UTC) + elapsed


class SetClock:
    """Shows what it was set to last."""

    rate = 1.0

    def __init__(self, now: datetime):
        self.set(now)

    def set(self, now: datetime) -> None:
        self._now = now.astimezone(UTC)

    def advance(self, by: timedelta) -> None:
        self._now += by

    def now(self) -> datetime:
        return self._now
