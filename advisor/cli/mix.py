"""`advisor mix`: what goes into the tank, and how much the sprayer puts out."""

from __future__ import annotations

import json

import click

from advisor.cli.answers import sub_options
from advisor.cli.options import common_options, load_household, width
from advisor.errors import UsageError, did_you_mean


@click.group(
    invoke_without_command=True,
    epilog="Example: advisor mix --home my-lawn --area front   See also: advisor mix calibrate, advisor start",
)
@common_options
@click.option("--area", metavar="ID", help="Only this area.")
@click.option("--treatment", metavar="ID", help="Only this treatment; also when no pass of it is open.")
@click.option("--sprayed", metavar="SIZE", help='What is really sprayed of the area, such as "600 ft^2".')
@click.option("--volume", metavar="VOLUME", help='Mix one batch of this much spray, such as "1 gal".')
@click.option(
    "--measure",
    "measure",
    multiple=True,
    metavar="TEXT",
    help='A measure that you have, such as "syringe, steps of 1 mL"; once for each.',
)
@click.option("--adjuvant", is_flag=True, help="Add the adjuvant that the label allows.")
@click.pass_context
def mix(ctx, common, area, treatment, sprayed, volume, measure, adjuvant):
    """Product, water and adjuvant for each tank load and in all, area by area."""
    if ctx.invoked_subcommand is not None:
        ctx.obj = common
        return
    from advisor.messages.mix_text import mix_object, mix_sheet
    from advisor.mix.measures import read_measures
    from advisor.mix.plan import MixRefused, plan_mix
    from advisor.season import season_use

    household = load_household(common)
    pairs, records = _wanted(common, household, area, treatment)
    if not pairs:
        click.echo(
            json.dumps(mix_object([]))
            if common.as_json
            else "No pass is open, so there is nothing to mix. Name one with --treatment."
        )
        return
    if (sprayed or volume) and len(pairs) > 1:
        raise UsageError("--sprayed and --volume are of one area", hint="add --area ID")
    measures = tuple(one for text in measure for one in read_measures(text)) or None
    calibrations = _calibrations(common)
    plans, refused = [], []
    for one_treatment, one_area in pairs:
        known = calibrations.get(one_treatment.sprayer)
        try:
            plans.append(
                plan_mix(
                    household,
                    one_treatment,
                    one_area,
                    measures=measures,
                    carrier_rate=None if known is None else known.data["carrier_rate"],
                    sprayed=_parsed(sprayed, "area", "--sprayed"),
                    batch=_parsed(volume, "volume", "--volume"),
                    adjuvant=adjuvant,
                    used=season_use(household, one_treatment, one_area, records, common.now),
                )
            )
        except MixRefused as error:
            refused.append(error)
    if common.as_json:
        click.echo(json.dumps(mix_object(plans, refused), ensure_ascii=False, allow_nan=False))
    else:
        dates = {name: one.taken_at for name, one in calibrations.items()}
        click.echo(mix_sheet(household, plans, refused, dates, width()))
        for plan in plans:
            _say_if_old(plan, calibrations, common.now)
    if refused:
        raise SystemExit(MixRefused.exit_status)


def _wanted(common, household, area, treatment):
    """(treatment, area) pairs asked for, and the ledger."""
    from advisor.ledger import read_ledger, read_plans
    from advisor.sequence import next_tasks

    records = read_ledger(household, common.database)
    if area is not None and area not in household.areas:
        raise UsageError(f'there is no area "{area}"', hint=did_you_mean(area, household.areas))
    if treatment is not None:
        if treatment not in household.treatments:
            raise UsageError(
                f'there is no treatment "{treatment}"', hint=did_you_mean(treatment, household.treatments)
            )
        chosen = household.treatments[treatment]
        if area is not None and area not in chosen.areas:
            raise UsageError(
                f'treatment "{treatment}" does not treat area "{area}"',
                hint="its areas: " + ", ".join(chosen.areas),
            )
        return [(chosen, household.areas[one]) for one in chosen.areas if area in (None, one)], records
    past = [record for record in records if record.started_at <= common.now]
    tasks = next_tasks(household, past, common.now, read_plans(common.database))
    return [(task.treatment, task.area) for task in tasks if area in (None, task.area.id)], records


def _parsed(text, dimension, flag):
    from advisor.units import UnitError, parse

    if text is None:
        return None
    try:
        return parse(text, dimension)
    except UnitError as error:
        raise UsageError(f"{flag}: {error.problems[0].what}", hint=error.problems[0].hint) from error


def _calibrations(common):
    """The newest calibration of each sprayer; none where there is no database yet."""
    if not common.database.exists():
        return {}
    from advisor.store import Store
    from advisor.store.measurements import CALIBRATION, of_subject

    with Store.open_readonly(common.database) as store:
        return {one.subject: one for one in of_subject(store, CALIBRATION, until=common.now)}


def _say_if_old(plan, calibrations, now):
    from advisor.mix.calibration import GOOD_FOR_DAYS

    known = calibrations.get(plan.sprayer.id)
    if known is not None and (now - known.taken_at).days > GOOD_FOR_DAYS:
        click.echo(
            f"advisor: {plan.sprayer.id} was calibrated {(now - known.taken_at).days} days ago: do it again "
            "each season, and after every change of nozzle or pace",
            err=True,
        )
    stated = plan.sprayer.carrier_rate
    if known is not None and stated is not None and abs(known.data["carrier_rate"] / stated - 1.0) > 0.05:
        click.echo(
            f"advisor: lawn.toml states another output for {plan.sprayer.id} than the calibration that is used "
            "here: correct carrier_rate there, since notices are written from it",
            err=True,
        )


