"""`advisor reschedule`: a missed pass, what can still be done, and taking one of the choices."""

from __future__ import annotations

import json

import click

from advisor.cli.options import common_options, width
from advisor.errors import UsageError


@click.command(
    epilog="Example: advisor reschedule --choose 1   See also: advisor outlook, advisor plan, advisor almanac"
)
@common_options
@click.option("--missed", is_flag=True, help="Take the next pass as missed although it is not overdue.")
@click.option("--treatment", metavar="ID", help="Only this treatment.")
@click.option("--area", metavar="ID", help="Only this area.")
@click.option("--choose", "wanted", multiple=True, metavar="N",
              help="Take the choice with this number, or this id; once for each missed pass.")  # fmt: skip
@click.option("--dry-run", is_flag=True, help="With --choose: show what would change, and change nothing.")
def reschedule(common, missed, treatment, area, wanted, dry_run):
    """Find the passes that are overdue and list what can be done, ranked; --choose changes the plan."""
    from advisor.cli.scene import make_scene
    from advisor.messages.reschedule import reschedule_object, reschedule_text

    scene = make_scene(common, days=16)
    found = _missed(common, scene, missed, treatment, area)
    if wanted:
        _choose(common, scene, found, wanted, dry_run)
        return
    if common.as_json:
        click.echo(json.dumps(reschedule_object(scene.outlook, found), ensure_ascii=False, allow_nan=False))
        return
    click.echo(reschedule_text(scene.outlook, found, width()))


def _missed(common, scene, told: bool, treatment: str | None, area: str | None):
    from advisor.errors import did_you_mean
    from advisor.ledger import read_statements, remembered
    from advisor.reschedule import find_missed
    from advisor.statements import MISSED

    tasks = [scored.task for scored in scene.outlook.tasks]
    household = scene.household
    if treatment is not None and treatment not in household.treatments:
        raise UsageError(f'there is no treatment "{treatment}"', hint=did_you_mean(treatment, household.treatments))
    if area is not None and area not in household.areas:
        raise UsageError(f'there is no area "{area}"', hint=did_you_mean(area, household.areas))
    ids = {task.id for task in tasks} if told else set()
    for statement in read_statements(common.database, common.now):
        if statement.kind == MISSED:
            ids |= {task.id for task in tasks if _speaks_of(statement, task)}
    climate = remembered(common.home, common.database)["climate"]
    found = find_missed(scene.outlook, scene.records, ids, climate)
    return [
        one
        for one in found
        if treatment in (None, one.task.treatment.id) and area in (None, one.task.area.id)
    ]


def _speaks_of(statement, task) -> bool:
    """Whether somebody said that the pass that is open now was missed."""
    if statement.area != task.area.id or statement.data.get("treatment") not in (None, task.treatment.id):
        return False
    if task.plan is not None and task.plan.made_at >= statement.stated_at:
        return False
    return not task.done or statement.stated_at > task.done[-1].started_at


def _choose(common, scene, found, wanted: tuple[str, ...], dry_run: bool):
    from advisor.messages.reschedule import chosen_text, numbered, reschedule_object, what
    from advisor.store import Store, plans

    rows = numbered(found)
    if not rows:
        raise UsageError("no pass is overdue, so there is nothing to choose", hint="advisor reschedule --missed")
    picked = {}
    for name in wanted:
        one, choice = _find(rows, name)
        if id(one) in picked:
            raise UsageError(
                f"two choices for {one.task.area.name}: take one of them", hint="advisor reschedule lists them"
            )
        picked[id(one)] = (one, choice)
    entries = []
    for one, choice in picked.values():
        entry = choice.entry(one.task, common.now, what(choice, one, scene.outlook))
        entries.append((one, entry))
    if not dry_run:
        with Store.open(common.database) as store:
            entries = [(one, plans.add(store, entry)) for one, entry in entries]
    if common.as_json:
        told = reschedule_object(scene.outlook, found, [entry for _, entry in entries])
        click.echo(json.dumps({**told, "dry_run": dry_run}, ensure_ascii=False, allow_nan=False))
        return
    for one, entry in entries:
        click.echo(chosen_text(entry, one, dry_run))


def _find(rows, name: str):
    from advisor.errors import did_you_mean

    for number, one, choice in rows:
        if name in (str(number), choice.id):
            return one, choice
    numbers = f"1 to {len(rows)}"
    hint = f"the choices are {numbers}" if name.isdigit() else did_you_mean(name, [row[2].id for row in rows])
    raise UsageError(f'there is no choice "{name}"', hint=hint or f"the choices are {numbers}")
