"""`advisor why DAY`: the case for or against a day, in one screen."""

from __future__ import annotations

import json

import click

from advisor.cli.options import common_options, width
from advisor.errors import UsageError


@click.command(
    epilog="Example: advisor why 2026-09-24 --area front   See also: advisor outlook, advisor rules show"
)
@common_options
@click.argument("day", metavar="DAY")
@click.option("--at", "at_hour", metavar="HOUR", help='Argue this start, local time, such as "14:00".')
@click.option("--area", metavar="ID", help="Only this area.")
@click.option("--treatment", metavar="ID", help="Only this treatment.")
@click.option("--try", "trial", metavar="RULE=LIMIT",
              help='Ask what another limit would give, such as "nights=38 degF".')  # fmt: skip
def why(common, day, at_hour, area, treatment, trial):
    """Argue why DAY (a date, "today" or "tomorrow") is a go, a no-go or unknown."""
    from advisor.cli.scene import make_scene, retry_scene
    from advisor.messages.outlook_json import SCHEMA_ID, outlook_object
    from advisor.messages.outlook_text import why_text

    scene = make_scene(common, days=16)
    tried = None
    if trial is not None:
        scene, tried = retry_scene(scene, trial, common, days=16)
    outlook = scene.outlook
    if not outlook.tasks:
        raise UsageError("no pass is open, so there is no day to argue about")
    wanted = _day(day, common, scene.household)
    chosen = [
        (at, scored, found)
        for at, scored in enumerate(outlook.tasks)
        if area in (None, scored.task.area.id) and treatment in (None, scored.task.treatment.id)
        for found in scored.days
        if found.day == wanted
    ]
    if not chosen:
        _refuse(outlook, wanted, area, treatment)
    if at_hour is not None:
        chosen = [(at, scored, _at(outlook, at, found, at_hour)) for at, scored, found in chosen]
    says = "" if tried is None else tried.says + _unasked(trial, chosen)
    if common.as_json:
        whole = outlook_object(_only(outlook, chosen))
        if tried is not None:
            whole["trial"] = {"says": says, "warning": tried.warning or None}
        click.echo(json.dumps({**whole, "schema": SCHEMA_ID}, ensure_ascii=False, allow_nan=False))
        return
    if tried is not None:
        click.echo("\n".join(filter(None, (says, tried.warning))) + "\n")
    click.echo("\n\n".join(why_text(outlook, scored, found, width()) for _, scored, found in chosen))


def _unasked(trial: str, chosen) -> str:
    """Said where the tried rule is none that is asked of the day's passes, so that its limit changes nothing."""
    rule = trial.partition("=")[0].strip()
    asked = {reason.rule for _, _, found in chosen for reason in found.reasons}
    if rule in asked:
        return ""
    akin = sorted(one for one in asked if one.partition("-")[0] == rule.partition("-")[0])
    instead = f"; {' and '.join(akin)} {'is' if len(akin) == 1 else 'are'}" if akin else ""
    return f' That changes nothing here: rule "{rule}" is not asked of this pass{instead}.'


def _day(text: str, common, household):
    from datetime import timedelta

    from advisor.clock import parse_day

    today = common.now.astimezone(household.site.zone).date()
    named = {"today": today, "tomorrow": today + timedelta(days=1)}
    return named.get(text.lower()) or parse_day(text, "DAY")


def _refuse(outlook, wanted, area, treatment):
    from advisor.errors import did_you_mean

    areas = {scored.task.area.id for scored in outlook.tasks}
    treatments = {scored.task.treatment.id for scored in outlook.tasks}
    if area is not None and area not in areas:
        raise UsageError(f'no pass is open on an area "{area}"', hint=did_you_mean(area, areas))
    if treatment is not None and treatment not in treatments:
        raise UsageError(
            f'no pass of a treatment "{treatment}" is open', hint=did_you_mean(treatment, treatments)
        )
    days = sorted({found.day for scored in outlook.tasks for found in scored.days})
    if not days:
        raise UsageError("the forecast holds no coming day", hint="fetch a newer one")
    raise UsageError(f"{wanted.isoformat()} is not among the days of this forecast",
                     hint=f"choose one from {days[0].isoformat()} to {days[-1].isoformat()}")  # fmt: skip


def _at(outlook, task: int, found, at_hour: str):
    """The day as seen from one start hour of it."""
    from dataclasses import replace
    from datetime import time

    from advisor.clock import local_instant
    from advisor.explain import Case
    from advisor.outlook import hour_index

    try:
        wall = time.fromisoformat(at_hour if ":" in at_hour else f"{int(at_hour):02d}:00")
    except ValueError as error:
        raise UsageError(f'--at "{at_hour}" is not a time of day', hint='write it like "14:00"') from error
    zone = outlook.household.site.zone
    hour = hour_index(outlook, local_instant(found.day, wall, zone))
    if hour is None:
        raise UsageError(f"{at_hour} lies outside the forecast's hours on that day")
    from advisor.verdict import VERDICT_WORDS

    explainer, axis = outlook.explainer, outlook.forecast.axis
    verdict = VERDICT_WORDS[int(outlook.verdicts.verdict[task, hour])]
    start = axis[hour] if verdict == "go" else None
    return replace(
        found, verdict=verdict, shown_start=axis[hour], best_start=start, window_end=start,
        windows=() if start is None else ((start, start),),
        candidates=(axis[hour],), case=Case(explainer, task, hour, [hour]),
        chance=float(outlook.verdicts.everything.lower[task, hour]),
        chance_upper=float(outlook.verdicts.everything.upper[task, hour]),
    )  # fmt: skip


def _only(outlook, chosen):
    from dataclasses import replace

    from advisor.outlook import TaskOutlook

    return replace(outlook, tasks=tuple(TaskOutlook(scored.task, (found,)) for _, scored, found in chosen))
