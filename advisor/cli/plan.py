"""`advisor plan`: where each sequence stands, and planning backward from a day of seeding."""

from __future__ import annotations

import json
import sys

import click

from advisor.cli.options import common_options, load_household, width
from advisor.errors import UsageError


@click.command(
    epilog="Example: advisor plan --seed-by 2026-10-30 --area front   See also: advisor reschedule, advisor outlook"
)
@common_options
@click.option("--seed-by", metavar="DATE", help="Count back from this day of seeding.")
@click.option("--treatment", metavar="ID", help="Only this treatment.")
@click.option("--area", metavar="ID", help="Only this area.")
@click.option("--weed", metavar="NAME", help="Ask about this weed instead of the treatment's own.")
@click.option("--stage", metavar="STAGE", help="The weed's stage, as it was seen on the spot.")
@click.option("--cover", metavar="SHARE", help='How much of the lawn the weeds cover, such as "10 percent".')
def plan(common, seed_by, treatment, area, weed, stage, cover):
    """Tell where each sequence stands, what the label leaves of its year, and what has to rest around a pass."""
    from advisor.messages.plan import backward_text, plan_object, plan_text

    household = load_household(common)
    stage, cover = _asked(household, weed, stage, cover)
    day = None if seed_by is None else _day(seed_by)
    standings = _standings(common, household, treatment, area, weed, stage, cover)
    backward = {} if day is None else _backward(common, household, standings, day)
    if common.as_json:
        told = plan_object(household, standings, common.now, backward)
        click.echo(json.dumps(told, ensure_ascii=False, allow_nan=False))
        return
    if day is not None:
        click.echo("\n\n".join(backward_text(one, width()) for one in backward.values()))
        return
    click.echo(plan_text(household, standings, common.now, width()))


def _day(text: str):
    from advisor.clock import parse_day

    return parse_day(text, "--seed-by")


def _asked(household, weed, stage, cover):
    """Stage and cover: from the options, else asked for on a terminal where nobody has stated them."""
    from advisor import units
    from advisor.errors import did_you_mean
    from advisor.model import STAGES

    unstated = any(not one.stage for one in household.treatments.values())
    asking = sys.stdin.isatty() and sys.stdout.isatty()
    if stage is None and unstated and asking:
        stage = click.prompt("Stage of the weed, as you see it (Enter: open)", default="", show_default=False)
    if stage and stage not in STAGES:
        raise UsageError(f'"{stage}" is not a stage of growth', hint=did_you_mean(stage, STAGES))
    if cover is None and weed is not None and asking:
        question = 'Share of the lawn it covers, such as "10 percent" (Enter: open)'
        cover = click.prompt(question, default="", show_default=False)
    if not cover:
        return stage, None
    try:
        share = units.parse(cover, "percent")
    except units.UnitError as error:
        raise UsageError(f"--cover: {error.what}", hint='write it like "10 percent"') from error
    if not 0.0 <= share <= 100.0:
        raise UsageError(f'--cover "{cover}" is not a share from 0 to 100 percent')
    return stage, share


def _standings(common, household, treatment, area, weed, stage, cover):
    from advisor.errors import did_you_mean
    from advisor.ledger import read_ledger, read_plans
    from advisor.messages.plan import Standing
    from advisor.model import Task
    from advisor.sequence import next_tasks, passes_done, room_left
    from advisor.sequence.answers import answers

    for name, known, word in ((treatment, household.treatments, "treatment"), (area, household.areas, "area")):
        if name is not None and name not in known:
            raise UsageError(f'there is no {word} "{name}"', hint=did_you_mean(name, known))
    now = common.now
    records = [one for one in read_ledger(household, common.database) if one.started_at <= now]
    plans = [one for one in read_plans(common.database) if one.made_at <= now]
    open_tasks = {task.id: task for task in next_tasks(household, records, now, plans)}
    today = now.astimezone(household.site.zone).date()
    found = []
    for one in household.treatments.values():
        for area_id in one.areas:
            if treatment not in (None, one.id) or area not in (None, area_id):
                continue
            place, label = household.areas[area_id], household.labels[one.label]
            task = open_tasks.get(f"{one.id}/{area_id}")
            done = passes_done(household, one, place, records, now, plans)
            asked = task or Task(household, one, place, label, max(len(done), 1), done)
            told = answers(
                weed or one.target, place, label, today, stage=stage if stage is not None else one.stage,
                cover=_cover(common, one.id, area_id) if cover is None else cover, southern=household.site.latitude < 0,
            )  # fmt: skip
            made = tuple(record.started_at for record in done)
            found.append(Standing(one, place, task, made, room_left(asked, records, now), tuple(told)))
    if not found:
        raise UsageError("no treatment of the household is for that area", hint="see treatments/ in its folder")
    return found


def _cover(common, treatment: str, area: str) -> float | None:
    """The newest cover that somebody wrote down."""
    if not common.database.exists():
        return None
    from advisor.store import Store
    from advisor.store.measurements import COVER, newest

    with Store.open_readonly(common.database) as store:
        found = newest(store, COVER, f"{treatment}/{area}", until=common.now)
    share = None if found is None else found.data.get("cover")
    return float(share) if isinstance(share, (int, float)) else None


def _backward(common, household, standings, day):
    from advisor.ledger import read_ledger
    from advisor.planning import plan_backward

    records = [one for one in read_ledger(household, common.database) if one.started_at <= common.now]
    tasks = [one.task for one in standings if one.task is not None]
    found = {task.id: plan_backward(task, records, common.now, day) for task in tasks}
    if not found:
        raise UsageError("no pass is open, so nothing has to be done before the seeding", hint="advisor plan")
    return found
