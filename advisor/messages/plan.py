"""The plan in words and as JSON: where each sequence stands, what the label leaves, and back from a seeding."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from advisor import units
from advisor.clock import iso
from advisor.lawn_work import USUAL_MOWING_WAIT
from advisor.messages.cautions import SHORT_CAUTION
from advisor.messages.wording import full_day, short_day, wrap_lines
from advisor.mix.allowed import label_rate
from advisor.model import Area, Household, Label, Task, Treatment
from advisor.planning import BackwardPlan, PassPlan, day_for_seed, seeding_wait
from advisor.season import planned_rate
from advisor.sequence import Room, progress, wanted_days
from advisor.sequence.answers import Answer

SCHEMA_ID = "advisor.plan/1"


@dataclass(frozen=True, slots=True)
class Standing:
    """One treatment on one area: the next pass where one is open, else the sequence as it ended."""

    treatment: Treatment
    area: Area
    task: Task | None
    made: tuple[datetime, ...]
    room: Room
    answers: tuple[Answer, ...]


def plan_text(household: Household, standings: Sequence[Standing], now: datetime, width: int = 80) -> str:
    """Where every sequence stands and what surrounds its next pass."""
    lines: list[str] = [f"{household.name}, {full_day(now.astimezone(household.site.zone).date())}"]
    for one in standings:
        lines += ["", f"{one.treatment.name}, {one.area.name}"]
        for name, words in _rows(household, one, now):
            lines += wrap_lines(words, width, f"  {name:<10} ", " " * 13)
    lines += ["", *wrap_lines("Back from a day: advisor plan --seed-by DATE. The days: advisor outlook.", width)]
    return "\n".join([*lines, *wrap_lines(SHORT_CAUTION, width)])


def _rows(household: Household, one: Standing, now: datetime) -> list[tuple[str, str]]:
    zone, system = household.site.zone, household.units
    made = ", ".join(short_day(moment.astimezone(zone).date()) for moment in one.made) or "none yet"
    rows = [("passes", f"{len(one.made)} of {one.treatment.passes} made: {made}")]
    if one.task is None:
        rows.append(("next", "none: the sequence is complete, or left until a later day"))
    else:
        rows.append(("next", f"pass {one.task.pass_number}, {progress(one.task, now)}"))
    rows += _label_rows(household, one, system)
    if one.task is not None:
        rows += _around(one.task, one.room, now, system)
    for answer in one.answers:
        rows.append(("weed" if answer is one.answers[0] else "", f"{answer.weed}: {answer.kind}; {answer.why}"))
    return rows


def _label_rows(household: Household, one: Standing, system: str) -> list[tuple[str, str]]:
    room, label = one.room, household.labels[one.treatment.label]
    most = "" if room.most_passes is None else f" of {room.most_passes}"
    left = "how many more is not known, for an earlier pass cannot be added up"
    if not math.isnan(room.more_passes):
        left = "no limit on more" if math.isinf(room.more_passes) else f"{room.more_passes:.0f} more fit"
    rows = [("label year", f"to {full_day(room.year[1] - timedelta(days=1))}: {room.passes}{most} passes, {left}")]
    for total in room.ingredients:
        if math.isnan(total.maximum):
            words = "no yearly maximum follows from the label file"
        elif math.isnan(total.applied):
            words = "not known, for an earlier pass cannot be added up"
        else:
            words = f"{total.applied / total.maximum:.0%} of its yearly maximum, {total.share:.0%} with the next pass"
        rows.append(("", f"{total.name}: {words} (acid equivalent)"))
    task = one.task
    if task is not None:
        rate = planned_rate(task)
        dimension = label.dimension_of("rate")
        highest = label_rate(label, one.area)
        words = "not stated by the label file" if rate is None else units.show(rate, dimension, system)
        if rate is not None and highest is not None and rate < label.limits.get("rate", rate) * (1.0 - 1e-9):
            lowest = rate >= highest[0] * (1.0 - 1e-9)
            because = highest[1] if lowest else "the treatment's own, or the lowest of its areas"
            words += f", lower than the label's {units.show(label.limits['rate'], dimension, system)}: {because}"
        rows.append(("rate", words))
    return [*rows, *_turf_rows(one.area, label)]


def _turf_rows(area: Area, label: Label) -> list[tuple[str, str]]:
    """Species that the label does not list, or only up to a share of the mixture."""
    rows = []
    missing = [species for species in area.turf if label.turf_species and species not in label.turf_species]
    if missing:
        rows.append(("turf", f"the label does not list {', '.join(missing)}: no start can go on this area"))
    for species in area.turf:
        limit = label.turf_shares.get(species)
        if limit is None:
            continue
        share = area.turf_shares.get(species, 1.0 if len(area.turf) == 1 else None)
        stands = "its share here is not stated (turf_shares)" if share is None else f"here it is {share:.0%}"
        outcome = "" if share is not None and share <= limit + 1e-9 else ": no start can go on this area"
        rows.append(("turf", f"the label allows {species} up to {limit:.0%} of the mixture, and {stands}{outcome}"))
    return rows


def _around(task: Task, room: Room, now: datetime, system: str) -> list[tuple[str, str]]:
    """Interval, season, seed, mowing and watering around the next pass."""
    zone, limits = task.household.site.zone, task.label.limits
    rows = []
    if room.legal_from is not None:
        local = room.legal_from.astimezone(zone)
        word = "over since" if room.legal_from <= now else "the label's interval ends"
        rows.append(("interval", f"{word} {full_day(local.date())}, {local:%H:%M}"))
    if room.latest is not None:
        rows.append(("latest", f"{full_day(room.latest)}, the last sensible day"))
    wait, stated = seeding_wait(task)
    source = "the label" if stated else "common practice, no source"
    if wait is None:
        rows.append(("seed", "none after this product: its label does not say how long seed must wait"))
    else:
        words = f"{units.show(wait, 'time', system)} after the pass ({source})"
        if task.area.seeding_planned is not None:
            words += f"; planned for {full_day(task.area.seeding_planned)}"
        rows.append(("seed", words))
    if task.label.mode != "soil":
        before, after = (limits.get(name, USUAL_MOWING_WAIT) for name in ("mowing_before", "mowing_after"))
        rows.append(("mowing", f"none in the {units.show(before, 'time', system)} before and the "
                     f"{units.show(after, 'time', system)} after, whole days"))  # fmt: skip
        rainfast = limits.get("rainfast_time")
        told = "the label's rainfast time is blank: none that day or the next" if rainfast is None else (
            f"none from the day of the pass until {units.show(rainfast, 'time', system)} after its end")  # fmt: skip
        rows.append(("sprinkler", told))
    else:
        depth, within = limits.get("watering_in_depth"), limits.get("watering_in_within")
        told = "the label does not say how it is watered in"
        if depth is not None and within is not None:
            water, time = units.show(depth, "water_depth", system), units.show(within, "time", system)
            told = f"watered in with {water} within {time}"
        rows.append(("sprinkler", told))
    return rows


def backward_text(plan: BackwardPlan, width: int = 80) -> str:
    """The last days before a seeding, or why there is none and what else can be done."""
    task = plan.task
    lines = [f"{task.treatment.name}, {task.area.name}: seed on {_named(plan.seed_by)}"]
    for name, words in _backward_rows(plan):
        lines += wrap_lines(words, width, f"  {name:<14} ", " " * 17)
    return "\n".join(lines)


def _backward_rows(plan: BackwardPlan) -> list[tuple[str, str]]:
    rows: list[tuple[str, str]] = []
    if plan.why_not:
        rows.append(("no pass fits", plan.why_not))
        if plan.seed_soonest is not None and not plan.room.is_full:
            when = _named(plan.seed_soonest)
            rows.append(("seed instead", f"from {when} on, if the pass is made as soon as it may be"))
        if plan.spray_after_seed is not None:
            rows.append(("seed first", "and spray once the new grass has been mowed four times, about "
                         f"{_named(plan.spray_after_seed)} (common practice, no source)"))  # fmt: skip
        return rows
    for one in plan.passes:
        rows += _pass_rows(one, plan)
    short = plan.wanted - len(plan.passes)
    if short > 0:
        many = f"{short} pass{'' if short == 1 else 'es'}"
        told = f"{many} of the sequence; later, once the new grass has been mowed four times, or not at all"
        rows.append(("does not fit", told))
    return rows


def _pass_rows(one: PassPlan, plan: BackwardPlan) -> list[tuple[str, str]]:
    last = one is plan.passes[-1]
    why = ""
    if last:
        wait = units.show(plan.wait, "time", plan.task.household.units)
        source = "the label" if plan.wait_from_label else "common practice, no source"
        why = f"; seed waits {wait} ({source})" if plan.bound_by == "seed" else "; the season ends then"
    rows = [
        ("last mowing", "" if one.last_mowing is None else f"{_named(one.last_mowing)}, then leave it"),
        ("sprinkler off", _dry(one)),
        ("last to spray", f"{_named(one.last_day)}, pass {one.number}; possible from {_named(one.earliest)}{why}"),
        ("mow again", "" if one.first_mowing is None else f"from {_named(one.first_mowing)}"),
    ]
    return [(name, words) for name, words in rows if words]


def _dry(one: PassPlan) -> str:
    if one.dry_from is None:
        return ""
    told = f"from {_named(one.dry_from)}, on again after {_named(one.dry_until)}"
    if one.waterings:
        told += f"; the timetable waters on {', '.join(_named(day) for day in one.waterings)}"
    return told


def plan_object(
    household: Household, standings: Sequence[Standing], now: datetime, backward: Mapping[str, BackwardPlan]
) -> dict[str, Any]:
    """For programs; null where something is not known."""
    return {
        "schema": SCHEMA_ID,
        "generated_at": iso(now),
        "time_zone": household.site.zone.key,
        "sequences": [_standing_object(one, now) for one in standings],
        "backward": [_backward_object(one) for one in backward.values()],
    }


def _standing_object(one: Standing, now: datetime) -> dict[str, Any]:
    room, task = one.room, one.task
    wanted = None if task is None else wanted_days(task)
    wait = None if task is None else seeding_wait(task)[0]
    today = now.astimezone(task.household.site.zone).date() if task is not None else None
    return {
        "treatment": one.treatment.id,
        "area": one.area.id,
        "passes": one.treatment.passes,
        "made_at": [iso(moment) for moment in one.made],
        "next_pass": None if task is None else task.pass_number,
        "standing": None if task is None else progress(task, now),
        "wanted_from": None if wanted is None else wanted[0].isoformat(),
        "wanted_until": None if wanted is None else wanted[1].isoformat(),
        "planned_for": None if task is None or task.plan is None else task.plan.day.isoformat(),
        "legal_from": iso(room.legal_from),
        "latest_day": _day(room.latest),
        "seed_after_a_pass_today": None if today is None or wait is None else day_for_seed(today, wait).isoformat(),
        "label_year": {
            "first_day": room.year[0].isoformat(),
            "last_day": (room.year[1] - timedelta(days=1)).isoformat(),
            "passes_made": room.passes,
            "most_passes": room.most_passes,
            "more_passes": _finite(room.more_passes),
            "ingredients": [
                {"name": total.name, "applied_g_m2": _finite(total.applied), "planned_g_m2": _finite(total.planned),
                 "maximum_g_m2": _finite(total.maximum)}
                for total in room.ingredients
            ],
        },
        "weeds": [{"weed": answer.weed, "answer": answer.kind, "why": answer.why} for answer in one.answers],
    }  # fmt: skip


def _backward_object(plan: BackwardPlan) -> dict[str, Any]:
    return {
        "treatment": plan.task.treatment.id,
        "area": plan.task.area.id,
        "seed_by": plan.seed_by.isoformat(),
        "possible": bool(plan.passes),
        "why_not": plan.why_not or None,
        "seeding_wait_hours": _finite(plan.wait),
        "wait_from_label": plan.wait_from_label,
        "bound_by": plan.bound_by,
        "passes_wanted": plan.wanted,
        "passes": [
            {
                "pass": one.number,
                "earliest": one.earliest.isoformat(),
                "last_day_to_spray": one.last_day.isoformat(),
                "last_mowing": _day(one.last_mowing),
                "first_mowing_after": _day(one.first_mowing),
                "sprinkler_off_from": _day(one.dry_from),
                "sprinkler_off_until": _day(one.dry_until),
                "waterings_to_leave_out": [day.isoformat() for day in one.waterings],
            }
            for one in plan.passes
        ],
        "seed_soonest": _day(plan.seed_soonest),
        "spray_after_seed": _day(plan.spray_after_seed),
    }


def _day(day: date | None) -> str | None:
    return None if day is None else day.isoformat()


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), 6)


def _named(day: date) -> str:
    return f"{day:%a} {day.day} {day:%b %Y}"
