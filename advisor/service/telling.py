"""Which notice a piece of work becomes, or none: changes and not states, at most so many a day, never a repetition."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from advisor.clock import local_instant
from advisor.messages.notice import (
    DAILY,
    NoticeText,
    make_closing,
    make_follow_up,
    make_notice,
    make_overdue,
    make_source_down,
    withdrawn,
    worth_telling,
)
from advisor.model import Household
from advisor.outlook import Outlook
from advisor.sequence import follow_up_span
from advisor.service.due import HEARTBEAT, Work
from advisor.service.log import event
from advisor.service.occasions import last_answer
from advisor.service.told import Told, last_told, of_day
from advisor.store import Store, marks, notices
from advisor.store.notices import CHANGED

log = logging.getLogger(__name__)

#: what has not changed is told again after this long, so that silence does not last for weeks
AGAIN_AFTER = timedelta(days=7)


def texts_of(store: Store, household: Household, outlook: Outlook, work: Work, now: datetime) -> Iterator[NoticeText]:
    """The notices that a piece of work calls for, as things stand at `now`.

    Parameters
    ----------
    store : Store
        To see what was told before.
    """
    told = last_told(store)
    if work.kind == CHANGED:
        made = _changes(told, household, outlook)
    else:
        one = text_of(store, household, outlook, work, now, told)
        made = iter(() if one is None else ((one, False),))
    for text, taken_back in made:
        if taken_back or _has_room(store, household, work, now):
            yield text
        else:
            event(log, "notice_held_back", logging.WARNING, kind=text.kind, subject=text.subject)


def text_of(
    store: Store, household: Household, outlook: Outlook, work: Work, now: datetime, told: list[Told]
) -> NoticeText | None:
    zone = household.site.zone
    if work.kind in DAILY:
        day = work.local_date + timedelta(days=1) if work.kind == "evening" else work.local_date
        made = make_notice(outlook, work.kind, day)
        if made is None or household.notices.repeat_unchanged or not _repeats(made, told, now):
            return made
        event(log, "notice_unchanged", kind=work.kind, local_date=work.local_date)
        return None
    if work.kind == "closing":
        return make_closing(outlook)
    if work.kind == "follow-up":
        return make_follow_up(outlook, lambda scored: _begins(scored.task, zone) == work.local_date)
    if work.kind == "overdue":
        yesterday = work.local_date - timedelta(days=1)
        return make_overdue(outlook, lambda scored: _ends(scored.task, zone) == yesterday)
    if work.kind == "source-down":
        return source_down(store, household, outlook, now)
    return None


def source_down(store: Store, household: Household, outlook: Outlook, now: datetime) -> NoticeText | None:
    """None as long as the last answer is young enough to be believed."""
    last = last_answer(household, store, now)
    if last is not None and now - last[0] < last[1]:
        return None
    beat = marks.get(store, HEARTBEAT)
    trouble = str((beat.data.get("trouble") if beat is not None else None) or "")
    why = next((part[6:] for part in trouble.split("; ") if part.startswith("pull: ")), "")
    brief = " ".join(why.split()[:14])
    return make_source_down(outlook, None if last is None else last[0], f"{brief.rstrip('.,:;')}." if brief else "")


def _changes(told: list[Told], household: Household, outlook: Outlook) -> Iterator[tuple[NoticeText, bool]]:
    """(notice, whether it takes a go back) for today and tomorrow, of which something was told that holds no more."""
    zone, plan, now = household.site.zone, household.notices, outlook.now
    today = now.astimezone(zone).date()
    for day, at in ((today, plan.morning), (today + timedelta(days=1), plan.evening)):
        made = make_notice(outlook, CHANGED, day)
        if made is None:
            continue
        before = of_day(told, day)
        if before is None:
            if not told or now < local_instant(today, at, zone):
                continue
            # The notice of that day's time was left out, because it was the no that the person knew of already.
            before = Told(CHANGED, day, now, verdicts=dict.fromkeys(made.verdicts, "no-go"))
        if worth_telling(before.verdicts, before.windows, made, outlook):
            yield made, withdrawn(before.verdicts, before.windows, made, outlook)


def _repeats(made: NoticeText, told: list[Told], now: datetime) -> bool:
    """Whether the person knows it: the same no of the same day, or the same no for the same reason as lately."""
    if "go" in made.verdicts.values():
        return False
    before = of_day(told, made.day)
    if before is not None and before.verdicts == made.verdicts:
        return True
    last = next((one for one in told if one.kind in DAILY), None)
    return last is not None and last.says == made.says and timedelta(0) <= now - last.created_at < AGAIN_AFTER


def _has_room(store: Store, household: Household, work: Work, now: datetime) -> bool:
    """Whether the day's number is not used up; the evening's notice keeps its place until it has been told."""
    plan, zone = household.notices, household.site.zone
    today = now.astimezone(zone).date()
    kept = 0
    if work.kind not in DAILY and now < local_instant(today, plan.evening, zone) and plan.at_most_per_day > 1:
        kept = 1
    return _count_of(store, today, zone) < plan.at_most_per_day - kept


def _count_of(store: Store, day: date, zone) -> int:
    """Notices made on a local day, whatever day they speak of."""
    begins, ends = (local_instant(one, time(0), zone) for one in (day, day + timedelta(days=1)))
    return sum(begins <= one.created_at < ends for one in notices.recent(store, 60))


def _begins(task, zone) -> date | None:
    span = follow_up_span(task)
    return None if span is None else span[0].astimezone(zone).date()


def _ends(task, zone) -> date | None:
    span = follow_up_span(task)
    return None if span is None else span[1].astimezone(zone).date()
