"""Running the examples that stand in a rule file against the rule itself, through the real evaluator."""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions, SiteTable
from advisor.forecast import Forecast, Provenance
from advisor.model import LABEL_QUANTITIES
from advisor.rulebook.evaluate import evaluate_rule
from advisor.rulebook.parse import EXAMPLE_SPAN
from advisor.rulebook.quantities import QUANTITIES
from advisor.rulebook.schema import Example, Rule
from advisor.rulebook.spans import Series
from advisor.task_table import FACTS, NEIGHBOUR_FACTS, TaskTable

_START = np.datetime64("2026-06-15T15", "h")
_LATITUDE, _LONGITUDE, _ZONE = 41.6, -93.6, ZoneInfo("America/Chicago")


@dataclass(frozen=True, slots=True)
class Outcome:
    example: Example
    found: str

    @property
    def kept(self) -> bool:
        return self.found == self.example.expect


def run_examples(rule: Rule) -> list[Outcome]:
    """What the rule says in each of its examples.

    The example gives the measured quantity itself around a start at 10:00 on an invented June morning in the US
    Midwest; everything after that is the evaluator that scores real forecasts.
    """
    return [Outcome(example, _run(rule, example)) for example in rule.examples]


def _run(rule: Rule, example: Example) -> str:
    low, high = EXAMPLE_SPAN
    values = np.full((1, 1, high - low), np.nan)
    for first, stop, value in example.given:
        values[0, 0, max(first - low, 0) : max(stop - low, 0)] = np.nan if value is None else value
    quantity = QUANTITIES[rule.measure.quantity]
    given = Series(values[None] if quantity.scope == "neighbour" else values, quantity.instant)
    finding = evaluate_rule(rule, AreaConditions(_conditions(low, high), _table(rule, example)), given)
    if finding is None:
        return "go"
    outcome = finding.outcome
    if outcome.holds[0, 0, -low]:
        return "go"
    return "no-go" if outcome.known[0, 0, -low] else "unknown"


def _conditions(low: int, high: int) -> Conditions:
    start = _START + np.timedelta64(low, "h")
    forecast = Forecast(start, high - low, {}, Provenance("example"), np.ones(high - low, dtype=int))
    sites = SiteTable(np.array([_LATITUDE]), np.array([_LONGITUDE]), np.array([290.0]), np.array([False]))
    return Conditions(forecast, sites)


def _table(rule: Rule, example: Example) -> TaskTable:
    """One task that the rule applies to, with the example's label and one neighbour that the rule names."""
    label = {name: np.array([example.label.get(name, np.nan)]) for name in LABEL_QUANTITIES}
    facts = {fact: [rule.applies.get(fact)] for fact in FACTS}
    facts["treatment.mode"] = [rule.modes[0]]
    named = {
        column: np.array([[rule.applies.get(fact, "")]], dtype=object)
        for fact, column in NEIGHBOUR_FACTS.items()
    }
    return TaskTable(
        site=np.array([0]), zone=[_ZONE], duration=np.array([example.work]), clean_up=np.array([0.5]), label=label,
        blank={}, facts=facts, scalars={}, instants={},
        neighbours={"distance": np.array([[1.0]]), "bearing": np.array([[0.0]]), "arc": np.array([[0.0]])},
        neighbour_facts=named, neighbour_names=[["the neighbour"]], hours=[{}], irrigation=[()],
    )  # fmt: skip
