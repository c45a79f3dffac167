"""Which pass of which treatment is next on which area.

The state of a sequence is never stored: it follows from the records, and from the choices that changed the plan. A
choice moves what is still to come; it takes nothing back, so totals and intervals go on counting every record.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from advisor.clock import local_instant
from advisor.model import Area, Household, PlanEntry, Record, Task, Treatment
from advisor.season import label_year, last_pass

#: a sequence that began in one label year goes on in the next, for this long after its last pass [days]; after that
#: the year's first pass begins a new one. Common practice, no source.
CARRIES_OVER_DAYS = 120


def passes_done(
    household: Household,
    treatment: Treatment,
    area: Area,
    records: Sequence[Record],
    now: datetime,
    plans: Sequence[PlanEntry] = (),
) -> tuple[Record, ...]:
    """Passes of the sequence that runs at `now`, oldest first.

    Those of the treatment on the area in the label's year; of the year before only as long as the chain has not
    stopped for `CARRIES_OVER_DAYS`; and none from before the sequence was begun again.
    """
    own = sorted(
        (
            one
            for one in records
            if one.area == area.id and one.treatment == treatment.id and one.started_at <= now
        ),
        key=lambda one: one.started_at,
    )
    first, _ = label_year(Task(household, treatment, area, household.labels[treatment.label], 1), now)
    zone = household.site.zone
    begins = _begun_again(treatment, area, plans, now, zone)
    done: list[Record] = []
    after = now
    for record in reversed(own):
        if begins is not None and record.started_at < begins:
            break
        this_year = record.started_at.astimezone(zone).date() >= first
        if not this_year and after - record.end > timedelta(days=CARRIES_OVER_DAYS):
            break
        done.append(record)
        after = record.started_at
    return tuple(reversed(done))


def _begun_again(
    treatment: Treatment, area: Area, plans: Sequence[PlanEntry], now: datetime, zone: ZoneInfo
) -> datetime | None:
    """From when passes count towards the sequence: since it was begun again, or since the day it was left until."""
    moments = []
    for one in _of_task(treatment, area, plans, now):
        if one.kind == "restart":
            moments.append(one.made_at)
        elif one.kind == "leave":
            moments.append(local_instant(one.day, time(0), zone))
    return max((moment for moment in moments if moment <= now), default=None)


def _of_task(treatment: Treatment, area: Area, plans: Sequence[PlanEntry], now: datetime) -> list[PlanEntry]:
    return [
        one for one in plans if one.treatment == treatment.id and one.area == area.id and one.made_at <= now
    ]


def active_plan(
    treatment: Treatment, area: Area, records: Sequence[Record], plans: Sequence[PlanEntry], now: datetime
) -> PlanEntry | None:
    """The newest choice that no later pass has used up."""
    made = _of_task(treatment, area, plans, now)
    if not made:
        return None
    newest = max(enumerate(made), key=lambda pair: (pair[1].made_at, pair[0]))[1]
    used_up = any(
        one.area == area.id and one.treatment == treatment.id and newest.made_at <= one.started_at <= now
        for one in records
    )
    return None if used_up else newest


def next_tasks(
    household: Household, records: Sequence[Record], now: datetime, plans: Sequence[PlanEntry] = ()
) -> list[Task]:
    """The next pass of every treatment on every one of its areas; nothing where the sequence is complete or left."""
    tasks = []
    today = now.astimezone(household.site.zone).date()
    for treatment in household.treatments.values():
        for area_id in treatment.areas:
            area = household.areas[area_id]
            plan = active_plan(treatment, area, records, plans, now)
            done = passes_done(household, treatment, area, records, now, plans)
            if plan is not None and plan.kind == "leave":
                if today < plan.day:
                    continue
                plan = None
            if len(done) < treatment.passes:
                label = household.labels[treatment.label]
                tasks.append(Task(household, treatment, area, label, len(done) + 1, done, plan))
    return tasks


def follow_up_span(task: Task) -> tuple[datetime, datetime] | None:
    """[from, until] in which this pass is wanted; None for a first pass that nobody has set a day for.

    A follow-up is wanted the treatment's time after the pass before it, never sooner than the label's interval. A day
    that was chosen takes the place of that.
    """
    if task.plan is not None:
        zone = task.household.site.zone
        begins = local_instant(task.plan.day, time(0), zone)
        if task.plan.kind == "pass-by":
            begins = min(task.plan.made_at, begins)
        ends = local_instant(task.plan.day + timedelta(days=1), time(0), zone) - timedelta(seconds=1)
        return begins, ends
    if not task.done:
        return None
    return follow_up_after(task, task.done[-1].end)


def follow_up_after(task: Task, ended: datetime) -> tuple[datetime, datetime]:
    """[from, until] in which the pass after one that ended then is wanted."""
    soonest = soonest_follow_up(task)
    latest = max(task.treatment.follow_up_until, soonest)
    return ended + timedelta(hours=soonest), ended + timedelta(hours=latest)


def soonest_follow_up(task: Task) -> float:
    """[h] from the end of a pass until the next one is wanted, never sooner than the label's interval."""
    return max(task.treatment.follow_up_from, task.label.limits.get("minimum_interval", 0.0))


def wanted_days(task: Task) -> tuple[date, date] | None:
    """The local days of the time in which this pass is wanted."""
    span = follow_up_span(task)
    if span is None:
        return None
    zone = task.household.site.zone
    return span[0].astimezone(zone).date(), span[1].astimezone(zone).date()


def is_overdue(task: Task, now: datetime) -> bool:
    """Whether the time in which the pass was wanted, or the day chosen for it, is over."""
    span = follow_up_span(task)
    return span is not None and now > span[1]


def legal_from(task: Task, records: Sequence[Record]) -> datetime | None:
    """From when the label's interval allows the pass, counting every pass with one of its active ingredients.

    None where nothing was applied yet, or the label file leaves the interval blank.
    """
    last = last_pass(task, records)
    if last is None or "minimum_interval" not in task.label.limits:
        return None
    return last.end + timedelta(hours=task.label.limits["minimum_interval"])


def progress(task: Task, now: datetime) -> str:
    """Where the sequence stands, in a few words."""
    span = follow_up_span(task)
    zone = task.household.site.zone
    if task.plan is not None:
        word = "by" if task.plan.kind == "pass-by" else "for"
        day = f"{word} {task.plan.day:%a} {task.plan.day.day} {task.plan.day:%b}"
        return f"planned {day}, which is over" if is_overdue(task, now) else f"planned {day}"
    if span is None:
        wanted = task.treatment.start_from
        if wanted is not None and now.astimezone(zone).date() < wanted:
            return f"first pass, from {wanted.day} {wanted:%b}"
        return "first pass"
    first, last = (moment.astimezone(zone) for moment in span)
    told = f"wanted {first.day} {first:%b} to {last.day} {last:%b}"
    late = overdue_words(task, now)
    return f"{told}: {late}" if late else told


def overdue_words(task: Task, now: datetime) -> str:
    """How long a pass is overdue, by the calendar there; empty where it is not."""
    if not is_overdue(task, now):
        return ""
    zone = task.household.site.zone
    days = (now.astimezone(zone).date() - follow_up_span(task)[1].astimezone(zone).date()).days
    return f"{days} day{'' if days == 1 else 's'} overdue" if days else "overdue since today"
