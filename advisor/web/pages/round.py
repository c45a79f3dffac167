"""`/` of several lawns: the round of a day in the order of the work, and every lawn's days, each a link to why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from advisor.clock import iso
from advisor.errors import AdvisorError, Problem
from advisor.messages.round_plan import Job, Lawn, Round, Stop, plan_round, usual_day
from advisor.messages.round_text import (
    age_lines,
    cautions_of_round,
    load_lines,
    round_object,
    tell_lines,
    turn_lines,
    why_closed,
)
from advisor.outlook import Day, TaskOutlook
from advisor.web import units_choice
from advisor.web.desk import Scene
from advisor.web.desks import Desks
from advisor.web.page import Page
from advisor.web.words import ANSWERS, date_words, decides, listed, local, long_date, relative

#: so many days of every lawn stand side by side
_DAYS = 7
#: of the days of all passes of a lawn, the word that counts
_STRONGEST = ("go", "unknown", "no-go")


@dataclass(frozen=True, eq=False)
class Look:
    """All lawns as they stand now; `faults` are those that cannot be looked at, by name."""

    now: datetime
    scenes: Mapping[str, Scene]
    lawns: tuple[Lawn, ...]
    faults: tuple[tuple[str, str], ...]
    problems: tuple[Problem, ...]

    @property
    def zone(self):
        return next(iter(self.scenes.values())).household.site.zone

    @property
    def today(self) -> date:
        return local(self.now, self.zone).date()


def look(desks: Desks) -> Look:
    """The scene of every lawn; one with a fault does not hide the others."""
    scenes, lawns, faults, first_fault = {}, [], [], None
    for place, desk in enumerate(desks.all):
        key = desks.round_service.key(desk.service)
        try:
            scene = desk.scene(units_choice.chosen())
        except AdvisorError as error:
            first_fault = first_fault or error
            faults.append((desk.service.household.name, str(error)))
            continue
        scenes[key] = scene
        lawns.append(Lawn(key, scene.outlook, place))
    if not scenes:
        raise first_fault
    told = [*desks.problems()]
    for scene in scenes.values():
        name = scene.household.name
        told += [Problem(f"{name}: {one.what}", where=one.where, hint=one.hint) for one in scene.problems]
    now = max([desks.all[0].now(), *(scene.now for scene in scenes.values())])
    return Look(now, scenes, tuple(lawns), tuple(faults), tuple(told))


def round_page(desks: Desks, seen: Look, day: date | None) -> Page:
    """The round of a day; without one tomorrow's from noon on, and today's before it."""
    zone, service = seen.zone, desks.round_service
    day = day or usual_day(seen.now, zone)
    plan = plan_round(seen.lawns, day, seen.now, service.lawns.travel, service.lawns.hours)
    loads, refused = load_lines(plan)
    words = _Words(seen, plan)
    return Page(
        title="The round",
        template="round.html",
        context={
            "headline": words.headline(),
            "before": _turn(day - timedelta(days=1), seen) if day > seen.today else None,
            "after": _turn(day + timedelta(days=1), seen) if day < _last_day(seen) else None,
            "stops": [words.stop(number, stop) for number, stop in enumerate(plan.stops, 1)],
            "loads": loads,
            "refused": refused,
            "tell": tell_lines(plan),
            "turns": turn_lines(plan),
            "left_out": [words.left(job) for job in plan.left_out],
            "closed": words.closed(),
            "travel": f"{plan.travel / timedelta(minutes=1):.0f} minutes",
            "faults": seen.faults,
            "day": long_date(day),
            **_lawns(seen, day),
        },
        twin={
            **round_object(plan, seen.now),
            "paths": {key: f"{scene.path}/" for key, scene in seen.scenes.items()},
            "faults": [{"lawn": name, "says": says} for name, says in seen.faults],
        },
    )


def frame(seen: Look) -> dict[str, Any]:
    """What stands around the page, as around a lawn's own."""
    now = local(seen.now, seen.zone)
    units = units_choice.chosen() or next(iter(seen.scenes.values())).household.units
    plan = Round(seen.today, seen.lawns, (), (), (), timedelta(0))
    stale = [
        scene.household.name
        for scene in seen.scenes.values()
        if scene.outlook.forecast.provenance.source == "none"
        or any(flag.check == "age" for flag in scene.outlook.forecast.flags)
    ]
    return {
        "household": "All lawns",
        "when": f"{now.strftime('%A %-d %B %Y, %H:%M')} {now.tzname()}",
        "when_iso": iso(seen.now),
        "zone": seen.zone.key,
        "units": units_choice.WORDS[units],
        "other_units": [(one, units_choice.WORDS[one]) for one in units_choice.SYSTEMS if one != units],
        "forecast": age_lines(plan, seen.now)[:-1],
        "stale": listed(stale),
        "problems": seen.problems,
        "cautions": cautions_of_round(plan),
        "lawn_pages": [(f"{scene.path}/", scene.household.name) for scene in seen.scenes.values()],
    }


