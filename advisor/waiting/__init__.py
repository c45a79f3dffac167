"""Go now or wait: what today is worth against the days that are left, by optimal stopping."""

from advisor.waiting.prospects import Climate, Prospects, TaskWaiting, prospects_of
from advisor.waiting.stopping import Waiting, beta_distribution, firmness, go_or_wait
from advisor.waiting.worth import COST_OF_A_DAY, cost_of_a_day, gains, lateness_gain

__all__ = [
    "COST_OF_A_DAY",
    "Climate",
    "Prospects",
    "TaskWaiting",
    "Waiting",
    "beta_distribution",
    "cost_of_a_day",
    "firmness",
    "gains",
    "go_or_wait",
    "lateness_gain",
    "prospects_of",
]
