"""What to do about a weed at all: treat it, treat spots, pull it by hand, wait, or look for another way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from advisor.growth.weeds import Weed
from advisor.model import Area, Label
from advisor.sequence.season import months_at, weeds_of

Kind = Literal["treat", "spot", "pull by hand", "no selective option", "wait", "ask the label"]
#: weeds that cover less of the lawn than this are sooner pulled than sprayed, and less than that sprayed in spots only
#: [%]. Common practice, no source.
HAND_BELOW, SPOT_BELOW = 2.0, 20.0
#: what comes back from pieces of root, runner or tuber left in the ground: pulling spreads the work, not the end of it.
#: Common practice, no source.
COMES_BACK = ("Canada thistle", "ground ivy", "yellow nutsedge", "nimblewill", "wild violet", "white clover")
_MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
           "November", "December")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Answer:
    """One weed, what to do about it, and why."""

    weed: str
    kind: Kind
    why: str


def answers(
    target: str, area: Area, label: Label, today: date, *, stage: str, cover: float | None, southern: bool
) -> list[Answer]:
    """An answer for every weed that a treatment names.

    Parameters
    ----------
    target : str
        Weeds, parted by commas.
    stage : str
        What was seen on the spot; empty where nobody looked.
    cover : float, optional
        Share of the lawn that the weeds cover [%].

    Notes
    -----
    The months are those of `advisor.growth.weeds`. The limits of cover are common practice, no source. Nothing here
    replaces the label: it alone says which weeds and which turf it is for.
    """
    found, unknown = weeds_of(target)
    out = [_answer(weed, area, label, today, stage, cover, southern) for weed in found]
    out += [
        Answer(name, "ask the label", "it is not in the table of common weeds; only the label can say")
        for name in unknown
    ]
    return out


def _answer(
    weed: Weed, area: Area, label: Label, today: date, stage: str, cover: float | None, southern: bool
) -> Answer:
    name = weed.common_name
    if weed.group == "grass" and weed.life_cycle == "perennial" and label.mode != "soil":
        return Answer(
            name, "no selective option",
            f"what kills this perennial grass usually kills {area.turf_season} turf too; only a label that names both "
            "the weed and every turf species here would do. Else dig it out, or renew the patch",
        )  # fmt: skip
    if label.mode == "soil":
        return _before_it_comes_up(weed, today, southern)
    if label.stages and stage and stage not in label.stages:
        return Answer(name, "wait", f"it is at the stage {stage}; the label names {_listed(label.stages)}")
    months = months_at(weed.treat, southern)
    if not stage and today.month not in months:
        return Answer(name, "wait", f"it is treated best in {_named(months)}; look at its stage on the spot")
    if cover is not None and cover < HAND_BELOW:
        if name not in COMES_BACK:
            return Answer(
                name, "pull by hand", f"{cover:g}% of the lawn is sooner pulled with its root than sprayed"
            )
        return Answer(
            name, "spot", f"{cover:g}% of the lawn, but it comes back from what pulling leaves in the ground"
        )
    if cover is not None and cover < SPOT_BELOW:
        return Answer(name, "spot", f"it covers {cover:g}% of the lawn: spots are enough")
    how = "" if cover is not None else "; how much of the lawn it covers is not stated"
    return Answer(name, "treat", f"treated best {_listed(weed.stages)}, in {_named(months)}{how}")


def _before_it_comes_up(weed: Weed, today: date, southern: bool) -> Answer:
    months = months_at(weed.germinates, southern)
    if today.month in months:
        why = f"it comes up in {_named(months)}: what is up already is not reached by a product that works in the soil"
        return Answer(weed.common_name, "wait", why)
    return Answer(weed.common_name, "treat", f"before it comes up, in {_named(months)}")


def _named(months: Sequence[int]) -> str:
    return _listed([_MONTHS[month - 1] for month in months])


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " or " + words[-1]
