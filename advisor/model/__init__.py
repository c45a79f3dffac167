"""What the advisor knows of people, places, labels and deeds: frozen values, SI, no behaviour beyond lookups.

Optional numbers are None where the person or the label does not say; nothing is guessed here.
"""

from advisor.model.household import (
    DEFAULT_FLOORS,
    Household,
    Licence,
    NoticePlan,
    Settings,
    UnitSystem,
)
from advisor.model.labels import (
    LABEL_QUANTITIES,
    RATE_FIELDS,
    REQUIRED_LABEL_FIELDS,
    STAGES,
    ActiveIngredient,
    Adjuvant,
    Formulation,
    Label,
    Mode,
    label_dimension,
)
from advisor.model.passes import (
    LifeCycle,
    Method,
    PlanEntry,
    PlanKind,
    Record,
    Sprayer,
    Treatment,
)
from advisor.model.places import (
    Area,
    Exposure,
    Neighbour,
    NeighbourKind,
    Sensitivity,
    Site,
    SiteUse,
    Slope,
    SoilState,
    TurfSeason,
    TurfState,
    Watering,
)
from advisor.model.task import (
    Task,
)

__all__ = [
    "DEFAULT_FLOORS",
    "LABEL_QUANTITIES",
    "RATE_FIELDS",
    "REQUIRED_LABEL_FIELDS",
    "STAGES",
    "ActiveIngredient",
    "Adjuvant",
    "Area",
    "Exposure",
    "Formulation",
    "Household",
    "Label",
    "Licence",
    "LifeCycle",
    "Method",
    "Mode",
    "Neighbour",
    "NeighbourKind",
    "NoticePlan",
    "PlanEntry",
    "PlanKind",
    "Record",
    "Sensitivity",
    "Settings",
    "Site",
    "SiteUse",
    "Slope",
    "SoilState",
    "Sprayer",
    "Task",
    "Treatment",
    "TurfSeason",
    "TurfState",
    "UnitSystem",
    "Watering",
    "label_dimension",
]
