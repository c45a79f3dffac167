"""The verdict of a start with the readings in it: every answer is needed, and a missing one is no go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from advisor.clock import to_numpy
from advisor.conditions import SiteTable
from advisor.forecast import Forecast
from advisor.model import Record, Task
from advisor.one_start import OneStart, score_one_start
from advisor.rulebook.schema import Rule
from advisor.start_card.readings import GOOD_FOR_MINUTES, ConditionsOnTheSpot, Readings
from advisor.start_card.stops import Stop, closes, stops

#: a quantity of planning, not of the moment
_PLANNING = "spare_time"


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that is asked for on the spot: yes, no, or None where nobody has said."""

    name: str
    asks: str
    holds: bool | None
    #: what a no, or a missing answer, means
    says: str


@dataclass(frozen=True, eq=False)
class StartCard:
    """The verdict of a start with its readings.

    Attributes
    ----------
    scored : OneStart, optional
        None where the forecast does not hold this hour.
    closes_at : datetime, optional
        The first full hour after the start at which the forecast breaks a limit of the work, and `closes` which.
    stops : tuple of Stop
    """

    task: Task
    start: datetime
    readings: Readings
    checks: tuple[Check, ...]
    scored: OneStart | None
    stops: tuple[Stop, ...] = ()
    closes_at: datetime | None = None
    closes: str = ""
    notes: tuple[str, ...] = ()

    @property
    def verdict(self) -> str:
        """go only where every check holds and the rules say go; a known no wins over what is not known."""
        answers = [check.holds for check in self.checks]
        rules = "unknown" if self.scored is None else self.scored.verdict
        if False in answers or rules == "no-go":
            return "no-go"
        return "unknown" if None in answers or rules == "unknown" else "go"


def judge_start(
    task: Task,
    readings: Readings,
    forecast: Forecast,
    rules: Sequence[Rule],
    records: Sequence[Record],
    now: datetime,
) -> StartCard:
    """The verdict of a start now, with the readings in the place of the forecast at this hour.

    Parameters
    ----------
    forecast : Forecast
        Of the task's site, after quality control at `now`.
    records : sequence of Record
        The ledger.
    """
    household = task.household
    sprayer = household.sprayers[task.treatment.sprayer]
    contents = {True: "none", False: "something else", None: None}[readings.sprayer_clean]
    asked = replace(sprayer, rinsed=readings.sprayer_clean, last_contents=contents)
    household = replace(household, sprayers={**household.sprayers, sprayer.id: asked})
    task = replace(task, household=household)
    hour = forecast.index(to_numpy(now, "h"))
    conditions = ConditionsOnTheSpot(forecast, SiteTable.of(household.site), readings=readings, hour=hour)
    scored = None
    if 0 <= hour < forecast.hours:
        before = [record for record in records if record.started_at <= now]
        # who stands on the lawn has the time: the hours of the household's file are for planning
        asked_now = [rule for rule in rules if rule.measure.quantity != _PLANNING]
        scored = score_one_start(task, conditions, asked_now, before, now, now)
    checks = (*_checks(task, readings, now), *_people_checks(task, now))
    if scored is None:
        return StartCard(task, now, readings, checks, None, notes=("The forecast does not hold this hour.",))
    closes_at, title = closes(scored)
    found = tuple(stops(task, scored, readings))
    notes = () if scored.inside_hours else ("This lies outside the hours that lawn.toml gives you.",)
    return StartCard(task, now, readings, checks, scored, found, closes_at, title, notes)


def _checks(task: Task, readings: Readings, now: datetime):
    age = (now - readings.taken_at).total_seconds() / 60.0
    fresh = -1.0 <= age <= GOOD_FOR_MINUTES
    yield Check("fresh", "Are the readings of the last 15 minutes?", fresh or None,
                f"the readings are {age:.0f} min old: measure again")  # fmt: skip
    wind = readings.wind_range is not None
    yield Check("wind", "How strong is the wind, at hand height?", True if wind else None,
                "measure it with a hand anemometer, or judge it by smoke, leaves and twigs")  # fmt: skip
    calm = readings.wind_range is not None and readings.wind_range[1] < 0.3
    direction = readings.wind_from is not None or calm
    yield Check("wind-from", "Where does it come from?", True if direction else None,
                "hold up a ribbon or watch a puff of smoke")  # fmt: skip
    if readings.smoke is not None:
        yield Check("smoke", "What does a puff of smoke do?", readings.smoke != "hangs",
                    "smoke that hangs in a layer is an inversion: do not spray")  # fmt: skip
    warm = readings.air_temperature is not None
    yield Check(
        "temperature", "How warm is the air, in the shade?", True if warm else None, "measure it in the shade"
    )
    if task.label.mode != "soil":
        yield Check(
            "leaves", "Are the leaves dry?", readings.leaves_dry, "wait until the leaves are dry, below too"
        )
    yield Check("people", "Are people and animals away?", readings.people_away, "wait until they are away")
    yield Check("windows", "Are the neighbours' windows and doors towards it closed?", readings.windows_closed,
                "ask them to close what faces the lawn")  # fmt: skip
    yield Check("sprayer", "Has the sprayer been cleaned since its last contents, or held the same product?",
                readings.sprayer_clean, "rinse it three times, onto turf that the label covers")  # fmt: skip


def _people_checks(task: Task, now: datetime):
    """For hire, and for restricted products: who may do it at all."""
    household = task.household
    licence = household.licence
    if household.for_hire:
        until = None if licence is None else licence.valid_until
        today = now.astimezone(household.site.zone).date()
        yield Check("licence", "Is the licence in date?", None if until is None else until >= today,
                    "for hire nobody works without it: renew it, and write valid_until in [licence]")  # fmt: skip
    if task.label.restricted_use:
        named = licence is not None and bool(licence.certified_number)
        yield Check("certified", "Is a certified applicator there?", True if named else None,
                    "only certified applicators use a restricted product: write certified_number")  # fmt: skip
