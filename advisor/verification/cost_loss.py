"""What a forecast is worth to someone who can pay a cost to avoid a loss."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

__all__ = ["chance_floor", "relative_value", "should_protect"]


def should_protect(probability, cost, loss):
    """Whether to pay the cost: yes where the chance of the event is above cost/loss, Murphy (1977).

    Parameters
    ----------
    probability : array_like
        Chance of the harmful event [0 to 1].
    cost, loss : array_like
        Cost of protecting and loss if the event comes unprotected, in one unit.

    Returns
    -------
    numpy.ndarray or float
        1.0 for protect, 0.0 for not, NaN where an input is missing or impossible.

    References
    ----------
    Murphy AH (1977) The value of climatological, categorical and probabilistic forecasts in the cost-loss
    ratio situation. Mon. Wea. Rev. 105:803-816.
    """
    p, price, harm = as_floats(probability, cost, loss)
    possible = (p >= 0) & (p <= 1) & (price >= 0) & (harm > 0)
    return np.where(possible, np.where(p * harm > price, 1.0, 0.0), np.nan).astype(p.dtype)[()]


def chance_floor(cost_of_waiting, cost_of_failure):
    """Least chance of success at which going beats waiting, 1 - C/F.

    Parameters
    ----------
    cost_of_waiting : array_like
        What waiting a day costs (C).
    cost_of_failure : array_like
        What a failed pass costs (F), same unit.

    Returns
    -------
    numpy.ndarray or float
        Chance [0 to 1]; 0 where waiting costs more than failing, NaN where an input is missing or impossible.

    Notes
    -----
    For effect rules only: a limit of safety or of the label is never traded against money.

    References
    ----------
    The cost-loss rule of :func:`should_protect`, with waiting as the protection against a failed pass.
    """
    waiting, failure = as_floats(cost_of_waiting, cost_of_failure)
    possible = (waiting >= 0) & (failure > 0)
    floor = np.maximum(1 - waiting / np.where(failure > 0, failure, 1), 0)
    return np.where(possible, floor, np.nan).astype(waiting.dtype)[()]


def relative_value(hit_rate, false_alarm_rate, base_rate, cost_loss_ratio):
    """Value of a yes-or-no forecast, 0 as good as the climate's frequency and 1 perfect, Richardson (2000).

    Parameters
    ----------
    hit_rate : array_like
        Share of the events that were forecast [0 to 1].
    false_alarm_rate : array_like
        Share of the non-events for which the event was forecast [0 to 1].
    base_rate : array_like
        How often the event happens [between 0 and 1].
    cost_loss_ratio : array_like
        Cost of protecting over the loss avoided [between 0 and 1].

    Returns
    -------
    numpy.ndarray or float
        Relative value [at most 1], negative where the forecast does harm; NaN where an input is missing or
        impossible. The most it can be is hit rate less false alarm rate, where the cost-loss ratio equals
        the base rate.

    References
    ----------
    Richardson DS (2000) Skill and relative economic value of the ECMWF ensemble prediction system. Q. J. R.
    Meteorol. Soc. 126:649-667 (from memory).
    """
    hits, alarms, base, ratio = as_floats(hit_rate, false_alarm_rate, base_rate, cost_loss_ratio)
    possible = (hits >= 0) & (hits <= 1) & (alarms >= 0) & (alarms <= 1)
    possible &= (base > 0) & (base < 1) & (ratio > 0) & (ratio < 1)
    climate = np.minimum(ratio, base)
    gain = climate - alarms * ratio * (1 - base) + hits * base * (1 - ratio) - base
    perfect = np.where(possible, climate - base * ratio, 1)
    return np.where(possible, gain / perfect, np.nan).astype(hits.dtype)[()]
