"""`/start`: the start card. What was measured and seen on the spot is judged by the same rules, and kept.

The form is sent by POST, the card is written into the ledger with everything that it says, and the answer leads to the
page that shows it; after a quarter of an hour the page says that the readings are too old to start by.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from flask import Flask, redirect, request

from advisor import units
from advisor.clock import iso, parse_instant
from advisor.compass import POINTS, degrees_of, point_of
from advisor.ledger import read_ledger
from advisor.messages.start_card_text import card_object
from advisor.model import Task
from advisor.start_card import BEAUFORT, GOOD_FOR_MINUTES, SMOKE, Readings, StartCard, judge_start
from advisor.store import Store, measurements
from advisor.store.measurements import START_CARD, Measurement
from advisor.web import units_choice
from advisor.web.answers import Answers
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import ANSWERS, clock, local, moment_words, relative

QUESTIONS = (
    ("leaves_dry", "Leaves dry, below too"),
    ("people_away", "People and animals away"),
    ("windows_closed", "Neighbours' windows closed towards it"),
    ("sprayer_clean", "Sprayer cleaned since its last contents, or the same product"),
)
_SMOKE_WORDS = {"drifts": "drifts away", "rises": "rises and mixes", "hangs": "hangs in a layer"}


def register(app: Flask, desk: Desk, add: Callable, show: Callable) -> None:
    add("/start", "start", lambda desk, scene: start_page(desk, scene, card=request.args.get("card")))

    @app.post("/start")
    def judged():
        scene = desk.scene(units_choice.chosen())
        answers = Answers(request.form, desk.now(), scene.household.site.zone, scene.household.units)
        task, readings = _read(scene, answers)
        if answers.faults or task is None:
            return show(start_page(desk, scene, answers=answers), scene)
        records = [
            one for one in read_ledger(scene.household, desk.database) if one.started_at <= answers.now
        ]
        card = judge_start(task, readings, scene.outlook.forecast, list(scene.rules), records, answers.now)
        return redirect(f"{desk.path}/start?card={_keep(desk, card, answers.now)}#card", 303)


def start_page(desk: Desk, scene: Scene, *, card: str | None = None, answers: Answers | None = None) -> Page:
    household = scene.household
    now = local(scene.now, household.site.zone)
    cards = measurements.of_subject(desk.reader(), START_CARD, until=scene.now)
    shown = next((one for one in reversed(cards) if card and one.id == card), None)
    speed, warmth = (_unit(name, household.units) for name in ("speed", "temperature"))
    return Page(
        title="Start card",
        template="start.html",
        status=422 if answers is not None else 200,
        context={
            "tasks": [(scored.task.id, f"{scored.task.area.name}: {scored.task.treatment.name}")
                      for scored in scene.outlook.tasks],
            "requested": request.args.get("task", ""),
            "points": [(f"{degrees_of(point):g}", point) for point in POINTS],
            "beaufort": [(force, says) for force, (_, _, says) in BEAUFORT.items()],
            "smoke": [(name, _SMOKE_WORDS[name]) for name in SMOKE],
            "questions": QUESTIONS,
            "speed_unit": speed,
            "temperature_unit": warmth,
            "limit": GOOD_FOR_MINUTES,
            "time_now": now.strftime("%H:%M"),
            "faults": answers.faults if answers else {},
            "given": answers.given if answers else {},
            "card": None if shown is None else _card(shown, scene),
            "earlier": [_line(one, scene) for one in reversed(cards[-6:]) if one is not shown],
        },
        twin={"cards": [{"id": one.id, "taken_at": iso(one.taken_at), **one.data} for one in cards[-20:]]},
    )  # fmt: skip


def _read(scene: Scene, answers: Answers) -> tuple[Task | None, Readings]:
    tasks = {scored.task.id: scored.task for scored in scene.outlook.tasks}
    task = tasks.get(answers.choice("task", tasks))
    taken = _taken(answers)
    wind = answers.number("wind", "speed", 0.0, 40.0, needed=False)
    gust = answers.number("gust", "speed", 0.0, 60.0, needed=False)
    if wind is not None and gust is not None and gust < wind:
        answers.faults["gust"] = "The gust is weaker than the wind: check both."
    beaufort = _optional(answers, "beaufort", {str(force) for force in BEAUFORT})
    wind_from = _optional(answers, "wind_from", {f"{degrees_of(point):g}" for point in POINTS})
    readings = Readings(
        taken_at=taken,
        wind_speed=wind,
        beaufort=int(beaufort) if beaufort and wind is None else None,
        wind_from=float(wind_from) if wind_from else None,
        wind_gust=gust,
        air_temperature=answers.number("temperature", "temperature", -40.0, 55.0, needed=False),
        relative_humidity=answers.number("humidity", "percent", 1.0, 100.0, needed=False),
        smoke=_optional(answers, "smoke", SMOKE) or None,
        **{name: _yes_or_no(answers, name) for name, _ in QUESTIONS},
    )
    return task, readings


def _taken(answers: Answers) -> datetime:
    """When it was measured: now, or a clock time of the last day."""
    at = answers.clock("taken", needed=False)
    if at is None:
        return answers.now
    taken = answers.instant(answers.today, at)
    if taken - answers.now > timedelta(hours=12):
        taken = answers.instant(answers.today - timedelta(days=1), at)
    # a form filled in within this minute was measured by now
    if timedelta(0) < taken - answers.now < timedelta(minutes=1):
        taken = answers.now
    if taken > answers.now:
        answers.faults["taken"] = "That lies in the future."
    return taken


def _optional(answers: Answers, name: str, allowed) -> str:
    """One of the allowed words, or "": where there is none, and where it is another, which is a fault of its field."""
    word = answers.choice(name, allowed) if answers.given.get(name, "").strip() else ""
    return word if word in allowed else ""


def _yes_or_no(answers: Answers, name: str) -> bool | None:
    return {"yes": True, "no": False}.get(_optional(answers, name, ("yes", "no", "unknown")))


def _keep(desk: Desk, card: StartCard, now: datetime) -> str:
    whole = card_object(card)
    data = {
        "treatment": card.task.treatment.id, "area": card.task.area.id, "start": iso(card.start),
        "verdict": card.verdict, "readings": card.readings.for_record(), "checks": whole["checks"],
        "smoke": card.readings.smoke, "beaufort": card.readings.beaufort, "card": whole,
    }  # fmt: skip
    with Store.open(desk.database) as store:
        return measurements.add(
            store, START_CARD, card.task.id, card.readings.taken_at, data, written_at=now
        ).id


def _card(one: Measurement, scene: Scene) -> dict[str, Any]:
    """A kept card in words."""
    household, whole = scene.household, one.data.get("card") or {}
    zone = household.site.zone
    start = parse_instant(str(one.data["start"]))
    age = (scene.now - one.taken_at) / timedelta(minutes=1)
    closes_at = whole.get("closes_at")
    rules = [rule for rule in whole.get("rules", []) if rule["verdict"] != "go"]
    checks = [check for check in whole.get("checks", one.data["checks"]) if check["holds"] is not True]
    chance = whole.get("chance")
    titles = {rule.id: rule.title for rule in scene.rules}
    return {
        **_line(one, scene),
        "word": ANSWERS[str(one.data["verdict"])],
        "expired": not -1.0 <= age <= GOOD_FOR_MINUTES,
        "until": clock(one.taken_at + timedelta(minutes=GOOD_FOR_MINUTES), zone),
        "age": relative(one.taken_at, scene.now),
        "measured": _measured(one, household.units),
        "checks": [{"asks": check["asks"], "says": check["says"], "no": check["holds"] is False} for check in checks],
        "rules": [{"title": titles.get(rule["rule"], rule["rule"]), "text": rule["text"],
                   "no": rule["verdict"] == "no-go"} for rule in rules],
        "chance": "" if chance is None else f"{chance:.0%}",
        "stops": [stop["text"] for stop in whole.get("stop_when", [])],
        "closes": "" if not closes_at else f"{clock(parse_instant(closes_at), zone)}: then the forecast says "
                                           f"{str(whole.get('closes', '')).lower()}",
        "notes": whole.get("notes", []),
        "began": clock(start, zone),
    }  # fmt: skip


def _line(one: Measurement, scene: Scene) -> dict[str, Any]:
    area = scene.household.areas.get(str(one.data["area"]))
    return {
        "id": one.id,
        "task": f"{one.data['treatment']}/{one.data['area']}",
        "area": area.name if area else one.data["area"],
        "when": moment_words(one.taken_at, scene.household.site.zone),
        "verdict": one.data["verdict"],
    }


_SHOWN = (
    ("wind_speed_2m", "wind at 2 m", "speed"),
    ("wind_gust", "gusts", "speed"),
    ("air_temperature", "air", "temperature"),
    ("relative_humidity", "humidity", "percent"),
)


def _measured(one: Measurement, system: str) -> str:
    readings = dict(one.data.get("readings") or {})
    told = [f"{words} {units.show(readings[name], dimension, system)}" for name, words, dimension in _SHOWN
            if readings.get(name) is not None]  # fmt: skip
    if readings.get("wind_from_direction") is not None:
        told.insert(1, f"from {point_of(float(readings['wind_from_direction']))}")
    if one.data.get("smoke"):
        told.append(f"smoke {_SMOKE_WORDS.get(str(one.data['smoke']), one.data['smoke'])}")
    return ", ".join(told) or "nothing"


def _unit(dimension: str, system: str) -> str:
    unit = units.display_unit(dimension, system)
    return units.PRINTED.get(unit, unit)