class _Words:
    """A round in the words of the page."""

    def __init__(self, seen: Look, plan: Round):
        self.seen, self.plan = seen, plan

    def headline(self) -> dict[str, str]:
        plan, ahead = self.plan, (self.plan.day - self.seen.today).days
        when = {0: "Today", 1: "Tomorrow"}.get(ahead, long_date(plan.day))
        after = "" if ahead > 1 else f", {long_date(plan.day)}"
        if not plan.stops:
            return {"now": f"{when}: no lawn goes.", "next": self._next_round()}
        names = list(dict.fromkeys(stop.job.lawn.name for stop in plan.stops))
        first, last = plan.stops[0], plan.stops[-1]
        span = f"{self.clock(first.job, first.begins)} to {self.clock(last.job, last.ends)}"
        order = f"{span}{after}: {', then '.join(names)}."
        if len(names) == len(plan.lawns):
            return {"now": f"{when}: every lawn goes.", "next": order}
        count = "one" if len(names) == 1 else str(len(names))
        return {
            "now": f"{when}: {count} of {len(plan.lawns)} lawns go{'es' * (count == 'one')}.",
            "next": order,
        }

    def _next_round(self) -> str:
        days = [
            day.day
            for lawn in self.plan.lawns
            for scored in lawn.outlook.tasks
            for day in scored.days
            if day.verdict == "go" and day.day > self.plan.day
        ]
        if not days:
            return "No chance on a later day of this forecast."
        names = [
            lawn.name
            for lawn in self.plan.lawns
            if any(
                one.verdict == "go" and one.day == min(days)
                for scored in lawn.outlook.tasks
                for one in scored.days
            )
        ]
        return f"Next chance: {long_date(min(days))}, {listed(names, 3)}."

    def clock(self, job: Job, moment: datetime) -> str:
        """By the lawn's own clock, whose name is told where it is not that of the page."""
        zone = job.lawn.outlook.household.site.zone
        return local(moment, zone).strftime("%H:%M" if zone.key == self.seen.zone.key else "%H:%M %Z")

    def stop(self, number: int, stop: Stop) -> dict[str, Any]:
        job, lawn = stop.job, stop.job.lawn
        return {
            "number": number,
            "begins": self.clock(job, stop.begins),
            "ends": self.clock(job, stop.ends),
            "relative": relative(stop.begins, self.seen.now),
            "lawn": lawn.name,
            "path": self.seen.scenes[lawn.key].path,
            "what": f"{job.task.area.name}: {job.task.treatment.name}, "
            f"pass {job.task.pass_number} of {job.task.treatment.passes}",
            "why": self._day_link(lawn, job.scored),
            "chance": "" if job.day.chance is None else f"{job.day.chance:.0%}",
            "closes": f"last start {self.clock(job, job.closes)}",
            "loss": f"waiting would cost {job.loss:.0%} of a pass"
            if job.loss >= 0.005
            else "waiting costs nothing",
            "decides": decides(job.day, lawn.outlook.household.units),
        }

    def left(self, job: Job) -> dict[str, str]:
        later = job.scored.next_go(self.plan.day)
        after = "" if later is None else f"; it goes again on {long_date(later.day)}"
        return {
            "who": f"{job.lawn.name}, {job.task.area.name}",
            "why": f"no room before {self.clock(job, job.closes)}{after}",
            "link": self._day_link(job.lawn, job.scored),
        }

    def closed(self) -> list[dict[str, str]]:
        return [
            {
                "who": f"{lawn.name}, {scored.task.area.name}",
                "why": why_closed(scored, day),
                "link": "" if day is None else self._day_link(lawn, scored),
                "verdict": "unknown" if day is None else "no-go" if day.verdict == "go" else day.verdict,
                "word": ANSWERS[
                    "unknown" if day is None else "no-go" if day.verdict == "go" else day.verdict
                ],
            }
            for lawn, scored, day in self.plan.closed
        ]

    def _day_link(self, lawn: Lawn, scored: TaskOutlook) -> str:
        task = scored.task
        path = self.seen.scenes[lawn.key].path
        return f"{path}/day/{self.plan.day.isoformat()}#{task.treatment.id}.{task.area.id}"


def _lawns(seen: Look, day: date) -> dict[str, Any]:
    """A row a lawn, a column a day: the strongest answer of its passes, which leads to why."""
    days = [seen.today + timedelta(days=ahead) for ahead in range(_DAYS)]
    rows = []
    for scene in seen.scenes.values():
        tasks = scene.outlook.tasks
        cells = [_cell(scene.path, one, [found for task in tasks for found in task.days if found.day == one])
                 for one in days]  # fmt: skip
        rows.append({"name": scene.household.name, "path": scene.path, "cells": cells, "nothing": not tasks})
    heads = [{"day": one.strftime("%a"), "number": one.strftime("%-d"), "current": one == day,
              "link": f"/round/{one.isoformat()}"} for one in days]  # fmt: skip
    return {"days": heads, "rows": rows}


def _cell(path: str, day: date, found: Sequence[Day]) -> dict[str, str]:
    if not found:
        return {"verdict": "", "word": "", "link": "", "title": ""}
    verdict = next(word for word in _STRONGEST if any(one.verdict == word for one in found))
    early = verdict == "unknown" and any(one.too_early for one in found)
    word = {"go": "Go", "no-go": "No-go", "unknown": "Too early" if early else "Not known"}[verdict]
    link = f"{path}/day/{day.isoformat()}"
    return {"verdict": verdict, "word": word, "link": link, "title": date_words(day)}


def _last_day(seen: Look) -> date:
    days = [
        day.day for scene in seen.scenes.values() for scored in scene.outlook.tasks for day in scored.days
    ]
    return max(days, default=seen.today)


def _turn(day: date, seen: Look) -> dict[str, str]:
    name = {0: "Today", 1: "Tomorrow"}.get((day - seen.today).days, long_date(day))
    return {"date": day.isoformat(), "day": name}
