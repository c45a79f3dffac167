"""A pass that was missed: what can still be done, ranked. Choosing changes the plan, never the records.

======  ================================================================================================
kind    what it is
======  ================================================================================================
window  a day inside the time in which the pass is wanted
late    a day after it, at the worth that lateness leaves
later   the first good day after the forecast, until the last one that makes sense
again   the sequence begun anew: a first pass, and the follow-ups after it
leave   nothing more this season
======  ================================================================================================
"""

from advisor.reschedule.candidates import WORTH_AGAIN, WORTH_LEFT
from advisor.reschedule.case import what_lateness_costs
from advisor.reschedule.choices import Choice, Effect, Kind, Missed
from advisor.reschedule.missed import find_missed

__all__ = [
    "WORTH_AGAIN",
    "WORTH_LEFT",
    "Choice",
    "Effect",
    "Kind",
    "Missed",
    "find_missed",
    "what_lateness_costs",
]
