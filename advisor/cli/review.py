"""`advisor review`: whether the weather kept its word after a pass, what became of the weeds, and what follows."""

from __future__ import annotations

import json
from pathlib import Path

import click

from advisor.cli.answers import moment, quantity, stored_past, sub_options
from advisor.cli.options import common_options, load_household, width
from advisor.errors import UsageError, did_you_mean


@click.group(
    invoke_without_command=True,
    epilog="Example: advisor review --home my-lawn --observed station.csv   See also: advisor review look",
)
@common_options
@click.option("--area", metavar="ID", help="Only this area.")
@click.option("--treatment", metavar="ID", help="Only this treatment.")
@click.option(
    "--record", "record_id", metavar="ID", help="This pass; the newest of each area when not given."
)
@click.option("--observed", type=click.Path(path_type=Path), metavar="FILE",
              help='Hourly weather as CSV with units in its heading, such as "air_temperature [degC]".')  # fmt: skip
@click.option(
    "--observed-zone", metavar="ZONE", help="Zone of its times that state none; the site's when not given."
)
@click.option("--sums", type=click.Choice(["before", "after"]),
              help="Whether rain in a row of that file fell in the hour before its time or after it.")  # fmt: skip
@click.pass_context
def review(ctx, common, area, treatment, record_id, observed, observed_zone, sums):
    """Hold the weather that came against the limits, look at the weeds, and say what it means for the follow-up."""
    if ctx.invoked_subcommand is not None:
        ctx.obj = common
        return
    from advisor.ledger import read_ledger
    from advisor.messages.review_text import SCHEMA_ID, review_object, review_text
    from advisor.rule_files import load_rules

    household = load_household(common)
    ledger = [one for one in read_ledger(household, common.database) if one.started_at <= common.now]
    chosen = _chosen(household, ledger, area, treatment, record_id)
    if not chosen:
        click.echo("No pass is on record yet, so there is nothing to look back at." if not common.as_json else
                   json.dumps({"schema": SCHEMA_ID, "reviews": []}))  # fmt: skip
        return
    rules = list(load_rules(common.home / "rules"))
    made = [_review(common, household, one, ledger, rules, observed, observed_zone, sums) for one in chosen]
    if common.as_json:
        reviews = [review_object(*one) for one in made]
        click.echo(json.dumps({"schema": SCHEMA_ID, "reviews": reviews}, ensure_ascii=False, allow_nan=False))
        return
    click.echo("\n\n".join(review_text(*one, common.now, width()) for one in made))


def _chosen(household, ledger, area, treatment, record_id):
    """The passes to look back at: one that is named, or the newest of each treatment and area."""
    if record_id is not None:
        found = [one for one in ledger if one.id == record_id]
        if not found:
            raise UsageError(
                f'there is no record "{record_id}"', hint=did_you_mean(record_id, [o.id for o in ledger])
            )
        return found
    for name, value, known in (
        ("area", area, household.areas),
        ("treatment", treatment, household.treatments),
    ):
        if value is not None and value not in known:
            raise UsageError(f'there is no {name} "{value}"', hint=did_you_mean(value, known))
    newest = {}
    for one in ledger:
        if area in (None, one.area) and treatment in (None, one.treatment):
            newest[one.treatment, one.area] = one
    return list(newest.values())


def _review(common, household, record, ledger, rules, observed, observed_zone, sums):
    from advisor.review.one_pass import review_pass
    from advisor.review.pass_made import task_of

    task = task_of(household, record, ledger)
    if task is None:
        raise UsageError(f'the pass "{record.id}" cannot be looked back at: its treatment, area or label is gone',
                         hint="put the files back that it was made under")  # fmt: skip
    parts, coming = _weather(common, household, record, observed, observed_zone, sums)
    return review_pass(task, record, rules, ledger, parts, coming, _looks(common, record), common.now)


def _weather(common, household, record, observed, observed_zone, sums):
    """(pieces of past weather, the surest first; the newest forecast for what is not over)."""
    from advisor.cli.scene import read_stored
    from advisor.quality import control
    from advisor.review.observed import MEASURED, PAST_HOURS, Part
    from advisor.review.pass_made import span_of

    parts, coming = _readings(common, record), None
    if observed is not None:
        parts.append(
            Part(_observed(observed, observed_zone or household.site.zone.key, sums), MEASURED, common.now)
        )
    if common.weather is not None:
        forecast, until = stored_past(common, household)
        parts.append(Part(forecast, PAST_HOURS, until))
        coming = control(read_stored(common.weather, common), common.now)
    if common.database.exists():
        from advisor.seen_weather import newest_forecast
        from advisor.seen_weather import parts as kept_parts
        from advisor.store import Store

        with Store.open_readonly(common.database) as store:
            parts += kept_parts(household, store, *span_of(record), common.now)
            coming = coming or newest_forecast(household, store, common.now)
    return parts, coming


