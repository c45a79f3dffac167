"""The start card on paper and on the screen: the form to fill in, and the verdict with its stop conditions."""

from __future__ import annotations

import numpy as np

from advisor import units
from advisor.clock import iso
from advisor.compass import point_of
from advisor.messages.cautions import SHORT_CAUTION
from advisor.messages.weather_text import spreads
from advisor.messages.wording import wrap
from advisor.model import Household, Task
from advisor.recording.deadlines import HIRE_REMINDERS
from advisor.start_card import BEAUFORT, GOOD_FOR_MINUTES, Check, StartCard

SCHEMA_ID = "advisor.start/1"
_ANSWERS = {True: "yes", False: "NO", None: "not answered"}
_VERDICTS = {"go": "GO", "no-go": "NO-GO", "unknown": "UNKNOWN: do not start"}


def form_text(household: Household, task: Task, width: int = 80) -> str:
    """The empty card, to print and fill in beside the lawn."""
    limits = task.label.limits
    system = household.units
    wind = (
        units.show(limits["wind_max"], "speed", system) if "wind_max" in limits else "the limit of your label"
    )
    lines = [
        f"Start card: {task.treatment.name}, {task.area.name}, pass {task.pass_number}",
        wrap(f"{task.label.product}, registration {task.label.registration_number}", width),
        "Date ____________  Time ________  By ______________________",
        "",
        wrap(f"Measured in the last {GOOD_FOR_MINUTES:.0f} minutes, at the lawn:", width),
        f"  wind ________ (label: at most {wind})   gusts ________   from ________",
        "  smoke   [ ] drifts away   [ ] rises and mixes   [ ] hangs: do not spray",
        "  temperature in the shade ________   humidity ________",
        "",
        "No anemometer? By what moves:",
        *(f"  {force}  {says}" for force, (_, _, says) in BEAUFORT.items()),
        "",
        "Seen:",
        "  [ ] leaves dry, below too   [ ] people and animals away",
        "  [ ] neighbours' windows closed towards it",
        "  [ ] sprayer cleaned since its last contents, or the same product",
        "",
    ]
    if task.area.neighbours:
        lines.append("Must not be hit:")
        for one in task.area.neighbours:
            where = "all round" if one.bearing is None else f"to the {point_of(one.bearing)}"
            distance = units.show(one.distance, "length", system)
            lines.append(wrap(f"{one.name} ({one.kind}), {distance} {where}", width, "  - ", "    "))
        lines.append("")
    lines += _for_hire(household, width)
    lines.append(wrap(SHORT_CAUTION, width))
    return "\n".join(lines)


def _for_hire(household: Household, width: int) -> list[str]:
    if not household.for_hire:
        return []
    return ["For hire:", *(wrap(text, width, "  - ", "    ") for text in HIRE_REMINDERS), ""]


def card_text(card: StartCard, width: int = 80) -> str:
    """The verdict, what speaks against it, and when to stop."""
    task, household = card.task, card.task.household
    zone = household.site.zone
    local = card.start.astimezone(zone)
    lines = [
        f"{_VERDICTS[card.verdict]}  {task.treatment.name}, {task.area.name}, {local.strftime('%a %-d %b %H:%M %Z')}",
        wrap(_readings_words(card), width),
    ]
    lines += [wrap(note, width) for note in card.notes]
    lines += ["", *_against(card, width)]
    if card.scored is not None and card.verdict == "go":
        lower, _ = card.scored.chance
        tightest = card.scored.reasons()[0]
        rests = spreads([card.scored.explainer.area.conditions.forecast.provenance])
        rests = f" ({rests})" if rests else ""
        lines.append(wrap(f"Chance that everything holds: {lower:.0%}{rests}. Tightest: {tightest.text}", width))
    if card.closes_at is not None:
        until = card.closes_at.astimezone(zone).strftime("%H:%M")
        lines.append(wrap(f"Be done by {until}: then the forecast says {card.closes.lower()}.", width))
    if card.verdict == "go":
        lines += ["", f"The readings hold for {GOOD_FOR_MINUTES:.0f} minutes. Stop at once when"]
        lines += [wrap(stop.text, width, "  - ", "    ") for stop in card.stops]
        lines += ["", wrap(f"Afterwards: advisor record --from-start --area {task.area.id}", width)]
    lines += ["", *_for_hire(household, width), wrap(SHORT_CAUTION, width)]
    return "\n".join(lines)


