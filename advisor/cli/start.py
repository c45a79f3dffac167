"""`advisor start`: measured and seen on the spot, the verdict again, and when to stop."""

from __future__ import annotations

import json

import click

from advisor.cli.answers import ask, ask_yes_no, direction, moment, quantity, somebody_is_there
from advisor.cli.options import common_options, width
from advisor.errors import UsageError, did_you_mean

EXIT_NO_GO, EXIT_UNKNOWN = 3, 4
_YES_NO = click.Choice(["yes", "no"])


@click.command(
    epilog='Example: advisor start --area front --wind "4 mph" --wind-from SW --temperature "72 degF" --leaves-dry yes '
    "--people-away yes --windows-closed yes --sprayer-clean yes   See also: advisor record --from-start"
)
@common_options
@click.option("--area", metavar="ID", help="The area; the only open one when not given.")
@click.option("--treatment", metavar="ID", help="The treatment, where several are open on the area.")
@click.option("--wind", metavar="SPEED", help='Wind measured at hand height, such as "4 mph".')
@click.option(
    "--wind-height", metavar="HEIGHT", default="2 m", show_default=True, help="Height of the anemometer."
)
@click.option(
    "--beaufort", type=click.IntRange(0, 5), help="Wind by what moves, where there is no anemometer."
)
@click.option("--wind-from", metavar="DIRECTION", help='Where it comes from: "SW" or "225 deg".')
@click.option("--gust", metavar="SPEED", help="The strongest gust measured.")
@click.option("--smoke", type=click.Choice(["drifts", "rises", "hangs"]), help="What a puff of smoke does.")
@click.option("--temperature", metavar="T", help='In the shade, such as "72 degF".')
@click.option("--humidity", metavar="SHARE", help='Such as "55 percent".')
@click.option("--leaves-dry", type=_YES_NO, help="Leaves dry, below too.")
@click.option("--people-away", type=_YES_NO, help="People and animals away.")
@click.option("--windows-closed", type=_YES_NO, help="The neighbours' windows closed towards it.")
@click.option("--sprayer-clean", type=_YES_NO, help="Cleaned since its last contents, or the same product.")
@click.option("--taken", metavar="T", help="When it was measured, the site's own time; now when not given.")
@click.option("--form", is_flag=True, help="Print the empty card to take along.")
@click.option("--dry-run", is_flag=True, help="Judge, and keep nothing.")
@click.option("--exit-code", is_flag=True, help="Exit with 3 on no-go, 4 on unknown.")
def start(common, area, treatment, form, dry_run, exit_code, **given):
    """Judge a start now by what was measured and seen in the last 15 minutes. A forecast alone never starts a job."""
    from advisor.cli.options import load_household
    from advisor.cli.scene import make_scene
    from advisor.ledger import as_told, read_ledger
    from advisor.messages.start_card_text import card_object, card_text, form_text
    from advisor.start_card import judge_start

    household = as_told(load_household(common), common.database, common.now)
    records = [one for one in read_ledger(household, common.database) if one.started_at <= common.now]
    task = _task(common, household, records, area, treatment)
    if form:
        click.echo(form_text(household, task, width()))
        return
    readings = _readings(common, household, task, given)
    # the outlook's own forecast, so that the members are those that the notice spoke of
    scene = make_scene(common)
    card = judge_start(task, readings, scene.outlook.forecast, list(scene.rules), records, common.now)
    if not dry_run:
        _keep(common, card)
    if common.as_json:
        click.echo(json.dumps(card_object(card), ensure_ascii=False, allow_nan=False))
    else:
        click.echo(card_text(card, width()))
    if exit_code and card.verdict != "go":
        raise SystemExit(EXIT_NO_GO if card.verdict == "no-go" else EXIT_UNKNOWN)


def _task(common, household, records, area, treatment):
    from advisor.ledger import read_plans
    from advisor.sequence import next_tasks

    for name, value, known in (
        ("area", area, household.areas),
        ("treatment", treatment, household.treatments),
    ):
        if value is not None and value not in known:
            raise UsageError(f'there is no {name} "{value}"', hint=did_you_mean(value, known))
    tasks = [task for task in next_tasks(household, records, common.now, read_plans(common.database))
             if area in (None, task.area.id) and treatment in (None, task.treatment.id)]  # fmt: skip
    if not tasks:
        raise UsageError("no pass is open there, so there is nothing to start", hint="see: advisor outlook")
    if len(tasks) > 1:
        missing = "--area" if len({task.area.id for task in tasks}) > 1 else "--treatment"
        ids = ", ".join(f"{task.treatment.id} {task.area.id}" for task in tasks)
        raise UsageError(f"it is not said which: {missing}", hint=f"open are: {ids}")
    return tasks[0]


