"""The notices about one day: the evening before, the morning of, when its answer changes, when its window closes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta

from advisor.clock import from_numpy, iso
from advisor.messages.notice.layout import NoticeText, Parts, Windows, as_html, as_text, fitted
from advisor.messages.notice.lines import (
    Row,
    answer_line,
    area_names,
    called,
    cautions_of,
    clock,
    listed,
    mix_words,
    next_chance,
    reasons,
    rows_of,
    verdict,
    wait_line,
)
from advisor.messages.outlook_text import head
from advisor.outlook import Outlook


def notice_day(outlook: Outlook, kind: str) -> date:
    """The local day a notice speaks of: an evening's speaks of tomorrow, all others of today."""
    today = outlook.now.astimezone(outlook.household.site.zone).date()
    return today + timedelta(days=1) if kind == "evening" else today


def make_notice(outlook: Outlook, kind: str, day: date | None = None) -> NoticeText | None:
    """The notice of a kind (evening, morning or changed) about a day, or None where no pass is open."""
    if not outlook.tasks:
        return None
    day = day or notice_day(outlook, kind)
    rows = rows_of(outlook, day)
    when = called(day, outlook.now, outlook.household.site.zone)
    changed = "Changed. " if kind == "changed" else ""
    return about_a_day(outlook, kind, day, rows, lambda most: changed + answer_line(rows, when, most))


def make_closing(outlook: Outlook) -> NoticeText | None:
    """The last start of today comes near; None where nothing more may start today."""
    zone = outlook.household.site.zone
    day = notice_day(outlook, "closing")
    rows = [row for row in rows_of(outlook, day) if row[1] is not None and row[1].verdict == "go"]
    if not rows:
        return None
    ends: dict[str, list] = {}
    for scored, found in rows:
        ends.setdefault(clock(found.windows[-1][1], zone), []).append(scored.task)
    soonest = min(found.windows[-1][1] for _, found in rows)
    left = _length(from_numpy(soonest) - outlook.now)

    def answer(most: int) -> str:
        parts = [f"{listed(area_names(tasks), most)} at {at}" for at, tasks in sorted(ends.items())]
        parts = parts[: most + 1] + (["others later, see the page"] if len(parts) > most + 1 else [])
        return f"Window closing in {left}: last start today, {'; '.join(parts)}."

    return about_a_day(outlook, "closing", day, rows, answer)


def about_a_day(
    outlook: Outlook, kind: str, day: date, rows: Sequence[Row], answer: Callable[[int], str]
) -> NoticeText:
    """`answer` gives the first line, with at most so many areas by name."""
    mix, detail = mix_words(rows, outlook)
    why, wait = reasons(rows, outlook.household.units), wait_line(rows, day)
    fixed = {"mix": mix, "mix_detail": detail, "cautions": cautions_of(outlook), "foot": head(outlook)}
    parts = fitted(lambda most: Parts(answer(most), why, next_chance(outlook, day, most)[0], wait, **fixed))
    subject = parts.answer.rstrip(".")
    verdicts = {task_key(scored): verdict(found) for scored, found in rows}
    windows = {
        task_key(scored): tuple((iso(a), iso(b)) for a, b in found.windows)
        for scored, found in rows
        if verdict(found) == "go"
    }
    told = "; ".join(
        f"{key.partition('#')[0]}={word}{_hours(windows.get(key, ()))}" for key, word in verdicts.items()
    )
    blocking = sorted({title for _, found in rows if found is not None for title in _blocking(found)})
    said = [";".join(f"{key}={word}" for key, word in sorted(verdicts.items())), ",".join(blocking)]
    says = "|".join([*said, str(next_chance(outlook, day)[1])])
    return NoticeText(
        kind, day, subject, as_text(parts), told, as_html(parts, subject), says, verdicts, windows
    )


def task_key(scored) -> str:
    """By which a task is found again in a later outlook, as long as its pass has not been made."""
    return f"{scored.task.id}#{scored.task.pass_number}"


def withdrawn(told_verdicts, told_windows, made: NoticeText, outlook: Outlook) -> bool:
    """Whether a start that was told as a go, and has not gone by, is none any more.

    Parameters
    ----------
    told_verdicts, told_windows : mapping
        Of the notice that spoke of this day last, see `NoticeText`.
    """
    for key, word in told_verdicts.items():
        if word != "go" or key not in made.verdicts:
            continue
        coming = {hour for hour in _starts(told_windows.get(key, ())) if 3600 * hour >= outlook.now.timestamp()}
        if coming - _starts(made.windows.get(key, ())):
            return True
    return False


def worth_telling(told_verdicts, told_windows, made: NoticeText, outlook: Outlook) -> bool:
    """Whether the answer has changed for a task that is still open: a start is taken back, a go has come, or what was
    not known is known to be a no-go."""
    if withdrawn(told_verdicts, told_windows, made, outlook):
        return True
    for key, word in made.verdicts.items():
        before = told_verdicts.get(key)
        if before is None or before == word:
            continue
        if word == "go" or (before == "unknown" and word == "no-go"):
            return True
    return False


def _blocking(found) -> list[str]:
    return [] if found.verdict == "go" else [one.title for one in found.reasons if one.verdict != "go"]


def _hours(windows: Windows) -> str:
    return "".join(f" {first}/{last}" for first, last in windows)


def _starts(windows) -> set[int]:
    """Hours since 1970 of every start in some windows."""
    found: set[int] = set()
    for first, last in windows:
        a, b = (int(datetime.fromisoformat(text).timestamp()) // 3600 for text in (first, last))
        found.update(range(a, b + 1))
    return found


def _length(left: timedelta) -> str:
    minutes = max(round(left.total_seconds() / 60.0), 0)
    if minutes < 90:
        return f"{minutes} minutes"
    return f"{minutes / 60.0:.1f} hours".replace(".0 hours", " hours")