def _readings_words(card: StartCard) -> str:
    readings, system = card.readings, card.task.household.units
    parts = []
    wind = readings.wind_range
    if wind is not None:
        low, high = (units.show(one, "speed", system) for one in wind)
        seen = (
            f"wind {high} at 2 m"
            if low == high
            else f"wind {low} to {high} at 2 m (Beaufort {readings.beaufort})"
        )
        parts.append(seen + ("" if readings.wind_from is None else f" from {point_of(readings.wind_from)}"))
    if readings.wind_gust is not None:
        parts.append(f"gusts {units.show(readings.wind_gust, 'speed', system)}")
    if readings.smoke is not None:
        parts.append(f"smoke {readings.smoke}")
    if readings.air_temperature is not None:
        parts.append(units.show(readings.air_temperature, "temperature", system))
    if readings.relative_humidity is not None:
        parts.append(f"{units.show(readings.relative_humidity, 'percent', system)} humidity")
    return "Measured: " + (", ".join(parts) if parts else "nothing")


def _against(card: StartCard, width: int) -> list[str]:
    """What was seen and what the rules say against the start; in one line that nothing does."""
    lines = []
    for check in card.checks:
        if check.holds is not True:
            mark = "x" if check.holds is False else "?"
            lines.append(
                wrap(f"{check.asks} {_ANSWERS[check.holds]}: {check.says}.", width, f"  {mark} ", "    ")
            )
    reasons = [] if card.scored is None else card.scored.reasons()
    for reason in reasons:
        if reason.verdict != "go":
            mark = "x" if reason.verdict == "no-go" else "?"
            lines.append(wrap(f"{reason.title}. {reason.text}", width, f"  {mark} ", "    "))
    if not lines:
        if card.verdict == "go":
            return ["Nothing speaks against it.", ""]
        # each rule keeps its own floor, only together they may not
        return ["Every limit holds by itself, but not surely enough together.", ""]
    return ["Against it:", *lines, ""]


def card_object(card: StartCard) -> dict[str, object]:
    """The card for programs: SI, UTC, null for what is not known."""
    readings = card.readings
    lower, upper = (None, None) if card.scored is None else card.scored.chance
    wind = readings.wind_range
    reasons = [] if card.scored is None else card.scored.reasons()
    return {
        "schema": SCHEMA_ID,
        "treatment": card.task.treatment.id,
        "area": card.task.area.id,
        "pass_number": card.task.pass_number,
        "start": iso(card.start),
        "verdict": card.verdict,
        "chance": lower,
        "chance_upper": upper,
        "readings": {
            "taken_at": iso(readings.taken_at),
            "wind_speed_2m_m_s": None if wind is None else list(wind),
            "beaufort": readings.beaufort,
            "wind_from_direction_deg": readings.wind_from,
            "wind_gust_m_s": readings.wind_gust,
            "air_temperature_degc": readings.air_temperature,
            "relative_humidity_percent": readings.relative_humidity,
            "smoke": readings.smoke,
        },
        "checks": [_check_object(check) for check in card.checks],
        "rules": [
            {
                "rule": reason.rule,
                "kind": reason.kind,
                "verdict": reason.verdict,
                "value": reason.value,
                "limit": reason.limit,
                "dimension": reason.dimension,
                "headroom": reason.headroom
                if reason.headroom is None or np.isfinite(reason.headroom)
                else None,
                "text": reason.text,
            }
            for reason in reasons
        ],
        "closes_at": iso(card.closes_at),
        "closes": card.closes,
        "stop_when": [
            {"text": stop.text, "rule": stop.rule, "value": stop.value, "dimension": stop.dimension}
            for stop in card.stops
        ],
        "notes": list(card.notes),
    }


def _check_object(check: Check) -> dict[str, object]:
    return {
        "name": check.name,
        "asks": check.asks,
        "holds": check.holds,
        "says": "" if check.holds else check.says,
    }
