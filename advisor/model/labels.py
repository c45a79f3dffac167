"""What a product's label says, as the user copied it: its fields, their dimensions, and which of them are required."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

#: on leaves, in the soil, or both
Mode = Literal["foliar", "soil", "both"]
#: how a product comes: measured by volume, weighed and mixed in water, or weighed and spread dry
Formulation = Literal["liquid", "dry-sprayed", "granule"]
Adjuvant = Literal["required", "allowed", "forbidden", "unstated"]
#: growth stages of a weed, as a person can see them
STAGES = (
    "not-emerged", "seedling", "vegetative", "rosette", "regrowth", "budding", "flowering", "seed-set",
    "dormant",
)  # fmt: skip


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
    adjuvant: Adjuvant = "unstated"
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

    @property
    def amount_dimension(self) -> str:
        """What an amount of the product is: a volume, or a mass where it is weighed."""
        return "volume" if self.formulation == "liquid" else "mass"

    def dimension_of(self, name: str) -> str:
        """Dimension of one of the label's own quantities."""
        return label_dimension(name, self.formulation)

    def is_called(self, name: str) -> bool:
        """Whether a name is the product's, however it is written."""
        return name.strip().casefold() == self.product.strip().casefold()

    def unlisted(self, species: Iterable[str]) -> list[str]:
        """Those of these turf species that the label does not list."""
        listed = {name.casefold() for name in self.turf_species}
        return [one for one in species if one.casefold() not in listed]


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
