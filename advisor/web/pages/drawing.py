"""The figure of a week or of a day, with the words that stand beside its rows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

from markupsafe import Markup

from advisor.figures import Frame, axis_svg, panel_svg, panels_of, week_frame, windows_svg
from advisor.outlook import Outlook
from advisor.verdict import GO, UNKNOWN
from advisor.web.words import span_words

#: a rule that is not known for more than this share of the person's hours has its row among the first
UNKNOWN_SHARE = 0.4


def figure(
    outlook: Outlook,
    tasks: Sequence[int],
    first_day: date,
    last_day: date,
    key: str,
    link: Callable[[date], str] | None,
    *,
    hourly: bool = False,
) -> dict[str, Any] | None:
    """Rows for some tasks over some days; None where the forecast holds nothing of them.

    Parameters
    ----------
    key : str
        Sets the names inside this figure apart from those of another on the same page.
    """
    tasks = list(tasks)
    frame = week_frame(outlook, tasks, first_day, last_day)
    if frame is None:
        return None
    zone = outlook.household.site.zone
    panels, fixed = panels_of(outlook, tasks, frame)
    several = len(tasks) > 1
    rows = [
        {
            "rule": panel.rule,
            "title": panel.title,
            "kind": panel.kind,
            "areas": ", ".join(panel.areas) if several and len(panel.tasks) < len(tasks) else "",
            "says": panel.says,
            "limit": panel.limit_words,
            "standing": panel.standing_words,
            "matters": panel.against > 0 or panel.unknown > UNKNOWN_SHARE * panel.mine.sum(),
            "svg": Markup(panel_svg(panel, frame, f"{key}-{at}", zone, link, hourly=hourly)),
        }
        for at, panel in enumerate(panels)
    ]
    shown = {row["rule"] for row in rows}
    return {
        "axis": Markup(axis_svg(frame, zone, link, hourly=hourly)),
        "axis_below": Markup(axis_svg(frame, zone, None, hourly=hourly)),
        "hours": int(frame.mine.sum()),
        "windows": [_windows(outlook, task, frame, several) for task in tasks],
        "rows": [row for row in rows if row["matters"]],
        "kept": [row for row in rows if not row["matters"]],
        "fixed": {
            word: sorted(
                {one.title.lower() for one in fixed if one.verdict == word and one.rule not in shown}
            )
            for word in ("no-go", "unknown", "go")
        },
        "clock": " and ".join(frame.clock_names),
        "zone": frame.zone_name,
        "members": outlook.forecast.members,
    }


def _windows(outlook: Outlook, task: int, frame: Frame, several: bool) -> dict[str, Any]:
    """The brackets of one area along the top."""
    zone = outlook.household.site.zone
    shown = slice(frame.first, frame.first + len(frame))
    verdict = outlook.verdicts.verdict[task, shown]
    ahead = outlook.explainer.lead_hours[shown] >= 0.0
    mine = (outlook.explainer.area.spare_time[task, 0, shown] >= -1e-9) & ahead
    scored = outlook.tasks[task]
    told = [
        f"{day.day.strftime('%a %-d %b')}, start {span_words(first, last, zone)}"
        for day in scored.days
        for first, last in day.windows
        if frame.hours[0] <= first <= frame.hours[-1]
    ]
    name = scored.task.area.name
    says = f"Windows for {name}: " + ("; ".join(told) or "none")
    return {
        "label": f"Windows, {name}" if several else "Windows",
        "svg": Markup(windows_svg(frame, verdict == GO, verdict == UNKNOWN, mine, says, zone)),
    }