def _readings(common, household, task, given):
    from advisor.start_card import Readings

    if somebody_is_there():
        _ask_for_the_rest(task, given)
    zone = household.site.zone
    taken = common.now if given["taken"] is None else moment(given["taken"], zone, "--taken")
    yes = {"yes": True, "no": False, None: None}
    made = Readings(
        taken_at=taken,
        wind_speed=_within(quantity(given["wind"], "speed", "--wind"), 0.0, 40.0, "--wind"),
        wind_height=_within(quantity(given["wind_height"], "length", "--wind-height"), 1.0, 10.0, "--wind-height"),
        beaufort=given["beaufort"] if given["wind"] is None else None,
        wind_from=direction(given["wind_from"], "--wind-from"),
        wind_gust=_within(quantity(given["gust"], "speed", "--gust"), 0.0, 60.0, "--gust"),
        air_temperature=_within(quantity(given["temperature"], "temperature", "--temperature"), -40.0, 55.0,
                                "--temperature"),
        relative_humidity=_within(quantity(given["humidity"], "percent", "--humidity"), 1.0, 100.0, "--humidity"),
        smoke=given["smoke"],
        leaves_dry=yes[given["leaves_dry"]],
        people_away=yes[given["people_away"]],
        windows_closed=yes[given["windows_closed"]],
        sprayer_clean=yes[given["sprayer_clean"]],
    )  # fmt: skip
    if made.wind_gust is not None and made.wind_speed is not None and made.wind_gust < made.wind_speed:
        raise UsageError("the gust is weaker than the wind", hint="check both")
    return made


def _within(value, low, high, flag):
    """A reading inside what can be at all; what lies outside is a slip of the unit."""
    if value is not None and not low <= value <= high:
        raise UsageError(f"{flag} is not plausible", hint="check the number and its unit")
    return value


_QUESTIONS = {
    "leaves_dry": "Leaves dry, below too?",
    "people_away": "People and animals away?",
    "windows_closed": "Neighbours' windows closed towards it?",
    "sprayer_clean": "Sprayer cleaned since its last contents, or the same product?",
}


def _ask_for_the_rest(task, given):
    """Questions for what was not given; an empty answer stays unanswered."""

    def asked(name, question):
        if given[name] is None:
            given[name] = ask(question, "") or None

    if given["beaufort"] is None:
        asked("wind", 'Wind at hand height (such as "4 mph"; empty where there is no anemometer)')
    if given["wind"] is None and given["beaufort"] is None:
        from advisor.start_card import BEAUFORT

        for force, (_, _, says) in BEAUFORT.items():
            click.echo(f"  {force}  {says}", err=True)
        answer = ask("Which of these (empty: none)", "")
        given["beaufort"] = int(answer) if answer.isdigit() and int(answer) in BEAUFORT else None
    if given["wind"] is not None:
        asked("gust", "The strongest gust (empty where none was measured: then the forecast's stands)")
    asked("wind_from", 'Where does it come from (such as "SW")')
    asked("temperature", 'Temperature in the shade (such as "72 degF")')
    for name, question in _QUESTIONS.items():
        if given[name] is None and not (name == "leaves_dry" and task.label.mode == "soil"):
            given[name] = {True: "yes", False: "no", None: None}[ask_yes_no(question)]


def _keep(common, card):
    from advisor.clock import iso
    from advisor.messages.start_card_text import card_object
    from advisor.store import Store
    from advisor.store.measurements import START_CARD, add

    whole = card_object(card)
    data = {
        "treatment": card.task.treatment.id, "area": card.task.area.id, "start": iso(card.start),
        "verdict": card.verdict, "readings": card.readings.for_record(), "checks": whole["checks"],
        "smoke": card.readings.smoke, "beaufort": card.readings.beaufort,
    }  # fmt: skip
    with Store.open(common.database) as store:
        add(store, START_CARD, card.task.id, card.readings.taken_at, data, written_at=common.now)
