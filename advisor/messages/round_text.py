"""The round of a day as one screen, as one notice and as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from advisor.clock import iso
from advisor.messages.cautions import SHORT_CAUTION, cautions
from advisor.messages.mix_text import water
from advisor.messages.notice.layout import NoticeText, Parts, as_html, as_text, fitted
from advisor.messages.notice.lines import called, listed
from advisor.messages.round_plan import Round, Stop, to_tell, wind_turns
from advisor.messages.weather_text import spreads
from advisor.messages.wording import long_date, wrap
from advisor.mix.plan import MixPlan, MixRefused, plan_mix
from advisor.outlook import Day, TaskOutlook

SCHEMA_ID = "advisor.round/1"


def round_text(plan: Round, now: datetime, width: int = 80) -> str:
    """One screen: order, tank loads, who is told, where to go when the wind turns, and what has to wait."""
    lines = [wrap(headline(plan, now), width), ""]
    for number, stop in enumerate(plan.stops, 1):
        lines.append(wrap(_stop_line(stop), width, f"{number:>2}  ", "    "))
    if not plan.stops:
        lines.append("    Nothing may go.")
    loads, refused = load_lines(plan)
    lines += _section("Loads:", [*loads, *refused], width)
    lines += _section("Tell and post:", tell_lines(plan), width)
    lines += _section("If the wind turns:", turn_lines(plan), width)
    lines += _section("Goes, but does not fit:", [_left_line(plan, job) for job in plan.left_out], width)
    lines += _section("Does not go:", closed_lines(plan), width)
    lines += ["", *(wrap(line, width) for line in (*age_lines(plan, now), SHORT_CAUTION))]
    return "\n".join(lines)


def headline(plan: Round, now: datetime, most: int = 3) -> str:
    zone = plan.lawns[0].outlook.household.site.zone
    when = called(plan.day, now, zone)
    when = when[:1].upper() + when[1:]
    if not plan.stops:
        return f"{when}: none of {len(plan.lawns)} lawns goes."
    names = list(dict.fromkeys(stop.job.lawn.name for stop in plan.stops))
    first, last = plan.stops[0], plan.stops[-1]
    return (
        f"{when}: {len(names)} of {len(plan.lawns)} lawns, {_clock(first, first.begins)} to {_clock(last, last.ends)}: "
        f"{_in_order(names, most)}."
    )


def _in_order(names: Sequence[str], most: int) -> str:
    if not most:
        return "order below"
    return ", then ".join(names[:most]) + ("" if len(names) <= most else f" and {len(names) - most} more")


def _stop_line(stop: Stop) -> str:
    job = stop.job
    closes = f"window closes {_clock(stop, job.closes)}"
    loss = f"waiting costs {job.loss:.0%} of a pass" if job.loss >= 0.005 else "waiting costs nothing"
    span = f"{_clock(stop, stop.begins)}-{_clock(stop, stop.ends)}"
    what = f"{job.task.area.name}, pass {job.task.pass_number} of {job.task.treatment.name}"
    return f"{span}  {job.lawn.name}: {what} ({closes}; {loss}; chance {job.day.chance:.0%})"


def load_lines(plan: Round) -> tuple[list[str], list[str]]:
    """(product, spray and tank loads over the round, by product and sprayer; why there is no mix for a stop)."""
    mixes: dict[tuple[str, str], list[MixPlan]] = {}
    refused = []
    for stop in plan.stops:
        household, task = stop.job.lawn.outlook.household, stop.job.task
        try:
            mix = plan_mix(household, task.treatment, task.area)
        except MixRefused as error:
            refused.append(f"No mix for {stop.job.lawn.name}, {task.area.name}: {error.problems[0].what}.")
        else:
            mixes.setdefault((mix.label.product, mix.sprayer.name), []).append(mix)
    system = plan.lawns[0].outlook.household.units
    told = []
    for (product, sprayer), found in mixes.items():
        measure = found[0].loads[0].product.measure
        amount = measure.words(sum(one.measured for one in found))
        loads = sum(len(one.loads) for one in found)
        spray = "spread dry" if found[0].volume is None else f"in {water(sum(one.volume for one in found), system)}"
        told.append(f"{product}: {amount} {spray}, {loads} load{'s' if loads > 1 else ''} of the {sprayer}.")
    return told, refused


def tell_lines(plan: Round) -> list[str]:
    by_lawn: dict[str, list] = {}
    for stop in plan.stops:
        by_lawn.setdefault(stop.job.lawn.key, []).append(stop)
    told = []
    for stops in by_lawn.values():
        household = stops[0].job.lawn.outlook.household
        found = to_tell(household, [stop.job.task for stop in stops])
        told += [f"{stops[0].job.lawn.name}: {'; '.join(found)}."] if found else []
    return told


def turn_lines(plan: Round) -> list[str]:
    """Winds that close the same stops in one line."""
    grouped: dict[tuple, tuple[list[str], Any]] = {}
    for turn in wind_turns(plan.stops):
        key = tuple((stop.job.lawn.key, stop.job.task.id, name) for stop, name in turn.closed)
        grouped.setdefault(key, ([], turn))[0].append(turn.origin)
    told = []
    for origins, turn in grouped.values():
        shut = listed([f"{stop.job.lawn.name}, {stop.job.task.area.name} ({name})" for stop, name in turn.closed])
        onward = "nothing of the round stays open" if turn.following is None else (
            f"next {turn.following.job.lawn.name}, {turn.following.job.task.area.name}")  # fmt: skip
        told.append(f"from {', '.join(origins)}: leave {shut}; {onward}.")
    return told


def _left_line(plan: Round, job) -> str:
    later = job.scored.next_go(plan.day)
    after = "" if later is None else f"; it goes again on {long_date(later.day)}"
    return f"{job.lawn.name}, {job.task.area.name}: no room before {_at(job, job.closes)}{after}."


def closed_lines(plan: Round) -> list[str]:
    """Each lawn with what stands in its way, the areas that share it together."""
    grouped: dict[tuple[str, str], list[str]] = {}
    for lawn, scored, day in plan.closed:
        grouped.setdefault((lawn.name, why_closed(scored, day)), []).append(scored.task.area.name)
    return [f"{name}, {listed(areas)}: {why}." for (name, why), areas in grouped.items()]


def why_closed(scored: TaskOutlook, day: Day | None) -> str:
    """What stands in the way of a pass that is not in the round, in a few words."""
    if day is None:
        return "the forecast does not reach that day"
    if day.verdict == "go":
        return "it goes, but outside your hours"
    if not day.candidates:
        return "no start fits its hours"
    if day.verdict == "unknown":
        if day.too_early:
            return "too early to decide"
        missing = list(dict.fromkeys(one.missing for one in day.reasons if one.verdict == "unknown"))
        return f"not known: {listed(missing)}" if missing else "not known"
    names = [one.title.lower() for one in day.reasons if one.verdict == "no-go"]
    later = scored.next_go(day.day)
    return listed(names) + ("" if later is None else f"; next chance {long_date(later.day)}")


def age_lines(plan: Round, now: datetime) -> list[str]:
    """The oldest forecast of the round, and every source once; the lawns without one; the zone of the times."""
    sources = [(lawn.name, lawn.outlook.forecast.provenance) for lawn in plan.lawns]
    there = [(source, name) for name, source in sources if source.source != "none"]
    ages = [(age, name) for source, name in there if (age := source.age_hours(now)) is not None]
    unknown = [name for source, name in there if source.age_hours(now) is None]
    without = [name for name, source in sources if source.source == "none"]
    names = dict.fromkeys(source.attribution or source.source for source, _ in there)
    told = []
    if ages:
        age, name = max(ages)
        old = f"{age:.0f} h" if age >= 1.0 else f"{60.0 * age:.0f} min"
        told.append(f"Forecast: {'; '.join(names)}; the oldest is {old} old ({name}).")
    if rests := spreads(source for source, _ in there):
        told.append(f"Chances: {rests}.")
    if unknown:
        told.append(f"The age of the forecast is not known for {listed(unknown)}.")
    if without:
        told.append(f"No forecast yet for {listed(without)}.")
    zone = plan.lawns[0].outlook.household.site.zone
    local = now.astimezone(zone)
    return [*told, f"Times are those of {zone.key}; now {local:%H:%M} {local.tzname()}."]


def round_notice(plan: Round, now: datetime, kind: str = "evening") -> NoticeText:
    """The round as one notice: the answer, what decides the order, what has to wait; then the list."""
    why = []
    if plan.stops:
        first = plan.stops[0]
        closes = f"{first.job.lawn.name} closes at {_at(first.job, first.job.closes)}"
        why = [f"Order by closing windows: {closes}.", closes + "."]
    elif plan.closed:
        lawn, scored, day = plan.closed[0]
        why = [f"{lawn.name}: {why_closed(scored, day)}."]
    waiting = len({lawn.key for lawn, _, _ in plan.closed} - {stop.job.lawn.key for stop in plan.stops})
    chance = _next_round(plan)
    rest = f"{len(plan.left_out)} passes do not fit." if plan.left_out else ""
    wait = f"{waiting} lawn{'s' if waiting != 1 else ''} must wait." if waiting else ""
    loads, refused = load_lines(plan)
    left = [_left_line(plan, job) for job in plan.left_out]
    after = [
        ("The round:", [_stop_line(stop) for stop in plan.stops]),
        ("Loads:", [*loads, *refused]),
        ("Tell and post:", tell_lines(plan)),
        ("If the wind turns:", turn_lines(plan)),
        ("Goes, but does not fit:", left),
        ("Does not go:", closed_lines(plan)),
    ]
    warn, foot = cautions_of_round(plan), age_lines(plan, now)
    told = " ".join(filter(None, (wait, rest)))
    parts = fitted(
        lambda most: Parts(
            headline(plan, now, most), why or [""], chance, told, cautions=warn, foot=foot, after=after
        )
    )
    subject = parts.answer.rstrip(".")
    answer = ";".join(f"{stop.job.lawn.key}/{stop.job.task.id}@{iso(stop.begins)}" for stop in plan.stops)
    return NoticeText(kind, plan.day, subject, as_text(parts), answer or "none", as_html(parts, subject), subject)


def _next_round(plan: Round) -> str:
    days = [
        day.day
        for lawn in plan.lawns
        for scored in lawn.outlook.tasks
        for day in scored.days
        if day.verdict == "go" and day.day > plan.day
    ]
    if not days:
        still = [day.day for lawn in plan.lawns for scored in lawn.outlook.tasks for day in scored.days
                 if day.verdict == "unknown" and day.day > plan.day]  # fmt: skip
        if still:
            return f"Next chance: no day is sure yet; {long_date(min(still))} is still open."
        return "Next chance: none in the days of this forecast."
    first = min(days)
    return f"Next chance: {long_date(first)}, {days.count(first)} pass{'es' if days.count(first) > 1 else ''}."


def cautions_of_round(plan: Round) -> list[str]:
    """The cautions of all lawns, each once."""
    told: dict[str, None] = {}
    for lawn in plan.lawns:
        labels = tuple({one.task.label.id: one.task.label for one in lawn.outlook.tasks}.values())
        told.update(dict.fromkeys(cautions(lawn.outlook.household, labels)))
    return list(told)


def round_object(plan: Round, now: datetime) -> Mapping[str, Any]:
    """For programs: UTC, hours, null where something is not known."""
    loads, refused = load_lines(plan)
    return {
        "schema": SCHEMA_ID,
        "date": plan.day.isoformat(),
        "generated_at": iso(now),
        "travel_minutes": plan.travel / timedelta(minutes=1),
        "lawns": [{"lawn": lawn.key, "name": lawn.name} for lawn in plan.lawns],
        "stops": [
            {
                "lawn": stop.job.lawn.key, "treatment": stop.job.task.treatment.id, "area": stop.job.task.area.id,
                "pass": stop.job.task.pass_number, "begins": iso(stop.begins), "ends": iso(stop.ends),
                "window_closes": iso(stop.job.closes), "loss_by_waiting": round(stop.job.loss, 4),
                "chance": None if stop.job.day.chance is None else round(stop.job.day.chance, 4),
            }
            for stop in plan.stops
        ],
        "left_out": [{"lawn": job.lawn.key, "treatment": job.task.treatment.id, "area": job.task.area.id}
                     for job in plan.left_out],
        "closed": [
            {"lawn": lawn.key, "treatment": scored.task.treatment.id, "area": scored.task.area.id,
             "verdict": "unknown" if day is None else day.verdict, "why": why_closed(scored, day)}
            for lawn, scored, day in plan.closed
        ],
        "loads": loads, "no_mix": refused, "tell": tell_lines(plan), "wind_turns": turn_lines(plan),
        "cautions": cautions_of_round(plan),
    }  # fmt: skip


def _section(title: str, lines: Sequence[str], width: int) -> list[str]:
    return ["", title, *(wrap(line, width, "  - ", "    ") for line in lines)] if lines else []


def _clock(stop: Stop, moment: datetime) -> str:
    return _at(stop.job, moment)


def _at(job, moment: datetime) -> str:
    return moment.astimezone(job.lawn.outlook.household.site.zone).strftime("%H:%M")
