"""What can be done about a missed pass: each choice with its dates, chance, effects, and why it ranks where it does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from advisor.clock import from_numpy, iso
from advisor.messages.cautions import SHORT_CAUTION
from advisor.messages.weather_text import spreads
from advisor.messages.wording import full_day, short_day, week_day, wrap_lines
from advisor.model import PlanEntry
from advisor.outlook import Outlook
from advisor.reschedule import WORTH_AGAIN, WORTH_LEFT, Choice, Missed, what_lateness_costs

SCHEMA_ID = "advisor.reschedule/1"
_LEGEND = (
    "Value is the chance times what a success is worth, in passes made on time; lateness halves that in three weeks "
    "(common practice, no source)."
)


def numbered(missed: Sequence[Missed]) -> list[tuple[int, Missed, Choice]]:
    """Every choice with its number; they run on over all missed passes, so that one number names one choice."""
    rows = [(one, choice) for one in missed for choice in one.choices]
    return [(at + 1, one, choice) for at, (one, choice) in enumerate(rows)]


def reschedule_text(outlook: Outlook, missed: Sequence[Missed], width: int = 80) -> str:
    """The missed passes and their ranked choices."""
    if not missed:
        return _nothing(outlook, width)
    rows = numbered(missed)
    lines: list[str] = []
    for one in missed:
        lines += [*wrap_lines(_headline(one), width), *wrap_lines(_year(one), width), ""]
        own = [(number, choice) for number, each, choice in rows if each is one]
        for rank, (number, choice) in enumerate(own):
            lines += _choice_lines(number, rank, one, choice, outlook, width)
        lines.append("")
    lines += wrap_lines(_LEGEND, width)
    rests = spreads([outlook.forecast.provenance])
    lines += wrap_lines(f"Chances: {rests}, {outlook.forecast.members} members", width) if rests else []
    lines += wrap_lines("Take one: advisor reschedule --choose N. It changes the plan, never the records.", width)
    return "\n".join([*lines, *wrap_lines(SHORT_CAUTION, width)])


def _nothing(outlook: Outlook, width: int) -> str:
    if not outlook.tasks:
        return "No pass is open, so none is overdue."
    lines = ["No pass is overdue."]
    for scored in outlook.tasks:
        coming = scored.next_go()
        told = "none in this forecast" if coming is None else week_day(coming.day)
        lines += wrap_lines(f"{scored.task.treatment.name}, {scored.task.area.name}: next window {told}.", width)
    lines += wrap_lines("To move a pass all the same: advisor reschedule --missed", width)
    return "\n".join(lines)


def _headline(one: Missed) -> str:
    task = one.task
    which = f"{task.treatment.name}, {task.area.name}: pass {task.pass_number} of {task.treatment.passes}"
    if one.overdue and one.task.plan is not None:
        return f"{which} was planned for {week_day(one.task.plan.day)}, and that day is over."
    if one.wanted is None:
        return f"{which} is to be moved."
    span = f"{short_day(one.wanted[0])} to {short_day(one.wanted[1])}"
    if one.days_late:
        return f"{which} was wanted {span} and is {one.days_late} day{'' if one.days_late == 1 else 's'} overdue."
    return f"{which} is wanted {span}."


def _year(one: Missed) -> str:
    room = one.room
    passes = f"{room.passes}" if room.most_passes is None else f"{room.passes} of {room.most_passes}"
    told = [f"Label year to {full_day(room.year[1] - timedelta(days=1))}: {passes} passes made"]
    for total in room.ingredients:
        if not math.isnan(total.maximum):
            share = "an unknown part" if math.isnan(total.applied) else f"{total.applied / total.maximum:.0%}"
            told.append(f"{share} of the maximum of {total.name}")
    if room.latest is not None:
        told.append(f"last sensible day {short_day(room.latest)}")
    line = ", ".join(told) + "."
    return f"{line} {one.closed[0].upper()}{one.closed[1:]}." if one.closed else line


def _choice_lines(number: int, rank: int, one: Missed, choice: Choice, outlook: Outlook, width: int) -> list[str]:
    told = [
        ("chance", _chance(choice)),
        ("total", _total(choice)),
        ("seed", _seed(choice)),
        ("later", _later(choice, one)),
        ("why", why(rank, one, choice)),
    ]
    lines = wrap_lines(what(choice, one, outlook), width, f" {number:>2}  ", "     ")
    for name, words in told:
        lines += wrap_lines(words, width, f"     {name:<7} ", " " * 13)
    return lines


def what(choice: Choice, one: Missed, outlook: Outlook) -> str:
    """The choice in one sentence."""
    zone = outlook.household.site.zone
    starts = ""
    if choice.start is not None:
        day = next((day for day in one.scored.days if day.day == choice.day), None)
        runs = day.windows if day is not None else ()
        starts = ", start " + " or ".join(_run(run, zone) for run in runs)
    if choice.kind == "again":
        return f"Begin the sequence again on {week_day(choice.day)}{starts}."
    if choice.kind == "leave":
        return f"Leave it until the next season, from {full_day(choice.day)} on."
    if choice.kind == "later":
        return f"Wait for the first good day from {week_day(choice.day)} to {week_day(choice.until)}."
    sure = "" if choice.verdict == "go" else ", not decided yet"
    late = f", {_days(choice.days_late)} late" if choice.days_late else ", in time"
    return f"{week_day(choice.day)}{starts}{late}{sure}."


def _run(run, zone) -> str:
    first, last = (from_numpy(hour).astimezone(zone).strftime("%H:%M") for hour in run)
    return first if first == last else f"{first}-{last}"


def _chance(choice: Choice) -> str:
    if choice.chance is None:
        return f"not known: no almanac is kept, so it counts as 0; a success is worth {choice.worth:.2f}"
    told = f"{choice.chance:.0%}, a success is worth {choice.worth:.2f}: value {choice.value:.2f}"
    if choice.kind == "again" and choice.follow_up_chance is None:
        return told + "; the follow-ups count as 0, for no almanac is kept"
    if choice.kind in ("later", "leave"):
        return told + "; by past years"
    return told


def _total(choice: Choice) -> str:
    effect = choice.effect
    passes = f"{effect.passes_used}" if effect.most_passes is None else f"{effect.passes_used} of {effect.most_passes}"
    share = "an unknown part" if math.isnan(effect.share_used) else f"{effect.share_used:.0%}"
    when = "so far" if choice.kind == "leave" else "after it"
    return f"{when} {passes} passes and {share} of the year's active ingredient, to {full_day(effect.year_ends)}"


def _seed(choice: Choice) -> str:
    effect = choice.effect
    if effect.seed_from is None:
        return "none this season: the label does not say how long seed must wait"
    if choice.kind == "leave":
        return f"from {full_day(effect.seed_from)} on, as far as the passes so far go"
    told = f"from {full_day(effect.seed_from)} on"
    return told + "; the seeding that is planned must move to then" if effect.seeding_moves else told


def _later(choice: Choice, one: Missed) -> str:
    effect = choice.effect
    if choice.kind == "leave":
        return f"the whole sequence of {one.task.treatment.passes}, as a new one; totals and intervals go on counting"
    spans = [f"{short_day(first)} to {short_day(last)}" for first, last in effect.later_passes]
    told = f"wanted {', '.join(spans)}" if spans else "none after it"
    if effect.passes_short:
        many = f"{effect.passes_short} pass{'' if effect.passes_short == 1 else 'es'}"
        told += f"; {many} of the sequence would have to wait for the next label year or season"
    return told


def why(rank: int, one: Missed, choice: Choice) -> str:
    """Why the choice ranks where it does, with its place."""
    return f"{_PLACES[min(rank, len(_PLACES) - 1)]}: {reason_of(rank, one, choice)}"


def reason_of(rank: int, one: Missed, choice: Choice) -> str:
    """Why the choice ranks where it does."""
    if choice.kind == "leave":
        reason = (
            f"the weeds recover and set seed until then, so a success is worth {WORTH_LEFT:.2f}; {choice.because}"
        )
    elif choice.kind == "again":
        reason = (
            f"a whole new sequence is worth {WORTH_AGAIN:.2f}, for it takes a pass more and the weeks are gone"
            + ("; the label or the season leaves too few passes for it" if choice.effect.passes_short else "")
        )
    elif choice.kind == "later":
        lost = f"lateness costs {what_lateness_costs(choice.days_late):.0%} by the first of them"
        reason = "the forecast does not reach these days" + (f"; {lost}" if choice.days_late else "")
    elif choice.days_late:
        reason = f"lateness costs {what_lateness_costs(choice.days_late):.0%} of a pass by then, and more every day"
    else:
        reason = "inside the time in which the pass is wanted; each day of waiting costs a little"
    above = _above(rank, one)
    return reason + ("" if above is None else f"; {above}")


_PLACES = ("first", "second", "third", "fourth", "fifth", "then")


def _above(rank: int, one: Missed) -> str | None:
    if rank == 0:
        return None
    before, this = one.choices[rank - 1], one.choices[rank]
    if this.value == before.value:
        return "as much as the one above, and placed after it by its kind and day"
    return f"{before.value - this.value:.2f} less than the one above"


def chosen_text(entry: PlanEntry, one: Missed, dry_run: bool) -> str:
    """What choosing has written, or would write."""
    task = one.task
    says = {
        "pass-on": f"the pass is planned for {full_day(entry.day)}",
        "pass-by": f"the pass is planned for the first good day, by {full_day(entry.day)}",
        "restart": f"the sequence begins again, its first pass on {full_day(entry.day)}",
        "leave": f"nothing more until {full_day(entry.day)}",
    }[entry.kind]
    verb = "Would change" if dry_run else "Changed"
    return f"{verb} the plan of {task.treatment.name}, {task.area.name}: {says}. The records stay as they are."


def reschedule_object(outlook: Outlook, missed: Sequence[Missed], chosen: Sequence[PlanEntry] = ()) -> dict[str, Any]:
    """For programs: numbers, SI units in key names, null where something is not known."""
    numbers = {(id(one), choice.id): number for number, one, choice in numbered(missed)}
    return {
        "schema": SCHEMA_ID,
        "generated_at": iso(outlook.now),
        "time_zone": outlook.household.site.zone.key,
        "missed": [_missed_object(one, outlook, numbers) for one in missed],
        "chosen": [
            {"treatment": entry.treatment, "area": entry.area, "kind": entry.kind, "date": entry.day.isoformat(),
             "made_at": iso(entry.made_at), "id": entry.id}
            for entry in chosen
        ],
    }  # fmt: skip


def _missed_object(one: Missed, outlook: Outlook, numbers) -> dict[str, Any]:
    task, room = one.task, one.room
    return {
        "treatment": task.treatment.id,
        "area": task.area.id,
        "pass": task.pass_number,
        "passes": task.treatment.passes,
        "overdue": one.overdue,
        "wanted_from": None if one.wanted is None else one.wanted[0].isoformat(),
        "wanted_until": None if one.wanted is None else one.wanted[1].isoformat(),
        "days_overdue": one.days_late,
        "closed": one.closed or None,
        "label_year": {
            "first_day": room.year[0].isoformat(),
            "last_day": (room.year[1] - timedelta(days=1)).isoformat(),
            "passes_made": room.passes,
            "most_passes": room.most_passes,
            "more_passes": _finite(room.more_passes),
            "latest_day": None if room.latest is None else room.latest.isoformat(),
            "ingredients": [
                {"name": total.name, "applied_g_m2": _finite(total.applied), "maximum_g_m2": _finite(total.maximum)}
                for total in room.ingredients
            ],
        },
        "choices": [
            _choice_object(choice, rank, one, outlook, numbers[id(one), choice.id])
            for rank, choice in enumerate(one.choices)
        ],
    }


def _choice_object(choice: Choice, rank: int, one: Missed, outlook: Outlook, number: int) -> dict[str, Any]:
    effect = choice.effect
    return {
        "number": number,
        "id": choice.id,
        "kind": choice.kind,
        "date": choice.day.isoformat(),
        "until": choice.until.isoformat(),
        "start": iso(choice.start),
        "last_start": iso(choice.last_start),
        "verdict": choice.verdict,
        "chance": _finite(choice.chance),
        "follow_up_chance": _finite(choice.follow_up_chance),
        "worth": round(choice.worth, 4),
        "value": round(choice.value, 4),
        "days_late": choice.days_late,
        "effect": {
            "passes_used": effect.passes_used,
            "most_passes": effect.most_passes,
            "share_of_yearly_maximum": _finite(effect.share_used),
            "label_year_ends": effect.year_ends.isoformat(),
            "seed_from": None if effect.seed_from is None else effect.seed_from.isoformat(),
            "planned_seeding_moves": effect.seeding_moves,
            "later_passes": [[first.isoformat(), last.isoformat()] for first, last in effect.later_passes],
            "passes_short": effect.passes_short,
        },
        "text": what(choice, one, outlook),
        "why": why(rank, one, choice),
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), 4)


def _days(count: int) -> str:
    return f"{count} day{'' if count == 1 else 's'}"
