"""What a pass that succeeds is worth by its day: in full on time, less when late, nothing before it is wanted."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from advisor.model import Settings

#: a late follow-up loses half its worth in this time, in which the weeds that were hit have grown new leaves and a
#: first pass would have to be made again [days]. Common practice, no source.
HALVES_IN_DAYS = 21.0
#: each day of waiting costs this part of a pass where the household states no costs; it settles ties in favour of the
#: sooner day. Common practice, no source.
COST_OF_A_DAY = 0.005


def lateness_gain(days_late) -> np.ndarray | float:
    """Worth of a pass made this long after it was wanted, 0.5 ** (days / 21).

    Parameters
    ----------
    days_late : array_like
        [days]; what is early or on time counts in full. NaN gives NaN.

    Returns
    -------
    numpy.ndarray or float
        1 on time, towards 0.

    Notes
    -----
    Common practice, no source: nobody has published how fast a follow-up loses its worth. The shape makes every further
    day cost the same part (3.2 %) of what is left, so that a pass that is late already is not put off more easily.
    """
    late = np.asarray(days_late, dtype=float)
    return (0.5 ** (np.maximum(late, 0.0) / HALVES_IN_DAYS))[()]


def gains(
    days: Sequence[date],
    wanted_from: date | None,
    wanted_until: date | None,
    cost_of_a_day: float = COST_OF_A_DAY,
) -> np.ndarray:
    """Worth of a success on each day (day,), the first one today.

    Parameters
    ----------
    days : sequence of date
        In order, today first.
    wanted_from, wanted_until : date, optional
        First day on which the pass is wanted, or allowed, and last one on which it is on time; None sets no bound.
    cost_of_a_day : float
        Part of a pass that a day of waiting costs.
    """
    numbers = np.array([day.toordinal() for day in days], dtype=float)
    if not len(numbers):
        return numbers
    worth = np.maximum(1.0 - cost_of_a_day * (numbers - numbers[0]), 0.0)
    if wanted_until is not None:
        worth *= lateness_gain(numbers - wanted_until.toordinal())
    if wanted_from is not None:
        worth[numbers < wanted_from.toordinal()] = 0.0
    return worth


def cost_of_a_day(settings: Settings) -> float:
    """Part of a pass that a day of waiting costs: C/F where the household states both, else `COST_OF_A_DAY`."""
    waiting, failure = settings.cost_of_waiting, settings.cost_of_failure
    if waiting is None or failure is None or not failure > 0.0:
        return COST_OF_A_DAY
    return min(max(waiting / failure, 0.0), 1.0)
