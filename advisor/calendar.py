"""The household's dates as an iCalendar text (RFC 5545): windows, the chosen day, follow-ups, looks, postings.

Every event keeps its UID as long as it is the same event, so that a calendar which reads the text again replaces what
it has; SEQUENCE and DTSTAMP come from when the forecast or the ledger last changed, so the same state gives the same
bytes. Times are UTC and end in Z; whole days are dates of the site's own calendar.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta

from icalendar import Calendar, Event

from advisor.clock import from_numpy
from advisor.messages.cautions import SHORT_CAUTION
from advisor.messages.weather_text import spreads
from advisor.model import Household, PlanEntry, Record, Task
from advisor.outlook import Day, Outlook, TaskOutlook
from advisor.review.response import timetable
from advisor.sequence import follow_up_span, is_overdue

PRODID = "-//application-window-advisor//calendar//EN"
#: how often a subscribed calendar should look again
REFRESH = "PT1H"
#: SEQUENCE counts minutes from here
_EPOCH = datetime(2020, 1, 1, tzinfo=UTC)
#: looks at the weeds stay in the calendar for this long after their day [days]
_LOOKS_KEPT = 120


def calendar_text(
    outlook: Outlook,
    records: Iterable[Record] | None = None,
    plans: Iterable[PlanEntry] = (),
    revised: datetime | None = None,
) -> str:
    """The whole calendar, lines ended as RFC 5545 wants them.

    Parameters
    ----------
    records : iterable of Record, optional
        Passes that were made; those of the open sequences when not given.
    plans : iterable of PlanEntry
        Choices that changed the plan, for when it was last changed.
    revised : datetime, optional
        When any of it changed last; the newest of forecast, records and choices when not given.
    """
    household = outlook.household
    if records is None:
        records = {id(one): one for scored in outlook.tasks for one in scored.task.done}.values()
    records = [one for one in records if one.started_at <= outlook.now]
    revised = revised or _revised(outlook, records, plans)
    whole = Calendar()
    whole.add("prodid", PRODID)
    whole.add("version", "2.0")
    whole.add("calscale", "GREGORIAN")
    whole.add("x-wr-calname", _line(household.name))
    whole.add("x-wr-timezone", household.site.zone.key)
    whole.add("x-published-ttl", REFRESH)
    events = [*_of_tasks(outlook), *_of_records(household, records, outlook.now)]
    for event in sorted(events, key=lambda event: (event["uid"],)):
        event.add("dtstamp", revised)
        event.add("sequence", max(int((revised - _EPOCH) / timedelta(minutes=1)), 0))
        whole.add_component(event)
    return whole.to_ical().decode("utf-8")


def _revised(outlook: Outlook, records: Sequence[Record], plans: Iterable[PlanEntry]) -> datetime:
    source = outlook.forecast.provenance
    moments = [moment for moment in (source.fetched_at, source.issued_at) if moment is not None] or [
        outlook.now
    ]
    moments += [one.end for one in records]
    moments += [one.made_at for one in plans]
    known = [moment for moment in moments if moment <= outlook.now]
    return max(known, default=outlook.now).astimezone(UTC).replace(microsecond=0)


# -- what is to come


def _of_tasks(outlook: Outlook) -> Iterator[Event]:
    for scored in outlook.tasks:
        for day in scored.days:
            yield from _windows(outlook, scored, day)
        yield from _wanted(outlook, scored.task)


def _windows(outlook: Outlook, scored: TaskOutlook, day: Day) -> Iterator[Event]:
    """The runs of go starts of a day, each until the work that begins with its last start is over."""
    task, zone = scored.task, outlook.household.site.zone
    for number, (first, last) in enumerate(day.windows, 1):
        begins, latest = from_numpy(first), from_numpy(last)
        local = [moment.astimezone(zone).strftime("%H:%M") for moment in (begins, latest)]
        span = f"start at {local[0]}" if first == last else f"start from {local[0]} to {local[1]}"
        rests = spreads([outlook.forecast.provenance])
        lines = [
            f"Chance that everything holds at the best start: {day.chance:.0%}{f' ({rests})' if rests else ''}."
        ]
        if day.tightest is not None:
            lines.append(f"Tightest: {day.tightest.text}")
        event = _event(task.household, f"window-{_key(task)}-{day.day.isoformat()}-{number}",
                       f"Go: {task.treatment.name}, {task.area.name}, {span}", lines)  # fmt: skip
        event.add("dtstart", begins)
        event.add("dtend", latest + timedelta(hours=max(task.duration or 0.0, 0.5)))
        event.add("status", "TENTATIVE")
        event.add("transp", "TRANSPARENT")
        event.add("categories", ["window"])
        yield event


def _wanted(outlook: Outlook, task: Task) -> Iterator[Event]:
    """The day that was chosen, or the time in which the follow-up is wanted."""
    span = follow_up_span(task)
    if span is None:
        return
    zone = outlook.household.site.zone
    first, last = (moment.astimezone(zone).date() for moment in span)
    name = f"pass {task.pass_number} of {task.treatment.name}, {task.area.name}"
    if task.plan is not None:
        event = _event(task.household, f"chosen-{_key(task)}", f"Chosen day: {name}",
                       [task.plan.says, "A chosen day is no go: look at the day's answer first."])  # fmt: skip
        event.add("status", "CONFIRMED")
        categories = "chosen day"
    else:
        late = " (overdue)" if is_overdue(task, outlook.now) else ""
        event = _event(task.household, f"follow-up-{_key(task)}-{task.pass_number}", f"Follow-up wanted{late}: {name}",
                       ["Never sooner than the label's interval."])  # fmt: skip
        event.add("status", "TENTATIVE")
        categories = "follow-up"
    _whole_days(event, first, last)
    event.add("categories", [categories])
    yield event


# -- what follows from passes that were made


def _of_records(household: Household, records: Sequence[Record], now: datetime) -> Iterator[Event]:
    zone = household.site.zone
    for record in records:
        area = household.areas.get(record.area)
        name = record.area if area is None else area.name
        mark = _mark(record)
        treatment = household.treatments.get(record.treatment)
        label = None if treatment is None else household.labels.get(treatment.label)
        times = timetable(record.end, None if label is None else label.limits.get("weeks_to_effect"))
        for kind, moment, says in (
            ("first-look", times.first_look, "Look at the weeds for the first time"),
            ("judge", times.judge_from, "Judge the weeds: how much of them is left?"),
        ):
            day = moment.astimezone(zone).date()
            if (now.astimezone(zone).date() - day).days > _LOOKS_KEPT:
                continue
            event = _event(household, f"{kind}-{mark}", f"{says.split(':')[0]}: {name}",
                           [says, "Enter the cover that you see: advisor review look."])  # fmt: skip
            _whole_days(event, day, day)
            event.add("categories", ["response check"])
            yield event
        if household.for_hire:
            day = (record.end.astimezone(zone) + timedelta(days=1)).date()
            says = "How long signs stay up differs by state and town, a day in many: check your state."
            event = _event(household, f"posting-{mark}", f"Posting: take the signs down, {name}", [says])
            _whole_days(event, day, day)
            event.add("categories", ["posting"])
            yield event


# -- an event


def _event(household: Household, name: str, summary: str, lines: Iterable[str]) -> Event:
    event = Event()
    place = hashlib.sha256(household.site.key.encode()).hexdigest()[:12]
    event.add("uid", f"{name}@{place}.advisor.invalid")
    event.add("summary", _line(summary))
    event.add("description", "\n".join(_plain(line) for line in (*lines, SHORT_CAUTION) if line))
    return event


def _whole_days(event: Event, first: date, last: date) -> None:
    event.add("dtstart", first)
    event.add("dtend", max(first, last) + timedelta(days=1))
    event.add("transp", "TRANSPARENT")


def _key(task: Task) -> str:
    return f"{task.treatment.id}-{task.area.id}"


def _mark(record: Record) -> str:
    # What is imported from a file is named by its line there, which another line before it would change.
    if record.id and not record.id.startswith("history/"):
        return record.id
    said = f"{record.treatment}|{record.area}|{record.started_at.astimezone(UTC).isoformat()}"
    return "h-" + hashlib.sha256(said.encode()).hexdigest()[:12]


def _plain(text: str) -> str:
    """Without control characters, which RFC 5545 does not allow in texts."""
    return "".join(char if char.isprintable() or char == "\n" else " " for char in text)


def _line(text: str) -> str:
    return " ".join(_plain(text).split())
