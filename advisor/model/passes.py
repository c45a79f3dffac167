"""What is to be applied and what was: the treatment and its sprayer, a record, and a change of plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

Method = Literal["broadcast", "spot"]
LifeCycle = Literal["perennial", "winter-annual", "summer-annual", "biennial"]
#: a pass on a chosen day, a pass on the first good day until then, the sequence begun again, nothing more until a day
PlanKind = Literal["pass-on", "pass-by", "restart", "leave"]


@dataclass(frozen=True, slots=True)
class Sprayer:
    """What the product is put out with.

    `tank` [mL], of a spreader [g]; `carrier_rate` [L/m²] from calibration; `work_rate` [m²/h];
    `clean_up` [h].
    """

    id: str
    name: str
    tank: float
    measure: str = ""
    carrier_rate: float | None = None
    work_rate: float | None = None
    clean_up: float = 0.5
    last_contents: str | None = None
    rinsed: bool | None = None
    kind: Literal["sprayer", "spreader"] = "sprayer"


@dataclass(frozen=True, slots=True)
class Treatment:
    """What is to be applied to which areas against which weeds, under which label.

    `duration` [h] of one pass by area id; follow-ups are wanted `follow_up_from` to `follow_up_until` [h]
    after the pass before them (two to three weeks is common practice, no source), never sooner than the
    label's interval.
    """

    id: str
    name: str
    label: str
    areas: tuple[str, ...]
    method: Method
    target: str
    life_cycle: LifeCycle | None
    stage: str
    sprayer: str
    passes: int
    duration: Mapping[str, float]
    #: [mL/m²] or [g/m²] as the label's rate is
    rate: float | None
    follow_up_from: float = 14 * 24.0
    follow_up_until: float = 21 * 24.0
    start_from: date | None = None
    latest: date | None = None
    #: share of each area that is really sprayed
    sprayed_share: float = 1.0


@dataclass(frozen=True, slots=True)
class Record:
    """What was actually applied. `amount` is product in mL or g (weighed); `size` [m²] really treated."""

    area: str
    treatment: str
    product: str
    active_ingredients: tuple[str, ...]
    started_at: datetime
    ended_at: datetime | None
    amount: float | None
    size: float | None
    who: str = ""
    note: str = ""
    id: str = ""

    @property
    def end(self) -> datetime:
        """When the pass was over; its start where the end is not stated."""
        return self.ended_at or self.started_at


@dataclass(frozen=True, slots=True)
class PlanEntry:
    """A choice that changed the plan of one treatment on one area; records are never touched by it.

    `day` is the local day chosen: that of the pass, the last one for it, that of the sequence's new first pass, or, of
    "leave", the first on which the treatment is looked at again.
    """

    treatment: str
    area: str
    kind: PlanKind
    day: date
    made_at: datetime
    says: str = ""
    id: str = ""
