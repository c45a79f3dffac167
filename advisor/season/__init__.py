"""The season of a task: its label year and last day, the passes that count in it, and what they leave of its totals."""

from advisor.season.bounds import label_year, latest_day, recurring_day
from advisor.season.passes import (
    label_of,
    last_pass,
    records_of_year,
    same_ingredient,
    share_ingredient,
)
from advisor.season.totals import (
    IngredientTotal,
    has_maximum,
    ingredient_totals,
    passes_left,
    planned_rate,
    worst_share,
)
from advisor.season.use import SeasonUse, season_use

__all__ = [
    "IngredientTotal",
    "SeasonUse",
    "has_maximum",
    "ingredient_totals",
    "label_of",
    "label_year",
    "last_pass",
    "latest_day",
    "passes_left",
    "planned_rate",
    "records_of_year",
    "recurring_day",
    "same_ingredient",
    "season_use",
    "share_ingredient",
    "worst_share",
]
