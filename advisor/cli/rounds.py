"""Many lawns in one answer: what `advisor outlook --all` and `advisor notice --all` share."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import click

from advisor.cli.options import Common, width
from advisor.errors import AdvisorError, UsageError


def make_round(common: Common, folder: str, day: str | None):
    """(the round of a day, the lawns that could not be looked at and why)."""
    from advisor.cli.scene import make_scene
    from advisor.household.lawns import read_lawns
    from advisor.messages.round_plan import Lawn, plan_round

    lawns = read_lawns(Path(folder))
    found, faults = [], []
    for place, home in enumerate(lawns.folders):
        key = home.relative_to(lawns.folder).as_posix()
        try:
            scene = make_scene(replace(common, home=home))
        except AdvisorError as error:
            # One lawn with a fault must not hide the others; it is told, and it is no go.
            faults.append((key, error))
            continue
        found.append(Lawn(key, scene.outlook, place))
    if not found:
        raise faults[0][1]
    wanted = _day(day, common, found[0].outlook.household.site.zone)
    return plan_round(found, wanted, common.now, lawns.travel, lawns.hours), faults


def show_round(common: Common, folder: str, day: str | None) -> None:
    from advisor.messages.round_text import round_object, round_text

    plan, faults = make_round(common, folder, day)
    tell_faults(faults)
    if common.as_json:
        told = [{"lawn": name, "says": str(error)} for name, error in faults]
        whole = {**round_object(plan, common.now), "faults": told}
        click.echo(json.dumps(whole, ensure_ascii=False, allow_nan=False))
        return
    click.echo(round_text(plan, common.now, width()))


def tell_faults(faults) -> None:
    for name, error in faults:
        click.echo(f"advisor: {name} is left out: {error}", err=True)


def _day(text: str | None, common: Common, zone):
    """As asked; else that of the usual round."""
    from advisor.clock import parse_day
    from advisor.messages.round_plan import usual_day

    if text is None:
        return usual_day(common.now, zone)
    today = common.now.astimezone(zone).date()
    named = {"today": today, "tomorrow": today + timedelta(days=1)}
    found = named.get(text.lower()) or parse_day(text, "--day")
    if found < today:
        raise UsageError(f"{text} is over", hint="name today or a day to come")
    return found
