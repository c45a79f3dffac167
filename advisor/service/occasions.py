"""What the ledger and the weather give cause to tell: follow-ups, reviews, closing windows, silent sources.

Each is a moment from which it is to be told; whether it has been told already is not asked here.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from advisor.clock import local_instant
from advisor.ledger import read_ledger, read_plans
from advisor.model import Household, PlanEntry, Record
from advisor.quality import DEFAULT_AGE_LIMIT, age_limit
from advisor.sequence import follow_up_span, next_tasks
from advisor.service.due import Occasion
from advisor.service.told import Told
from advisor.store import Store, payloads
from advisor.weather import site_key

#: how long before the last start its window's closing is told
CLOSING_BEFORE = timedelta(hours=1)
#: how long it is still news that a follow-up is due, is overdue, that a pass was reviewed, that no source answers
FOLLOW_UP_NEWS, OVERDUE_NEWS, REVIEW_NEWS, SOURCE_NEWS = (timedelta(days=days) for days in (7, 14, 7, 7))
#: a pass is reviewed in the morning after two nights and the rainfast time are over
_NIGHTS = 2


def of_sequence(
    household: Household, records: list[Record], plans: list[PlanEntry], now: datetime
) -> Iterator[Occasion]:
    """Follow-ups that may be made from some day on, and those whose time has run out."""
    zone = household.site.zone
    for task in next_tasks(household, records, now, plans):
        span = follow_up_span(task)
        if span is None:
            continue
        begins, ends = (moment.astimezone(zone).date() for moment in span)
        planned = _morning(begins, household)
        yield Occasion("follow-up", begins, planned, min(planned + FOLLOW_UP_NEWS, span[1]))
        after = ends + timedelta(days=1)
        yield Occasion("overdue", after, _morning(after, household), _morning(after, household) + OVERDUE_NEWS)


def of_reviews(household: Household, records: list[Record], now: datetime) -> Iterator[Occasion]:
    for record in records:
        day = review_day(household, record)
        planned = _morning(day, household)
        if planned <= now <= planned + REVIEW_NEWS:
            yield Occasion("review", day, planned, planned + REVIEW_NEWS)


def review_day(household: Household, record: Record) -> date:
    """The local day in whose morning the weather after a pass is known: two nights later, and rainfast."""
    treatment = household.treatments.get(record.treatment)
    label = None if treatment is None else household.labels.get(treatment.label)
    rainfast = 0.0 if label is None else label.limits.get("rainfast_time", 0.0)
    zone: ZoneInfo = household.site.zone
    nights = record.end.astimezone(zone).date() + timedelta(days=_NIGHTS + 1)
    dry = (record.end + timedelta(hours=rainfast)).astimezone(zone).date() + timedelta(days=1)
    return max(nights, dry)


def of_windows(told: Told | None) -> Iterator[Occasion]:
    """The closing of the window that was told of today."""
    closes_at = None if told is None else told.closes_at
    if closes_at is not None:
        yield Occasion("closing", told.day, closes_at - CLOSING_BEFORE, closes_at)


def of_sources(household: Household, store: Store, now: datetime) -> Iterator[Occasion]:
    """No source has answered until its last answer is too old to be believed."""
    last = last_answer(household, store, now)
    if last is None:
        return
    at, limit = last
    planned = at + limit
    day = planned.astimezone(household.site.zone).date()
    # A day may see two silences: each is told by the answer that it began with.
    yield Occasion("source-down", day, planned, planned + SOURCE_NEWS, of=f"{planned:%H%M}")


def last_answer(household: Household, store: Store, now: datetime) -> tuple[datetime, timedelta] | None:
    """(when a source last gave an answer or said that it still stands, for how long such an answer is believed)."""
    key = site_key(household.site)
    found = [payloads.newest(store, name, key, until=now) for name in household.settings.sources]
    kept = [payload for payload in found if payload is not None]
    if not kept:
        return None
    newest = max(kept, key=lambda payload: payload.confirmed_at)
    return newest.confirmed_at, timedelta(hours=age_limit(newest.source) or DEFAULT_AGE_LIMIT)


def ledger_of(household: Household, database, now: datetime) -> tuple[list[Record], list[PlanEntry]]:
    records = [record for record in read_ledger(household, database) if record.started_at <= now]
    return records, [plan for plan in read_plans(database) if plan.made_at <= now]


def _morning(day: date, household: Household) -> datetime:
    return local_instant(day, household.notices.morning, household.site.zone)
