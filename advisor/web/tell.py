"""`/tell`: what the person has seen and done, written into the ledger; nothing is ever changed there.

Each form is sent by POST and answered with a redirect, so that reloading the page repeats nothing; the same thing told
twice is one row.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import time, timedelta
from typing import Any

from flask import Flask, redirect, request

from advisor import units
from advisor.clock import iso
from advisor.model import Household, Record
from advisor.recording.checks import check_record
from advisor.recording.details import presumed, to_extra
from advisor.recording.weather_then import weather_then
from advisor.statements import IRRIGATED, MISSED, SOIL, SOIL_STATES
from advisor.store import Store, measurements, records
from advisor.store.measurements import COVER, START_CARD, Measurement
from advisor.web import units_choice
from advisor.web.answers import Answers
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import local, moment_words

#: forms in the order of the page
FORMS = ("done", "missed", "soil", "irrigated", "cover")
#: a start card belongs to a pass that began so soon after it, give or take the minutes of walking
_LONG_BEFORE, _SOON = timedelta(hours=1), timedelta(minutes=15)
_KINDS = (SOIL, IRRIGATED, MISSED, COVER)


def register(app: Flask, desk: Desk, add: Callable, show: Callable) -> None:
    add("/tell", "tell", lambda desk, scene: tell_page(desk, scene, kept=request.args.get("kept")))

    @app.post("/tell/<form>")
    def told(form: str):
        scene = desk.scene(units_choice.chosen())
        if form not in FORMS:
            return show(tell_page(desk, scene), scene)
        answers = Answers(request.form, desk.now(), scene.household.site.zone, scene.household.units)
        with Store.open(desk.database) as store:
            kept = _WRITERS[form](store, scene, answers)
        if kept is None:
            return show(tell_page(desk, scene, form=form, answers=answers), scene)
        return redirect(f"{desk.path}/tell?kept={kept}", 303)


def tell_page(
    desk: Desk, scene: Scene, *, form: str = "", answers: Answers | None = None, kept: str | None = None
) -> Page:
    household = scene.household
    told = told_lately(desk, scene)
    tasks = choices_of_tasks(household)
    first = scene.outlook.tasks[0].task if scene.outlook.tasks else None
    now = local(scene.now, household.site.zone)
    return Page(
        title="Tell",
        template="tell.html",
        status=422 if answers is not None and answers.faults else 200,
        context={
            "areas": [(area.id, area.name) for area in household.areas.values()],
            "tasks": [(name, words) for name, words in tasks.items()],
            "suggested": f"{first.treatment.id}/{first.area.id}" if first else "",
            "requested": request.args.get("task", ""),
            "today": now.date().isoformat(),
            "time_now": now.strftime("%H:%M"),
            "depth_unit": units.display_unit("water_depth", household.units),
            "product_unit": _printed(units.display_unit("volume", household.units)),
            "area_unit": _printed(units.display_unit("area", household.units)),
            "soil_states": [(state, state) for state in SOIL_STATES],
            "began": request.args.get("began", ""),
            "sent_by": lambda name: (answers.given, answers.faults) if answers and name == form else ({}, {}),
            "kept": next((one["words"] for one in told if kept and one["id"] == kept), ""),
            "told": told[:12],
        },
        twin={"told": [{name: one[name] for name in ("id", "kind", "at", "words")} for one in told]},
    )


def choices_of_tasks(household: Household) -> dict[str, str]:
    """Every treatment on every one of its areas: id and words."""
    return {
        f"{treatment.id}/{area}": f"{household.areas[area].name}: {treatment.name}"
        for treatment in household.treatments.values()
        for area in treatment.areas
    }


def told_lately(desk: Desk, scene: Scene) -> list[dict[str, Any]]:
    """What was told, newest first, in words."""
    store, household = desk.reader(), scene.household
    rows = [(one.written_at or one.taken_at, _told(one, household))
            for kind in _KINDS for one in measurements.of_subject(store, kind, until=scene.now)]  # fmt: skip
    for entry in records.current_entries(store):
        record = entry.record
        area = household.areas.get(record.area)
        words = (
            f"A pass was made on {area.name if area else record.area}, "
            f"{moment_words(record.started_at, household.site.zone)}."
        )
        told = {"id": record.id, "kind": "done", "at": iso(entry.written_at), "words": words}
        rows.append((entry.written_at, told))
    return [told for _, told in sorted(rows, key=lambda row: row[0], reverse=True)]


def _told(one: Measurement, household: Household) -> dict[str, Any]:
    area = household.areas.get(str(one.data.get("area") or one.subject))
    name = area.name if area else one.subject
    day = str(one.data.get("on", ""))
    if one.kind == SOIL:
        at = f" at {one.data['at']}" if one.data.get("at") else ""
        words = f"The soil of {name} was {one.data.get('state')} on {day}{at}."
    elif one.kind == IRRIGATED:
        depth = units.show(one.data.get("depth"), "water_depth", household.units)
        words = f"{name[0].upper()}{name[1:]} was watered with {depth} on {day} at {one.data.get('at')}."
    elif one.kind == MISSED:
        words = f"The pass on {name} was missed on {day}."
    else:
        area = household.areas.get(one.subject.rpartition("/")[2])
        name, strip = area.name if area else one.subject, one.data.get("untreated")
        beside = "" if strip is None else f", and {strip:g} % of the untreated strip"
        when = moment_words(one.taken_at, household.site.zone)
        words = f"Weeds covered {one.data.get('cover', float('nan')):g} % of {name}{beside}, {when}."
    return {"id": one.id, "kind": one.kind, "at": iso(one.written_at or one.taken_at), "words": words}


# writing ----------------------------------------------------------------------------------------------------------


def _soil(store: Store, scene: Scene, answers: Answers) -> str | None:
    area = answers.choice("area", scene.household.areas)
    state = answers.choice("state", SOIL_STATES)
    day, at = answers.day("on"), answers.clock("at", needed=False)
    _not_ahead(answers, "at", answers.instant(day, at))
    if answers.faults:
        return None
    data = {"state": state, "on": day.isoformat()} | ({"at": at.strftime("%H:%M")} if at else {})
    return measurements.add(store, SOIL, area, answers.now, data, written_at=answers.now).id


def _irrigated(store: Store, scene: Scene, answers: Answers) -> str | None:
    area = answers.choice("area", scene.household.areas)
    day, at = answers.day("on"), answers.clock("at")
    depth = answers.number("depth", "water_depth", 0.1, 100.0)
    _not_ahead(answers, "at", answers.instant(day, at))
    if answers.faults:
        return None
    data = {"on": day.isoformat(), "at": at.strftime("%H:%M"), "depth": round(depth, 3)}
    return measurements.add(store, IRRIGATED, area, answers.now, data, written_at=answers.now).id


def _missed(store: Store, scene: Scene, answers: Answers) -> str | None:
    task, day, note = _task(scene.household, answers), answers.day("on"), answers.text("note")
    if answers.faults or task is None:
        return None
    treatment, area = task
    data = {"treatment": treatment, "area": area, "on": day.isoformat(), "note": note}
    return measurements.add(store, MISSED, area, answers.now, data, written_at=answers.now).id


def _cover(store: Store, scene: Scene, answers: Answers) -> str | None:
    task, day = _task(scene.household, answers), answers.day("on")
    share = answers.number("cover", "percent", 0.0, 100.0)
    untreated = answers.number("untreated", "percent", 0.0, 100.0, needed=False)
    if answers.faults or task is None:
        return None
    data = {"cover": share} | ({} if untreated is None else {"untreated": untreated})
    taken = answers.now if day == answers.today else answers.instant(day, time(12))
    return measurements.add(store, COVER, "/".join(task), taken, data, written_at=answers.now).id


def _done(store: Store, scene: Scene, answers: Answers) -> str | None:
    household = scene.household
    task, day = _task(household, answers), answers.day("on")
    began, ended = answers.clock("began"), answers.clock("ended", needed=False)
    liquid = task is None or _label(household, task).formulation == "liquid"
    amount = answers.number("amount", "volume" if liquid else "mass", 0.01, 1e6, needed=False)
    size = answers.number("size", "area", 0.1, 1e7, needed=False)
    who, note = answers.text("who", 100), answers.text("note")
    if answers.faults or task is None:
        return None
    treatment, area = task
    started_at, ended_at = answers.instant(day, began), answers.instant(day, ended)
    if ended_at is not None and ended_at < started_at:
        ended_at += timedelta(days=1)  # work that went on past midnight
    label = _label(household, task)
    record = Record(
        area=area, treatment=treatment, product=label.product,
        active_ingredients=tuple(one.name for one in label.active_ingredients),
        started_at=started_at, ended_at=ended_at, amount=amount, size=size, who=who, note=note,
    )  # fmt: skip
    details = replace(presumed(household, record), **_on_the_spot(store, scene, record))
    counted = [*household.history, *records.current(store)]
    if any(_same_deed(record, one) for one in counted):
        return next(one.id for one in counted if _same_deed(record, one)) or "known"
    wrong = check_record(household, record, details, counted, answers.now)
    if any(fault.final for fault in wrong) or (wrong and not answers.ticked("as_it_happened")):
        answers.faults["record"] = " ".join(
            f"{_sentence(fault.what)} {_sentence(fault.hint)}".strip() for fault in wrong
        )
        if not any(fault.final for fault in wrong):
            answers.faults["as_it_happened"] = "Tick this if it really happened so: a record must be true."
        return None
    extra = to_extra(details)
    if wrong:
        extra |= {"as_it_happened": True, "flags": [fault.what for fault in wrong]}
    return records.add(store, record, written_at=answers.now, extra=extra).id


def _on_the_spot(store: Store, scene: Scene, record: Record) -> dict[str, Any]:
    """The start card of this pass, where one was made for it, and the weather of the work."""
    cards = measurements.of_subject(
        store, START_CARD, f"{record.treatment}/{record.area}", until=record.started_at + _SOON
    )
    card = next((one for one in reversed(cards) if record.started_at - one.taken_at < _LONG_BEFORE), None)
    readings = {} if card is None else dict(card.data.get("readings") or {})
    forecast = scene.outlook.forecast
    made_at = forecast.provenance.issued_at or forecast.provenance.fetched_at
    weather = weather_then(readings, forecast, record.started_at, record.ended_at, made_at)
    return {"weather": weather, "start_card": "" if card is None else card.id}


def _task(household: Household, answers: Answers) -> tuple[str, str] | None:
    word = answers.choice("task", choices_of_tasks(household))
    if "task" in answers.faults:
        return None
    treatment, _, area = word.rpartition("/")
    return treatment, area


def _label(household: Household, task: tuple[str, str]):
    return household.labels[household.treatments[task[0]].label]


def _same_deed(record: Record, other: Record) -> bool:
    """Whether a form was sent twice: the same area, treatment and beginning."""
    return (record.area, record.treatment, record.started_at) == (
        other.area,
        other.treatment,
        other.started_at,
    )


def _not_ahead(answers: Answers, name: str, moment) -> None:
    if moment is not None and moment > answers.now:
        answers.faults.setdefault(name, "That lies in the future.")


def _sentence(words: str) -> str:
    return f"{words[0].upper()}{words[1:].rstrip('.')}." if words else ""


def _printed(unit: str) -> str:
    return units.PRINTED.get(unit, unit)


_WRITERS = {"soil": _soil, "irrigated": _irrigated, "missed": _missed, "cover": _cover, "done": _done}