@mix.command(
    "calibrate",
    epilog='Example: advisor mix --home my-lawn calibrate knapsack --caught "40 floz" --walked "51 s"',
)
@click.argument("sprayer", metavar="SPRAYER")
@click.option(
    "--caught", metavar="VOLUME", help="1/128-acre method: what was caught in the time of the walk."
)
@click.option(
    "--walked", multiple=True, metavar="TIME", help='Time for the plot, such as "51 s"; once for each walk.'
)
@click.option("--caught-for", metavar="TIME", help="Time of catching, where it was not the mean walk.")
@click.option("--plot", metavar="SIZE", help="The plot walked; 1/128 acre (340 ft^2) when not given.")
@click.option("--used", metavar="VOLUME", help="Known-area method: water to fill the tank up again.")
@click.option("--on", "on_area", metavar="SIZE", help="Known-area method: the area sprayed with it.")
@click.option("--dry-run", is_flag=True, help="Work it out, and keep nothing.")
@sub_options
def calibrate(common, sprayer, caught, walked, caught_for, plot, used, on_area, dry_run):
    """Keep how much a sprayer puts out, measured with clean water.

    \b
    1/128 acre:  walk 340 ft^2 (18.45 ft each way) at your pace and time it; catch the spray for that time.
    known area:  fill up, spray a measured area, and measure what fills the tank up again.
    """
    from advisor import units
    from advisor.mix.calibration import by_catch, by_known_area

    household = load_household(common)
    if sprayer not in household.sprayers:
        raise UsageError(f'there is no sprayer "{sprayer}"', hint=did_you_mean(sprayer, household.sprayers))
    if household.sprayers[sprayer].kind == "spreader":
        raise UsageError(
            f'"{sprayer}" is a spreader: it puts out granules, not water',
            hint="weigh what it spreads on a measured sheet, and set it by the label",
        )
    if (caught is None) == (used is None):
        raise UsageError("give either --caught (1/128 acre) or --used with --on (known area)")
    if caught is not None:
        walks = [_seconds(one, "--walked") for one in walked]
        options = {} if plot is None else {"plot": _parsed(plot, "area", "--plot")}
        made = by_catch(
            _parsed(caught, "volume", "--caught"),
            walks,
            None if caught_for is None else _seconds(caught_for, "--caught-for"),
            **options,
        )
    else:
        if on_area is None:
            raise UsageError("--used needs the area that it was sprayed on", hint='add --on "1000 ft^2"')
        made = by_known_area(_parsed(used, "volume", "--used") / 1000.0, _parsed(on_area, "area", "--on"))
    if not dry_run:
        from advisor.store import Store
        from advisor.store.measurements import CALIBRATION, add

        with Store.open(common.database) as store:
            add(
                store,
                CALIBRATION,
                sprayer,
                common.now,
                {"method": made.method, "carrier_rate": made.carrier_rate, "trial": made.trial},
                written_at=common.now,
            )
    if common.as_json:
        whole = {
            "schema": "advisor.calibration/1",
            "sprayer": sprayer,
            "method": made.method,
            "carrier_rate_l_per_m2": made.carrier_rate,
            "trial": made.trial,
            "kept": not dry_run,
        }
        click.echo(json.dumps(whole, allow_nan=False))
        return
    per_acre = made.carrier_rate / 3.785411784 * 4046.8564224
    shown = units.show(made.carrier_rate, "carrier_rate", household.units)
    extra = f" ({per_acre:.4g} gal/acre)" if household.units == "us" else ""
    click.echo(f"{sprayer} puts out {shown}{extra}, by the {made.method} method.")
    tank = household.sprayers[sprayer].tank / 1000.0 / made.carrier_rate
    click.echo(f"A full tank covers {units.show(tank, 'area', household.units)}.")
    if dry_run:
        click.echo("Nothing was kept (--dry-run).", err=True)
    else:
        click.echo(
            "Kept: advisor mix uses it from now on. Calibrate again each season, and after a change of nozzle, "
            "pressure or pace."
        )


def _seconds(text, flag):
    return _parsed(text, "time", flag) * 3600.0


@mix.command("calibrations", epilog="Example: advisor mix --home my-lawn calibrations")
@sub_options
def calibrations(common):
    """List all calibrations, oldest first; the newest of a sprayer counts."""
    from advisor import units
    from advisor.clock import iso

    household = load_household(common)
    found = []
    if common.database.exists():
        from advisor.store import Store
        from advisor.store.measurements import CALIBRATION, of_subject

        with Store.open_readonly(common.database) as store:
            found = of_subject(store, CALIBRATION)
    if common.as_json:
        rows = [
            {
                "sprayer": one.subject,
                "taken_at": iso(one.taken_at),
                "method": one.data["method"],
                "carrier_rate_l_per_m2": one.data["carrier_rate"],
                "trial": one.data["trial"],
            }
            for one in found
        ]
        click.echo(json.dumps({"schema": "advisor.calibrations/1", "calibrations": rows}))
        return
    if not found:
        click.echo("No sprayer has been calibrated yet; lawn.toml says what they put out.")
    for one in found:
        local = one.taken_at.astimezone(household.site.zone).strftime("%Y-%m-%d")
        shown = units.show(one.data["carrier_rate"], "carrier_rate", household.units)
        click.echo(f"{local}  {one.subject}: {shown} ({one.data['method']})")
