"""The chain of passes: where it stands, what is next, what the label leaves of the year, from the ledger alone."""

from advisor.sequence.passes import (
    active_plan,
    follow_up_after,
    follow_up_span,
    is_overdue,
    next_tasks,
    overdue_words,
    passes_done,
    progress,
    soonest_follow_up,
    wanted_days,
)
from advisor.sequence.room import Room, room_left

__all__ = [
    "Room",
    "active_plan",
    "follow_up_after",
    "follow_up_span",
    "is_overdue",
    "next_tasks",
    "overdue_words",
    "passes_done",
    "progress",
    "room_left",
    "soonest_follow_up",
    "wanted_days",
]
