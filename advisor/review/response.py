"""What became of the weeds: control by published formulas where a strip was left untreated, else change in cover."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from advisor.floats import as_floats

ABBOTT, HENDERSON_TILTON, CHANGE = "Abbott", "Henderson-Tilton", "change in cover"
#: when weeds are first looked at, and from when they are judged where the label says nothing [h]; common practice
FIRST_LOOK, USUAL_EFFECT = 7 * 24.0, 21 * 24.0
#: nothing is judged sooner than this, whatever the label says [h]; common practice, no source
SOONEST_JUDGEMENT = 14 * 24.0
#: cover that is left [%]: up to the first is pulled by hand, up to the second treated in spots. Common practice.
PULL_UP_TO, SPOT_UP_TO = 1.0, 10.0


def control_abbott(treated_after, untreated_after):
    """Control by an untreated strip looked at after the treatment, Abbott (1925): (C - T) / C.

    Parameters
    ----------
    treated_after, untreated_after : array_like
        Weeds or their cover on both, in the same unit; not negative.

    Returns
    -------
    numpy.ndarray or float
        Control [%]; negative where the treated part is worse. NaN where the strip holds none, or an input is missing.

    Notes
    -----
    Assumes that both parts were alike before the treatment.

    References
    ----------
    Abbott WS (1925) A method of computing the effectiveness of an insecticide. J. Econ. Entomol. 18:265-267.
    """
    treated, untreated = as_floats(treated_after, untreated_after)
    possible = (treated >= 0) & (untreated > 0)
    share = 1 - treated / np.where(possible, untreated, 1)
    return np.where(possible, 100 * share, np.nan).astype(treated.dtype)[()]


def control_henderson_tilton(treated_before, treated_after, untreated_before, untreated_after):
    """Control by an untreated strip looked at before and after, Henderson and Tilton (1955): 1 - Ta Cb / (Tb Ca).

    Parameters
    ----------
    treated_before, treated_after, untreated_before, untreated_after : array_like
        Weeds or their cover, in the same unit; not negative.

    Returns
    -------
    numpy.ndarray or float
        Control [%]. NaN where there was nothing before on the treated part or after on the strip, or an input is
        missing.

    References
    ----------
    Henderson CF, Tilton EW (1955) Tests with acaricides against the brown wheat mite. J. Econ. Entomol. 48:157-161.
    """
    tb, ta, cb, ca = as_floats(treated_before, treated_after, untreated_before, untreated_after)
    possible = (tb > 0) & (ta >= 0) & (cb > 0) & (ca > 0)
    share = 1 - (ta * cb) / np.where(possible, tb * ca, 1)
    return np.where(possible, 100 * share, np.nan).astype(tb.dtype)[()]


def change_in_cover(before, after):
    """Change in cover without an untreated strip, (before - after) / before: weather and season are mixed in.

    Parameters
    ----------
    before, after : array_like
        Cover of the weeds [%], not negative.

    Returns
    -------
    numpy.ndarray or float
        Loss of cover [% of what stood before]; NaN where nothing stood, or an input is missing.
    """
    first, second = as_floats(before, after)
    possible = (first > 0) & (second >= 0)
    return np.where(possible, 100 * (1 - second / np.where(possible, first, 1)), np.nan).astype(first.dtype)[
        ()
    ]


@dataclass(frozen=True, slots=True)
class Look:
    """One look at the weeds: cover [%] of the treated turf, and of the untreated strip where one was kept."""

    at: datetime
    cover: float
    untreated: float | None = None


@dataclass(frozen=True, slots=True)
class Response:
    """What became of the weeds. `method` names the formula; `percent` is NaN-free, None where it cannot be told."""

    method: str
    percent: float | None
    before: Look | None
    after: Look
    #: whether it was late enough to judge
    judged: bool


@dataclass(frozen=True, slots=True)
class Timetable:
    """When to look, and from when to judge. `stated` tells whether the label says so."""

    first_look: datetime
    judge_from: datetime
    stated: bool


def timetable(ended_at: datetime, weeks_to_effect: float | None) -> Timetable:
    """When the weeds are looked at after a pass.

    Parameters
    ----------
    weeks_to_effect : float, optional
        The label's time until the effect is full [h]; two to three weeks is common practice where it is blank.
    """
    wait = USUAL_EFFECT if weeks_to_effect is None else max(weeks_to_effect, SOONEST_JUDGEMENT)
    return Timetable(
        ended_at + timedelta(hours=FIRST_LOOK), ended_at + timedelta(hours=wait), weeks_to_effect is not None
    )


def looks_of(entered: Iterable) -> list[Look]:
    """The looks that were entered, with `taken_at` and `data`; of two at the same moment the later entry counts."""
    latest = {one.taken_at: one for one in entered}
    return [Look(one.taken_at, one.data["cover"], one.data.get("untreated")) for one in latest.values()]


def responses(
    looks: Sequence[Look], started_at: datetime, ended_at: datetime, times: Timetable
) -> tuple[Response, ...]:
    """Each look after a pass, held against the last one before it; oldest first.

    Looks count as before the pass up to its start. Where the strip was looked at both times it is Henderson-Tilton,
    where only afterwards it is Abbott, else the change in cover.
    """
    ordered = sorted(looks, key=lambda look: look.at)
    before = next((look for look in reversed(ordered) if look.at <= started_at), None)
    return tuple(
        _response(before, look, look.at >= times.judge_from) for look in ordered if look.at > ended_at
    )


def _response(before: Look | None, after: Look, judged: bool) -> Response:
    if after.untreated is not None and before is not None and before.untreated is not None:
        percent = control_henderson_tilton(before.cover, after.cover, before.untreated, after.untreated)
        return Response(HENDERSON_TILTON, _known(percent), before, after, judged)
    if after.untreated is not None:
        return Response(ABBOTT, _known(control_abbott(after.cover, after.untreated)), before, after, judged)
    percent = np.nan if before is None else change_in_cover(before.cover, after.cover)
    return Response(CHANGE, _known(percent), before, after, judged)


def _known(value) -> float | None:
    return float(value) if np.isfinite(value) else None
