"""What the advisor knows of people, places, labels and deeds: frozen values, SI, no behaviour beyond lookups.

Optional numbers are None where the person or the label does not say; nothing is guessed here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Literal
from zoneinfo import ZoneInfo

Mode = Literal["foliar", "soil", "both"]
UnitSystem = Literal["us", "metric"]
NeighbourKind = Literal["planting", "edible", "vines", "roots", "water", "drain", "people", "bees"]
TurfState = Literal["active", "dormant", "drought-stressed", "new-sod", "seedling"]
SoilState = Literal["wet", "moist", "dry"]
#: how a product comes: measured by volume, weighed and mixed in water, or weighed and spread dry
Formulation = Literal["liquid", "dry-sprayed", "granule"]
#: where turf grows, and where a label allows its product
SiteUse = Literal[
    "home-lawn", "commercial-lawn", "school", "park", "sports-field", "golf-course", "sod-farm", "roadside"
]
#: growth stages of a weed, as a person can see them
STAGES = (
    "not-emerged", "seedling", "vegetative", "rosette", "regrowth", "budding", "flowering", "seed-set",
    "dormant",
)  # fmt: skip


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
    exposure: Literal["open", "sheltered"] = "open"
    #: mean first autumn frost as (month, day), where the person knows it
    first_frost: tuple[int, int] | None = None
    #: None means not stated, which the rules on place answer with unknown
    use: SiteUse | None = None
    #: whether a local rule forbids the treatment here; None means not asked yet
    local_ban: bool | None = None


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
    sensitivity: Literal["ordinary", "high"] = "ordinary"


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
    turf_season: Literal["cool-season", "warm-season"]
    turf_state: TurfState = "active"
    neighbours: tuple[Neighbour, ...] = ()
    #: [m]
    rooting_depth: float = 0.12
    #: None means not stated; an empty tuple means that there is no irrigation
    irrigation: tuple[Watering, ...] | None = None
    soil_state: SoilState | None = None
    soil_seen: date | None = None
    #: [mm] of the root zone's water that were gone at the end of a day, as an earlier run worked it out
    soil_depletion: float | None = None
    soil_depletion_day: date | None = None
    #: [degC] five-day mean of the soil at 2 in (5 cm), as the person measured it, and when
    soil_temperature: float | None = None
    soil_temperature_seen: date | None = None
    slope: Literal["flat", "gentle", "steep"] = "flat"
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
class ActiveIngredient:
    """`acid_equivalent` [g/L for liquids, g/kg for the others] of the product; `maximum_per_year` [g/m²]."""

    name: str
    acid_equivalent: float | None = None
    maximum_per_year: float | None = None


@dataclass(frozen=True, slots=True)
class Label:
    """The limits and rates that the user transcribed from the product's own label.

    `limits` holds every stated quantity by field name, in the canonical unit of
    `label_dimension(field, formulation)`; a field that is blank is absent. `blank` names the required fields
    that were left empty. The rate and its maxima are mL/m² of product for a liquid, g/m² for a product that
    is weighed. A blank mode loads as "both", the stricter.
    """

    id: str
    product: str
    registration_number: str
    mode: Mode
    active_ingredients: tuple[ActiveIngredient, ...]
    sites: tuple[str, ...]
    turf_species: tuple[str, ...]
    re_entry: str
    limits: Mapping[str, float]
    blank: tuple[str, ...] = ()
    source_file: str = ""
    volatile: bool = False
    root_active: bool = False
    restricted_use: bool = False
    adjuvant: Literal["required", "allowed", "forbidden", "unstated"] = "unstated"
    signal_word: str = ""
    invented: bool = False
    formulation: Formulation = "liquid"
    #: highest rate by turf species where it is lower than `rate`, in the unit of `rate`
    turf_rates: Mapping[str, float] = field(default_factory=dict)
    #: largest share of the mixture, 0 to 1, up to which a species may be treated, where the label limits it
    turf_shares: Mapping[str, float] = field(default_factory=dict)
    #: stages of the weed that the label names; empty where it names none
    stages: tuple[str, ...] = ()
    #: (month, day) on which the label's year begins
    year_starts: tuple[int, int] = (1, 1)


#: quantities that a label may state -> dimension
LABEL_QUANTITIES: dict[str, str] = {
    "rate": "volume_rate",
    "maximum_per_application": "volume_rate",
    "maximum_per_year": "volume_rate",
    "maximum_passes_per_year": "count",
    "minimum_interval": "time",
    "rainfast_time": "time",
    "watering_in_depth": "water_depth",
    "watering_in_within": "time",
    "wind_max": "speed",
    "wind_min": "speed",
    "gust_max": "speed",
    "temperature_min": "temperature",
    "temperature_max": "temperature",
    "night_temperature_min": "temperature",
    "delta_t_max": "temperature_difference",
    "water_buffer": "length",
    "drift_distance": "length",
    "dry_before": "time",
    "mowing_before": "time",
    "mowing_after": "time",
    "seeding_after": "time",
    "adjuvant_share": "percent",
    "weeks_to_effect": "time",
}

#: those that are a mass per area when the product is weighed
RATE_FIELDS = ("rate", "maximum_per_application", "maximum_per_year")


def label_dimension(name: str, formulation: Formulation = "liquid") -> str:
    """Dimension of a label's quantity: rates are volumes per area for a liquid, masses per area otherwise."""
    if name in RATE_FIELDS and formulation != "liquid":
        return "mass_rate"
    return LABEL_QUANTITIES[name]


