"""Where the turf grows: a site, its areas, what lies near them and how they are watered."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, time
from typing import Literal
from zoneinfo import ZoneInfo

NeighbourKind = Literal["planting", "edible", "vines", "roots", "water", "drain", "people", "bees"]
Sensitivity = Literal["ordinary", "high"]
Exposure = Literal["open", "sheltered"]
Slope = Literal["flat", "gentle", "steep"]
TurfSeason = Literal["cool-season", "warm-season"]
TurfState = Literal["active", "dormant", "drought-stressed", "new-sod", "seedling"]
SoilState = Literal["wet", "moist", "dry"]
#: where turf grows, and where a label allows its product
SiteUse = Literal[
    "home-lawn", "commercial-lawn", "school", "park", "sports-field", "golf-course", "sod-farm", "roadside"
]


@dataclass(frozen=True, slots=True)
class Site:
    """A place. `hollow` sites hold cold air longer; `soil` names a texture of `advisor.soil.texture`."""

    name: str
    latitude: float
    longitude: float
    zone: ZoneInfo
    elevation: float | None = None
    soil: str | None = None
    hollow: bool = False
    exposure: Exposure = "open"
    #: mean first autumn frost as (month, day), where the person knows it
    first_frost: tuple[int, int] | None = None
    #: None means not stated, which the rules on place answer with unknown
    use: SiteUse | None = None
    #: whether a local rule forbids the treatment here; None means not asked yet
    local_ban: bool | None = None

    @property
    def key(self) -> str:
        """By which what belongs to the place is found again: its coordinates, to about ten metres."""
        return f"{self.latitude:.4f},{self.longitude:.4f}"


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Something that must not be hit.

    `distance` [m] from the area's nearest edge; `bearing` [degrees true] FROM the area TO it, None where it
    lies all round or has no direction; `arc` [degrees] it fills as seen from the area.
    """

    name: str
    kind: NeighbourKind
    distance: float
    bearing: float | None = None
    arc: float = 0.0
    sensitivity: Sensitivity = "ordinary"

    @property
    def is_sensitive(self) -> bool:
        """Stated so, or vines, which are whatever is stated."""
        return self.kind == "vines" or self.sensitivity == "high"

    @property
    def is_reached_by_drift(self) -> bool:
        """A drain or a root zone is not reached through the air; distance rules of their own look after them."""
        return self.kind not in ("roots", "drain")


@dataclass(frozen=True, slots=True)
class Watering:
    """One entry of an irrigation timetable, or one watering that was told of.

    Local weekdays (0 = Monday), local start, depth [mm], duration [h]; `on` is the one local day of a watering that
    does not repeat.
    """

    weekdays: frozenset[int]
    at: time
    depth: float
    duration: float = 1.0
    on: date | None = None


@dataclass(frozen=True, slots=True)
class Area:
    """A patch of turf at a site."""

    id: str
    name: str
    #: [m²]
    size: float
    turf: tuple[str, ...]
    turf_season: TurfSeason
    turf_state: TurfState = "active"
    neighbours: tuple[Neighbour, ...] = ()
    #: [m]
    rooting_depth: float = 0.12
    #: None means not stated; an empty tuple means that there is no irrigation
    irrigation: tuple[Watering, ...] | None = None
    soil_state: SoilState | None = None
    soil_seen: date | None = None
    #: local time of that look; None means at any time of the day
    soil_seen_at: time | None = None
    #: [mm] of the root zone's water that were gone at the end of a day, as an earlier run worked it out
    soil_depletion: float | None = None
    soil_depletion_day: date | None = None
    #: [degC] five-day mean of the soil at 2 in (5 cm), as the person measured it, and when
    soil_temperature: float | None = None
    soil_temperature_seen: date | None = None
    slope: Slope = "flat"
    green_share: float | None = None
    #: what the person did and plans; None means not stated
    last_mowed: date | None = None
    next_mowing: date | None = None
    seeded_on: date | None = None
    mowings_since_seeding: int | None = None
    seeding_planned: date | None = None
    #: whether weeds or clover stand in open flower
    open_flowers: bool | None = None
    #: share of each species in the mixture, 0 to 1, as far as it is stated
    turf_shares: Mapping[str, float] = field(default_factory=dict)
