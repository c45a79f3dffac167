"""Looking back at passes from what is kept, for the notice that tells what the weather did."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from advisor.ledger import read_ledger
from advisor.model import Record
from advisor.review.advice import Advice
from advisor.review.one_pass import PassReview, review_pass
from advisor.review.pass_made import span_of, task_of
from advisor.review.response import looks_of
from advisor.review.weather import WeatherReview
from advisor.seen_weather import newest_forecast, parts
from advisor.service.occasions import review_day
from advisor.store import Store
from advisor.store.measurements import COVER, of_subject


def reviews_of(service, day: date, now: datetime) -> list[tuple[WeatherReview, Advice]]:
    """The reviews that are due on a local day; passes whose files are gone are left out.

    Parameters
    ----------
    service : advisor.service.household.HouseholdService
    """
    household = service.household
    ledger = [one for one in read_ledger(household, service.database) if one.started_at <= now]
    due = [record for record in ledger if review_day(household, record) == day]
    made = [review_of(service, record, ledger, now) for record in due]
    return [(one.weather, one.advice) for one in made if one is not None]


def review_of(service, record: Record, ledger: Sequence[Record], now: datetime) -> PassReview | None:
    """One pass looked back at by what is kept; None where its area, treatment or label is gone from the files."""
    household = service.household
    task = task_of(household, record, ledger)
    if task is None:
        return None
    with Store.open_readonly(service.database) as store:
        seen, coming = parts(household, store, *span_of(record), now), newest_forecast(household, store, now)
        looked = of_subject(store, COVER, f"{record.treatment}/{record.area}", until=now)
    return review_pass(task, record, list(service.rules), ledger, seen, coming, looks_of(looked), now)
