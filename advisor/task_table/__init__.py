"""Many tasks as arrays (task,), so that thousands are scored like one.

A task is one treatment on one area on one pass. What a rule may ask about it stands here in SI floats and plain words;
NaN and None mean that nobody has said, and `notes` says whose turn it is to say it.
"""

from advisor.task_table.build import build
from advisor.task_table.facts import FACTS, NEIGHBOUR_FACTS
from advisor.task_table.table import TaskTable

__all__ = ["FACTS", "NEIGHBOUR_FACTS", "TaskTable", "build"]
