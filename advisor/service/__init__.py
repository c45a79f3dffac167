"""The service: it pulls weather, decides what is owed, and tells it in time, once."""

from advisor.service.clocks import Clock, FastClock, RealClock, SetClock
from advisor.service.cycle import Cycle, Outcome, Plan
from advisor.service.due import Occasion, Schedule, Work, due
from advisor.service.health import Health, check
from advisor.service.lock import ServiceLock
from advisor.service.serve import Part, serve, serve_parts

__all__ = [
    "Clock",
    "Cycle",
    "FastClock",
    "Health",
    "Occasion",
    "Outcome",
    "Part",
    "Plan",
    "RealClock",
    "Schedule",
    "ServiceLock",
    "SetClock",
    "Work",
    "check",
    "due",
    "serve",
    "serve_parts",
]
