"""The hours in which the air near the ground is, or may be, inverted, by the clock of the sun.

The published guides disagree by hours on when an inversion begins and ends; that is a setting.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from advisor.floats import as_floats
from advisor.sun.position import unix_seconds


class InversionSetting(NamedTuple):
    """When one published guide lets inversions begin and end."""

    before_sunset_hours: float
    after_sunrise_hours: float
    source: str


INVERSION_SETTINGS = {
    "label": InversionSetting(
        2.0, 1.0, "Label-type rule quoted by Iowa State: only from 1 h after sunrise to 2 h before sunset"
    ),
    "grdc-late": InversionSetting(1.0, 1.0, "GRDC Spray Application Manual 10.8: from 1-2 h before sundown"),
    "grdc-early": InversionSetting(2.0, 1.0, "GRDC Spray Application Manual 10.8: from 1-2 h before sundown"),
    "ndsu-late": InversionSetting(3.0, 1.0, "NDSU crop pest report 2021-05-20: 3-4 h before, 1-2 h after"),
    "ndsu-early": InversionSetting(4.0, 2.0, "NDSU crop pest report 2021-05-20: 3-4 h before, 1-2 h after"),
}
"""Published onsets and break-ups; the guides disagree, so this is a setting."""


def _inside(time, sunset, sunrise, before_sunset_hours, after_sunrise_hours, span_hours):
    """True where [time, time + span) touches a widened night, and where no night is known."""
    stamp = unix_seconds(time)
    begin, finish = np.atleast_1d(unix_seconds(sunset)), np.atleast_1d(unix_seconds(sunrise))
    missing = np.isnan(begin) | np.isnan(finish)
    begin, finish = np.where(missing, np.nan, begin), np.where(missing, np.nan, finish)
    # One night more on each side, a day off: the nights given need not reach to the first and last hour.
    day = 86_400.0
    begin = np.concatenate([begin[..., :1] - day, begin, begin[..., -1:] + day], axis=-1)
    finish = np.concatenate([finish[..., :1] - day, finish, finish[..., -1:] + day], axis=-1)
    begin = begin - 3600.0 * np.asarray(before_sunset_hours, dtype=float)[..., None]
    finish = finish + 3600.0 * np.asarray(after_sunrise_hours, dtype=float)[..., None]
    begin, finish = np.broadcast_arrays(begin, finish)
    if stamp.ndim:
        begin, finish = begin[..., None], finish[..., None]
    end = stamp + 3600.0 * span_hours
    # Known to be open only between the end of one known night and the beginning of the next.
    axis = -2 if stamp.ndim else -1
    is_open = np.zeros(np.broadcast_shapes(stamp.shape, begin.take(0, axis=axis).shape), dtype=bool)
    for night in range(begin.shape[axis] - 1):
        opens, closes = finish.take(night, axis=axis), begin.take(night + 1, axis=axis)
        is_open |= (stamp >= opens) & (stamp < closes) & (end <= closes)
    return (~is_open)[()]


def is_night(time, sunset, sunrise, span_hours=0.0):
    """Night as Turner's method has it: one hour before sunset to one hour after sunrise (EPA table 6-6).

    Parameters
    ----------
    time : datetime64 array, shape (..., hour)
        UTC.
    sunset, sunrise : datetime64 array, shape (..., night)
        Consecutive nights, as `advisor.sun.nights` gives them; the axes before the last broadcast against
        those of `time`.
    span_hours : float
        0 asks for the moment; 1 whether any part of the hour that begins then is night. [h]

    Returns
    -------
    bool array, shape (..., hour)
        Also true where the time or the night is not known, and more than a day away from the nights given.

    References
    ----------
    US EPA (2000) EPA-454/R-99-005, table 6-6.
    """
    return _inside(time, sunset, sunrise, 1.0, 1.0, span_hours)


def inversion_closed(time, sunset, sunrise, before_sunset_hours=2.0, after_sunrise_hours=1.0, span_hours=0.0):
    """Hours closed for inversions around the night (label-type rule; see `INVERSION_SETTINGS` for others).

    Parameters
    ----------
    time : datetime64 array, shape (..., hour)
        UTC.
    sunset, sunrise : datetime64 array, shape (..., night)
        Consecutive nights, as `advisor.sun.nights` gives them.
    before_sunset_hours, after_sunrise_hours : numeric, shape () or that of `sunset` without its last axis
        How far the closed time reaches beyond the night. [h]
    span_hours : float
        0 asks for the moment; 1 whether any part of the hour that begins then is closed. [h]

    Returns
    -------
    bool array, shape (..., hour)
        Also true where the time or the night is not known.

    References
    ----------
    The guides behind the settings stand in `INVERSION_SETTINGS`.
    """
    return _inside(time, sunset, sunrise, before_sunset_hours, after_sunrise_hours, span_hours)


def inversion_likelihood(time, sunset, sunrise, stability_class=None, span_hours=0.0):
    """Share of the published onsets and break-ups by which the air would be inverted (`INVERSION_SETTINGS`).

    An explanation to show beside a rule, not a probability and not a limit.

    Parameters
    ----------
    time : datetime64 array, shape (..., hour)
        UTC.
    sunset, sunrise : datetime64 array, shape (..., night)
        Consecutive nights, as `advisor.sun.nights` gives them.
    stability_class : numeric, optional
        1 (A) to 7 (G). Turner's night with a known class of 4 or less is too windy or overcast for an
        inversion: share 0. Nothing else is changed by it. [-]
    span_hours : float
        0 asks for the moment; 1 whether any part of the hour counts. [h]

    Returns
    -------
    numeric, shape (..., hour)
        0 to 1; NaN where the time or the nights are not known. [-]

    References
    ----------
    The guides behind the settings stand in `INVERSION_SETTINGS`.
    """
    inside = [
        _inside(time, sunset, sunrise, setting.before_sunset_hours, setting.after_sunrise_hours, span_hours)
        for setting in INVERSION_SETTINGS.values()
    ]
    share = np.mean(np.asarray(inside, dtype=np.float64), axis=0)
    known = _reached(time, sunset, sunrise)
    if stability_class is not None:
        mixed = (as_floats(stability_class) <= 4.0) & is_night(time, sunset, sunrise, span_hours)
        share = np.where(mixed, 0.0, share)
    return np.where(known, share, np.nan)[()]


def _reached(time, sunset, sunrise):
    """True where the nights given reach to the time: within one day of a known night."""
    stamp, begin, finish = unix_seconds(time), unix_seconds(sunset), unix_seconds(sunrise)
    begin, finish = np.atleast_1d(begin), np.atleast_1d(finish)
    known = ~(np.isnan(begin) | np.isnan(finish))
    first = np.min(np.where(known, begin, np.inf), axis=-1) - 86_400.0
    last = np.max(np.where(known, finish, -np.inf), axis=-1) + 86_400.0
    if stamp.ndim:
        first, last = first[..., None], last[..., None]
    return (stamp >= first) & (stamp <= last)
