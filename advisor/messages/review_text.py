"""A review for people and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from advisor import units
from advisor.clock import from_numpy, iso
from advisor.messages.cautions import SHORT_CAUTION
from advisor.messages.wording import wrap
from advisor.rain.washoff import TRIAL_RAIN
from advisor.review.advice import NOT_ALLOWED, Advice
from advisor.review.response import ABBOTT, CHANGE, HENDERSON_TILTON, Response, Timetable
from advisor.review.weather import KEPT, UNKNOWN, LimitReview, WeatherReview

SCHEMA_ID = "advisor.review/1"
_MARKS = {"broken": "x", "at risk": "!", "unknown": "?", "kept": "="}
_METHODS = {
    ABBOTT: "control by Abbott's formula (strip looked at afterwards only; Abbott 1925)",
    HENDERSON_TILTON: "control by Henderson and Tilton's formula (1955)",
    CHANGE: "change in cover, no untreated strip: weather and season are mixed in",
}
_PROPOSALS = {
    "too early": "not decided yet",
    "none": "none needed",
    "pull by hand": "none: pull what is left by hand",
    "spots": "yes, the spots only",
    "whole area": "yes",
    "not allowed": "needed, but the label does not allow it",
}


def review_text(
    weather: WeatherReview,
    found: Sequence[Response],
    times: Timetable,
    advice: Advice,
    now: datetime,
    width: int = 80,
) -> str:
    """One pass looked back at: the limits, the rain, the nights, the weeds, and what follows from it."""
    record, task = weather.record, weather.task
    household, zone = task.household, task.household.site.zone
    start = record.started_at.astimezone(zone)
    lines = [
        f"{task.treatment.name}, {task.area.name}: pass {task.pass_number}, {start.strftime('%a %-d %b %Y, %H:%M %Z')}",
        wrap(
            f"Weather: {weather.weather or 'none is kept of these days; give a file with --observed'}", width
        ),
        "",
        f"Did the weather keep its word? {summary(weather)}",
    ]
    for one in weather.limits:
        if one.status not in (KEPT, UNKNOWN):
            seen = f" [{one.seen_as}]" if one.seen_as and one.over else ""
            text = f"{one.status}: {one.title}. {one.text}{seen}"
            lines.append(wrap(text, width, f"  {_MARKS[one.status]} ", "    "))
    lines += _unknown_lines(weather, width)
    kept = [one.title.lower() for one in weather.limits if one.status == KEPT]
    if kept:
        lines.append(wrap(f"kept: {', '.join(kept)}.", width, f"  {_MARKS[KEPT]} ", "    "))
    lines += [
        "",
        *rain_lines(weather, household.units, width),
        *night_lines(weather, household.units, zone, width),
    ]
    lines += ["", *response_lines(found, times, zone, now, width)]
    lines += ["", *advice_lines(advice, zone, width), "", wrap(SHORT_CAUTION, width)]
    return "\n".join(lines)


def _unknown_lines(weather: WeatherReview, width: int) -> list[str]:
    """What is not known: in one line where nothing was seen at all, and where only time is missing."""
    unknown = weather.of(UNKNOWN)
    if unknown and not weather.weather:
        names = ", ".join(one.title.lower() for one in unknown)
        return [wrap(f"unknown, because no weather of these days is kept: {names}.", width, "  ? ", "    ")]
    lines = []
    open_yet = [one for one in unknown if one.chance is not None]
    if open_yet:
        names = ", ".join(f"{one.title.lower()} ({one.chance:.0%})" for one in open_yet)
        lines.append(wrap(f"not over yet, and the forecast keeps them: {names}.", width, "  ? ", "    "))
    for one in unknown:
        if one.chance is None:
            lines.append(wrap(f"unknown: {one.title}. {one.text}", width, "  ? ", "    "))
    return lines


def summary(weather: WeatherReview) -> str:
    """How many limits were kept, at risk, broken and unknown."""
    counts = [(status, len(weather.of(status))) for status in ("broken", "at risk", "unknown", "kept")]
    return ", ".join(f"{count} {status}" for status, count in counts if count) or "nothing to look at"


def rain_lines(weather: WeatherReview, system: str, width: int) -> list[str]:
    """Rain within the rainfast time, and what is published of its wash-off."""
    rain = weather.rain
    if rain.rainfast_hours is None:
        return [] if weather.task.label.mode == "soil" else [
            wrap("Rain: the label file leaves the rainfast time blank, so nothing can be said.", width)]  # fmt: skip
    time = units.show(rain.rainfast_hours, "time", system)
    if rain.amount is None:
        return [wrap(f"Rain within the {time} to be rainfast: not known.", width)]
    amount = units.show(rain.amount, "water_depth", system)
    so_far = "" if rain.complete else " as far as it was seen"
    if rain.first_after is None:
        return [wrap(f"Rain within the {time} to be rainfast: none{so_far}.", width)]
    line = f"Rain or irrigation within the {time} to be rainfast: {amount}{so_far}"
    line += f", the first {rain.first_after:.1f} h after the end."
    if rain.amount < TRIAL_RAIN[0]:
        line += f" The trial of wash-off began at {TRIAL_RAIN[0]:g} mm."
    lost = float(rain.washed.lost)
    if np.isfinite(lost):
        line += (f" Published wash-off from bluegrass leaves (dicamba, Carroll et al. 1993): {lost:.0%} lost; "
                 f"{rain.washed.words}. Other products differ.")  # fmt: skip
    return [wrap(line, width)]


def night_lines(weather: WeatherReview, system: str, zone, width: int) -> list[str]:
    """The nights after the pass against their limit; nothing where no rule asks for them."""
    if not weather.nights:
        return []
    told = []
    for night in weather.nights:
        day = night.sunset.astimezone(zone).strftime("%a %-d %b")
        word = {True: "kept", False: "below the limit", None: "not all of it seen"}[night.kept]
        told.append(f"{day} {units.show(night.lowest, 'temperature', system)} ({word})")
    limit = units.show(weather.night_limit, "temperature", system)
    return [wrap(f"Nights (limit {limit}): {'; '.join(told)}.", width)]


def response_lines(
    found: Sequence[Response], times: Timetable, zone, now: datetime, width: int
) -> list[str]:
    """When to look and to judge, and what the looks came to."""
    first, judge = (
        moment.astimezone(zone).strftime("%-d %b") for moment in (times.first_look, times.judge_from)
    )
    source = (
        "the label's time to effect"
        if times.stated
        else "three weeks, common practice: the label says nothing"
    )
    lines = [wrap(f"Weeds: first look from {first}, judge from {judge} ({source}).", width)]
    for one in found:
        day = one.after.at.astimezone(zone).strftime("%a %-d %b")
        shown = "cannot be told" if one.percent is None else f"{one.percent:.0f} %"
        early = "" if one.judged else " (too early to judge)"
        cover = f"cover {one.after.cover:.3g} %" + (
            "" if one.before is None else f", before {one.before.cover:.3g} %"
        )
        lines.append(wrap(f"{day}: {cover}; {_METHODS[one.method]}: {shown}{early}.", width, "  - ", "    "))
    if not found:
        lines.append(wrap('Enter what you see: advisor review look --cover "12 %", with --untreated where you left a '
                           "strip.", width, "  - ", "    "))  # fmt: skip
    return lines


def advice_lines(advice: Advice, zone, width: int) -> list[str]:
    """What follows for the next pass, and when."""
    lines = [f"Follow-up: {_PROPOSALS[advice.proposal]}."]
    lines += [wrap(text, width, "  - ", "    ") for text in advice.reasons]
    if advice.wanted_from is not None:
        soonest, last = (
            one.astimezone(zone).strftime("%a %-d %b") for one in (advice.wanted_from, advice.wanted_until)
        )
        limit = advice.not_before.astimezone(zone).strftime("%a %-d %b %Y, %H:%M")
        lines.append(
            wrap(
                f"Not before {limit} (the label's interval); wanted {soonest} to {last}.",
                width,
                "  - ",
                "    ",
            )
        )
    elif advice.proposal == NOT_ALLOWED:
        lines.append("  - Pull what can be pulled by hand.")
    return lines


def review_object(
    weather: WeatherReview, found: Sequence[Response], times: Timetable, advice: Advice
) -> dict[str, object]:
    """The review for programs: SI, UTC, null for what is not known."""
    record, rain = weather.record, weather.rain
    washed = rain.washed
    return {
        "record": record.id,
        "treatment": record.treatment,
        "area": record.area,
        "started_at": iso(record.started_at),
        "ended_at": iso(record.ended_at),
        "pass_number": weather.task.pass_number,
        "weather": weather.weather,
        "status": weather.status,
        "limits": [_limit_object(one) for one in weather.limits],
        "rain": {
            "rainfast_h": rain.rainfast_hours,
            "amount_mm": rain.amount,
            "first_after_h": rain.first_after,
            "complete": rain.complete,
            "washoff_lost": None if washed is None or not np.isfinite(washed.lost) else float(washed.lost),
            "washoff_says": None if washed is None else str(washed.words),
        },
        "nights": [
            {"sunset": iso(one.sunset), "lowest_degc": one.lowest, "kept": one.kept} for one in weather.nights
        ],
        "first_look": iso(times.first_look),
        "judge_from": iso(times.judge_from),
        "judge_from_label": times.stated,
        "responses": [
            {
                "method": one.method,
                "percent": one.percent,
                "at": iso(one.after.at),
                "cover_percent": one.after.cover,
                "cover_before_percent": None if one.before is None else one.before.cover,
                "judged": one.judged,
            }
            for one in found
        ],
        "follow_up": {
            "proposal": advice.proposal,
            "not_before": iso(advice.not_before),
            "wanted_from": iso(advice.wanted_from),
            "wanted_until": iso(advice.wanted_until),
            "reasons": list(advice.reasons),
        },
    }


def _limit_object(one: LimitReview) -> dict[str, object]:
    return {
        "rule": one.rule,
        "title": one.title,
        "kind": one.kind,
        "status": one.status,
        "value": one.value,
        "limit": one.limit,
        "dimension": one.dimension,
        "unit": units.DIMENSIONS[one.dimension][0],
        "at": None if one.at is None else iso(from_numpy(one.at)),
        "seen_as": one.seen_as,
        "over": one.over,
        "chance": one.chance,
        "text": one.text,
    }
