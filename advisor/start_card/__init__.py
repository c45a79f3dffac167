"""The start card: what is measured and seen on the spot in the last quarter hour, and the verdict again with it.

A forecast never starts a job. The readings take the place of the forecast at the hour of the start, and go through
the same rules; what only eyes can tell (leaves, people, windows, the sprayer) is asked for, and an answer that is
missing is no go.
"""

from advisor.start_card.judge import Check, StartCard, judge_start
from advisor.start_card.readings import BEAUFORT, GOOD_FOR_MINUTES, SMOKE, ConditionsOnTheSpot, Readings
from advisor.start_card.stops import Stop

__all__ = [
    "BEAUFORT",
    "GOOD_FOR_MINUTES",
    "SMOKE",
    "Check",
    "ConditionsOnTheSpot",
    "Readings",
    "StartCard",
    "Stop",
    "judge_start",
]