def _readings(common, record):
    """What was measured on the spot and stands in the record."""
    from advisor.recording.details import MEASURED, from_extra
    from advisor.review.observed import part_of_readings

    if not common.database.exists():
        return []
    from advisor.store import Store, records

    with Store.open_readonly(common.database) as store:
        entry = records.find(store, record.id)
    if entry is None:
        return []
    weather = from_extra(entry.extra).weather
    measured = {name: getattr(weather, name) for name, source in weather.source.items() if source == MEASURED}
    part = part_of_readings(measured, record.started_at)
    return [] if part is None else [part]


def _observed(path: Path, zone: str, sums: str):
    import math
    from datetime import UTC, datetime

    from advisor.quality import control
    from advisor.sources.history import read_history

    try:
        content = path.read_bytes()
    except OSError as error:
        raise UsageError(f"cannot be read: {error.strerror}", where=str(path)) from error
    return control(read_history(content, zone=zone, sums=sums, where=path.name), datetime.now(UTC), math.inf)


def _looks(common, record):
    """What was entered of the weeds of this treatment and area, before and after the pass."""
    from advisor.review.response import looks_of

    if not common.database.exists():
        return []
    from advisor.store import Store
    from advisor.store.measurements import COVER, of_subject

    with Store.open_readonly(common.database) as store:
        return looks_of(of_subject(store, COVER, f"{record.treatment}/{record.area}", until=common.now))


@review.command(
    "look",
    epilog='Example: advisor review --home my-lawn look --area front --cover "12 %" --untreated "40 %"',
)
@click.option("--area", metavar="ID", help="The area; the only one when not given.")
@click.option("--treatment", metavar="ID", help="The treatment; the only one of the area when not given.")
@click.option("--cover", required=True, metavar="SHARE", help='Turf covered by the weeds, such as "12 %".')
@click.option("--untreated", metavar="SHARE", help="The same on the strip that was left untreated.")
@click.option("--at", metavar="T", help="When you looked, the site's own time; now when not given.")
@click.option("--dry-run", is_flag=True, help="Check and tell, and keep nothing.")
@sub_options
def look(common, area, treatment, cover, untreated, at, dry_run):
    """Enter how much turf the weeds cover: before a pass, one week after it, and two to three weeks after it.

    Leave a strip untreated, and look at it each time: only then the change can be told from that of the season.
    """
    household = load_household(common)
    treatment, area = _which(household, treatment, area)
    values = {"cover": _share(cover, "--cover")}
    if untreated is not None:
        values["untreated"] = _share(untreated, "--untreated")
    taken = common.now if at is None else moment(at, household.site.zone, "--at")
    if taken > common.now:
        raise UsageError("--at lies in the future", hint="enter what you have seen")
    if not dry_run:
        from advisor.store import Store
        from advisor.store.measurements import COVER, add

        with Store.open(common.database) as store:
            add(store, COVER, f"{treatment}/{area}", taken, values, written_at=common.now)
    if common.as_json:
        from advisor.clock import iso

        click.echo(json.dumps({"schema": "advisor.look/1", "treatment": treatment, "area": area, "at": iso(taken),
                               "cover_percent": values["cover"], "untreated_percent": values.get("untreated"),
                               "kept": not dry_run}))  # fmt: skip
        return
    strip = "" if untreated is None else f", {values['untreated']:g} % on the untreated strip"
    verb = "Would be kept" if dry_run else "Kept"
    local = taken.astimezone(household.site.zone).strftime("%a %-d %b %Y, %H:%M")
    click.echo(f"{verb}: {values['cover']:g} % cover on {area}{strip}, {local}.")


def _share(text, flag):
    value = quantity(text, "percent", flag)
    if not 0.0 <= value <= 100.0:
        raise UsageError(f"{flag} {text} is not between 0 and 100 %", hint='write it like "12 %"')
    return value


def _which(household, treatment, area):
    if area is not None and area not in household.areas:
        raise UsageError(f'there is no area "{area}"', hint=did_you_mean(area, household.areas))
    if treatment is not None and treatment not in household.treatments:
        raise UsageError(
            f'there is no treatment "{treatment}"', hint=did_you_mean(treatment, household.treatments)
        )
    pairs = [(one.id, name) for one in household.treatments.values() for name in one.areas
             if treatment in (None, one.id) and area in (None, name)]  # fmt: skip
    if len(pairs) != 1:
        missing = "--area" if len({pair[1] for pair in pairs}) > 1 else "--treatment"
        raise UsageError(
            f"it is not said which: {missing}", hint="one of: " + ", ".join(f"{a} {b}" for a, b in pairs)
        )
    return pairs[0]
