"""One pass looked back at, whole: the weather, the weeds, and what follows from both."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from advisor.forecast import Forecast
from advisor.model import Record, Task
from advisor.review.advice import Advice, advise
from advisor.review.observed import Part, merge
from advisor.review.pass_made import axis_of, end_of_work
from advisor.review.response import Look, Response, Timetable, responses, timetable
from advisor.review.weather import WeatherReview, review_weather
from advisor.rulebook.schema import Rule
from advisor.season import season_use


class PassReview(NamedTuple):
    """Everything that is known of one pass afterwards."""

    weather: WeatherReview
    responses: tuple[Response, ...]
    times: Timetable
    advice: Advice


def review_pass(
    task: Task,
    record: Record,
    rules: Sequence[Rule],
    ledger: Sequence[Record],
    parts: Sequence[Part],
    coming: Forecast | None,
    looks: Sequence[Look],
    now: datetime,
) -> PassReview:
    """Look back at a pass.

    Parameters
    ----------
    task : Task
        Of `advisor.review.pass_made.task_of`.
    parts : sequence of Part
        Past weather, the surest first.
    coming : Forecast, optional
        The newest forecast, for what is not over yet.
    looks : sequence of Look
        At the weeds of this treatment on this area, before the pass and after it.
    """
    weather = review_weather(task, record, rules, ledger, merge(parts, *axis_of(record)), coming, now)
    ended = end_of_work(task, record)
    times = timetable(ended, task.label.limits.get("weeks_to_effect"))
    found = responses(looks, record.started_at, ended, times)
    season = season_use(task.household, task.treatment, task.area, ledger, record.started_at)
    return PassReview(weather, found, times, advise(task, record, weather, found, times, season, now))