#: required field -> (modes it is required in, what it is), in the order of a label
REQUIRED_LABEL_FIELDS: dict[str, tuple[tuple[str, ...], str]] = {
    "product": (("foliar", "soil", "both"), "the product's name"),
    "registration_number": (("foliar", "soil", "both"), "the registration number"),
    "active_ingredient": (("foliar", "soil", "both"), "the active ingredients"),
    "mode": (("foliar", "soil", "both"), "foliar, soil or both"),
    "sites": (("foliar", "soil", "both"), "where the product may be used"),
    "turf_species": (("foliar", "soil", "both"), "the turf species it may be used on"),
    "rate": (("foliar", "soil", "both"), "the rate"),
    "minimum_interval": (("foliar", "soil", "both"), "the shortest time between two passes"),
    "maximum_per_application": (("foliar", "soil", "both"), "the most that one pass may put down"),
    "maximum_per_year": (("foliar", "soil", "both"), "the most that a year may see"),
    "rainfast_time": (("foliar", "both"), "how long it needs to stay dry"),
    "watering_in_depth": (("soil", "both"), "how much water washes it in"),
    "watering_in_within": (("soil", "both"), "within what time it must be watered in"),
    "re_entry": (("foliar", "soil", "both"), "when people and pets may go back"),
}


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
    method: Literal["broadcast", "spot"]
    target: str
    life_cycle: Literal["perennial", "winter-annual", "summer-annual", "biennial"] | None
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


@dataclass(frozen=True, slots=True)
class Licence:
    """What somebody who works for hire holds; `certified_number` is for restricted products."""

    holder: str = ""
    number: str = ""
    valid_until: date | None = None
    certified_number: str | None = None


@dataclass(frozen=True, slots=True)
class NoticePlan:
    """When notices go out, local time, and where to."""

    evening: time = time(18, 30)
    morning: time = time(6, 0)
    #: [from, until) in which nobody is told anything, local time; it may hold midnight
    quiet: tuple[time, time] = (time(21, 0), time(6, 0))
    at_most_per_day: int = 6
    #: tell the evening's and the morning's notice also where nothing has changed
    repeat_unchanged: bool = False
    channels: tuple[Mapping[str, object], ...] = ()


@dataclass(frozen=True, slots=True)
class Settings:
    """Choices that are the person's: chance floors, decision horizon [h], weather sources, ages [h]."""

    floors: Mapping[str, float]
    horizon_hours: float = 48.0
    #: members made by the stated error model for a source that has none; 0 leaves its single run
    assumed_members: int = 0
    sources: tuple[str, ...] = ("open-meteo",)
    #: other base addresses by source name, for a mirror or a test server
    source_hosts: Mapping[str, str] = None  # type: ignore[assignment]
    pull_every_hours: float = 3.0
    #: models whose members join the forecast, each weighing the same
    ensemble: tuple[str, ...] = ()
    #: a second source whose contradiction makes the weather unknown
    cross_check: str | None = None
    #: whether measured past hours and official warnings are asked for, where a source in use offers them
    observations: bool = True
    warnings: bool = True
    #: how long answers that no notice rests on are kept [h]
    keep_hours: float = 400 * 24.0
    contact: str = ""
    cost_of_waiting: float | None = None
    cost_of_failure: float | None = None


#: chance floors: each safety rule, each label rule, each effect rule alone, all of the first two, everything
DEFAULT_FLOORS: dict[str, float] = {
    "safety": 0.95, "label": 0.90, "effect": 0.0, "safety_and_label": 0.80, "everything": 0.60,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Household:
    """Everything the person wrote, checked."""

    name: str
    units: UnitSystem
    site: Site
    areas: Mapping[str, Area]
    sprayers: Mapping[str, Sprayer]
    labels: Mapping[str, Label]
    treatments: Mapping[str, Treatment]
    #: local hours a person can work, by weekday (0 = Monday): tuples of (from, until)
    hours: Mapping[int, tuple[tuple[time, time], ...]]
    notices: NoticePlan
    settings: Settings
    history: tuple[Record, ...] = ()
    for_hire: bool = False
    folder: str = ""
    licence: Licence | None = None


#: a pass on a chosen day, a pass on the first good day until then, the sequence begun again, nothing more until a day
PlanKind = Literal["pass-on", "pass-by", "restart", "leave"]


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


@dataclass(frozen=True, slots=True)
class Task:
    """One treatment on one area at one site, on one pass: the thing that is scored."""

    household: Household
    treatment: Treatment
    area: Area
    label: Label
    #: 1 for the first pass
    pass_number: int
    #: passes done before in this sequence, oldest first
    done: tuple[Record, ...] = ()
    #: the choice that this pass rests on, where one was made
    plan: PlanEntry | None = None

    @property
    def id(self) -> str:
        return f"{self.treatment.id}/{self.area.id}"

    @property
    def duration(self) -> float:
        """Hours of spraying for this area."""
        return self.treatment.duration[self.area.id]
