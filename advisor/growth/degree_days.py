"""Growing degree days by both published readings of the formula."""

from __future__ import annotations

import numpy as np

from advisor.floats import as_floats

__all__ = ["accumulated_degree_days", "degree_days"]


def degree_days(daily_maximum, daily_minimum, base, method: int = 1):
    """Degree days of a day, McMaster and Wilhelm (1997), method 1 or 2.

    Parameters
    ----------
    daily_maximum, daily_minimum : array_like
        Highest and lowest temperature of the day [degC]; any one unit will do if the base has it too.
    base : array_like
        Temperature below which nothing grows [degC].
    method : {1, 2}
        1: the mean of the two, raised to the base if lower. 2: each of the two raised to the base, then the
        mean.

    Returns
    -------
    numpy.ndarray or float
        Degree days [K day]; NaN where an input is missing or the maximum is below the minimum.

    Notes
    -----
    The two differ only on days with a minimum below the base. The examples printed by the extension
    services quoted in the tests are method 1.

    References
    ----------
    McMaster GS, Wilhelm WW (1997) Growing degree-days: one equation, two interpretations. Agric. For.
    Meteorol. 87:291-300.
    """
    if method not in (1, 2):
        raise ValueError(f"Degree days are counted by method 1 or 2, not {method!r}.")
    high, low, floor = as_floats(daily_maximum, daily_minimum, base)
    mean = (high + low) / 2 if method == 1 else (np.maximum(high, floor) + np.maximum(low, floor)) / 2
    return np.where(high >= low, np.maximum(mean - floor, 0), np.nan).astype(high.dtype)[()]


def accumulated_degree_days(daily_degree_days, started=None):
    """Sum of degree days from the start of the count to the end of each day.

    Parameters
    ----------
    daily_degree_days : array_like, shape (..., day)
        Degree days of each day [K day].
    started : array_like of bool, optional, shape (..., day) or (day,)
        True on the days that count; all days without it.

    Returns
    -------
    numpy.ndarray, shape (..., day)
        Sum [K day]; NaN from the first counted day that is missing.
    """
    daily = as_floats(daily_degree_days)
    if daily.ndim == 0:
        raise ValueError("Accumulation needs a day axis: give daily_degree_days by day.")
    counted = daily if started is None else np.where(np.asarray(started, dtype=bool), daily, 0)
    return np.cumsum(counted, axis=-1, dtype=np.float64).astype(daily.dtype)
