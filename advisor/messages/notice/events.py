"""The notices about a sequence and about the service: follow-up due, overdue, review result, no new forecast."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta

from advisor import units
from advisor.messages.notice.daily import notice_day, task_key
from advisor.messages.notice.layout import NoticeText, Parts, as_html, as_text, fitted
from advisor.messages.notice.lines import (
    area_names,
    called,
    cautions_of,
    listed,
    next_chance,
    reasons,
    rows_of,
    verdict,
    wait_line,
)
from advisor.messages.outlook_text import head
from advisor.messages.wording import long_date
from advisor.outlook import Outlook, TaskOutlook
from advisor.review.advice import Advice
from advisor.review.weather import BROKEN, WeatherReview
from advisor.sequence import follow_up_span

Wanted = Callable[[TaskOutlook], bool]


def make_follow_up(outlook: Outlook, wanted: Wanted = lambda scored: True) -> NoticeText | None:
    """A follow-up may be made from now on, for the tasks that are `wanted`; None where there is none."""
    found = [scored for scored in outlook.tasks if follow_up_span(scored.task) is not None and wanted(scored)]
    if not found:
        return None
    zone = outlook.household.site.zone
    spans = [follow_up_span(scored.task) for scored in found]
    begins = min(span[0] for span in spans).astimezone(zone)
    ends = min(span[1] for span in spans).astimezone(zone)
    today = outlook.now.astimezone(zone).date()
    last = long_date(ends.date())
    when = f"from {long_date(begins.date())} to {last}"
    if begins.date() <= today:
        when = f"by {last}, which is past" if ends.date() < today else f"from now to {last}"
    return _about_tasks(
        outlook,
        "follow-up",
        found,
        lambda most: f"Follow-up due: {_whose(found, most)}, wanted {when}.",
        [_since(found, outlook)],
    )


def make_overdue(outlook: Outlook, wanted: Wanted = lambda scored: True) -> NoticeText | None:
    """The time in which a follow-up was wanted has run out, for the tasks that are `wanted`."""
    found = [
        scored
        for scored in outlook.tasks
        if (span := follow_up_span(scored.task)) is not None and span[1] < outlook.now and wanted(scored)
    ]
    if not found:
        return None
    zone = outlook.household.site.zone
    ended = max(follow_up_span(scored.task)[1] for scored in found).astimezone(zone).date()
    days = (outlook.now.astimezone(zone).date() - ended).days
    ago = "yesterday" if days == 1 else f"{days} days ago"
    why = [
        "No pass is on record since. Record it if it was made; advisor reschedule lists what can still be done.",
        "No pass is on record since.",
    ]
    return _about_tasks(
        outlook,
        "overdue",
        found,
        lambda most: f"Overdue: {_whose(found, most)} was wanted by {long_date(ended)}, {ago}.",
        why,
    )


def make_review(
    outlook: Outlook, reviews: Sequence[tuple[WeatherReview, Advice]]
) -> NoticeText | None:
    """What the weather did after one or more passes of the same day; None where none was reviewed."""
    if not reviews:
        return None
    zone = outlook.household.site.zone
    tasks = [weather.task for weather, _ in reviews]
    day = min(weather.record.started_at for weather, _ in reviews).astimezone(zone).date()
    worst, advice = max(reviews, key=lambda pair: _WORST.index(pair[0].status) if pair[0].status in _WORST else 0)
    broken = [one.text for one in worst.limits if one.status == BROKEN]
    # what is broken stands in the first line and in the first reason already
    told = [*broken[:1], *(one for one in advice.reasons if not (broken and one.startswith("Broken: ")))]
    why = [" ".join(told[:2]), told[0], _first_words(worst)] if told else [_first_words(worst)]
    chance = _follow_up_words(advice, zone)
    foot, warn = head(outlook), cautions_of(outlook)

    def parts(most: int) -> Parts:
        first = f"Review of {long_date(day)}, {listed(area_names(tasks), most)}: {_kept_word(worst)}."
        return Parts(first, why, chance, cautions=warn, foot=foot)

    return _notice("review", day, fitted(parts))


def make_source_down(outlook: Outlook, since: datetime | None, why: str = "") -> NoticeText | None:
    """No weather source has answered since `since` (never, where None); None where no pass is open."""
    if not outlook.tasks:
        return None
    zone = outlook.household.site.zone
    day = notice_day(outlook, "source-down")
    if since is None:
        first = "No forecast: no weather source has answered yet."
    else:
        local = since.astimezone(zone)
        hours = (outlook.now - since) / timedelta(hours=1)
        first = f"No new forecast for {hours:.0f} hours, since {long_date(local.date())} {local:%H:%M}."
    today = [verdict(found) for _, found in rows_of(outlook, day)]
    still = "Answers still rest on the last one." if "go" in today else "Today is no go."
    if "go" not in today and "unknown" in today:
        still = "Today is not known, which is no go."
    reason = f" {why}" if why else ""
    chance = "Next: the advisor keeps asking, and tells what a new forecast changes. What to check: advisor doctor."
    parts = Parts(first, [f"{still}{reason}", still], chance, cautions=cautions_of(outlook), foot=head(outlook))
    return _notice("source-down", day, parts)


def _about_tasks(
    outlook: Outlook, kind: str, found: Sequence[TaskOutlook], first: Callable[[int], str], why: Sequence[str]
) -> NoticeText:
    """A notice about passes: its next chance counts today, and the reason of today follows its own."""
    zone = outlook.household.site.zone
    today = outlook.now.astimezone(zone).date()
    keys = {task_key(scored) for scored in found}
    rows = [row for row in rows_of(outlook, today) if task_key(row[0]) in keys]
    shortest = reasons(rows, outlook.household.units)[-1]
    whys = [f"{why[0]} Today: {shortest[:1].lower()}{shortest[1:]}", *why]
    wait, foot = wait_line(rows, today), head(outlook)

    def parts(most: int) -> Parts:
        chance, next_day = next_chance(outlook, today - timedelta(days=1), most)
        if next_day == today:
            chance = chance.replace(long_date(today), called(today, outlook.now, zone), 1)
        return Parts(first(most), whys, chance, wait, cautions=cautions_of(outlook), foot=foot)

    return _notice(kind, today, fitted(parts))


def _notice(kind: str, day: date, parts: Parts) -> NoticeText:
    subject = parts.answer.rstrip(".")
    return NoticeText(kind, day, subject, as_text(parts), kind, as_html(parts, subject), parts.answer)


def _whose(found: Sequence[TaskOutlook], most: int) -> str:
    numbers = sorted({scored.task.pass_number for scored in found})
    word = f"pass {numbers[0]}" if len(numbers) == 1 else f"passes {listed([str(one) for one in numbers])}"
    return f"{word} on {listed(area_names([scored.task for scored in found]), most)}"


def _since(found: Sequence[TaskOutlook], outlook: Outlook) -> str:
    zone = outlook.household.site.zone
    if found[0].task.plan is not None or not found[0].task.done:
        return "That is the day that was chosen."
    last = found[0].task.done[-1]
    day = last.end.astimezone(zone).date()
    interval = found[0].task.label.limits.get("minimum_interval")
    label = "" if interval is None else (
        f", and the label asks for {units.show(interval, 'time', outlook.household.units)} between passes")  # fmt: skip
    return f"The pass before was on {long_date(day)}{label}."


#: from good to bad
_WORST = ("kept", "unknown", "at risk", "broken")


def _kept_word(review: WeatherReview) -> str:
    broken = [one.title.lower() for one in review.of(BROKEN)]
    if broken:
        return f"limits broken: {listed(broken)}"
    return {
        "kept": "the weather kept every limit",
        "at risk": "limits are at risk",
        "unknown": "not everything is known of the weather",
    }.get(review.status, "the weather was looked at")


def _first_words(review: WeatherReview) -> str:
    kept = sum(one.status == "kept" for one in review.limits)
    return f"{kept} of {len(review.limits)} limits were kept for certain."


def _follow_up_words(advice: Advice, zone) -> str:
    if advice.proposal in ("none", "pull by hand"):
        return "Next: no further pass is needed."
    if advice.proposal == "not allowed" or advice.wanted_from is None:
        return "Next: no further pass is allowed now."
    begins, ends = (one.astimezone(zone).date() for one in (advice.wanted_from, advice.wanted_until))
    return f"Next chance: a follow-up, where one is needed, from {long_date(begins)} to {long_date(ends)}."
