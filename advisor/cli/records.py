"""`advisor records`: what was applied, as the ledger has it; and passes of the past read from a file."""

from __future__ import annotations

import json
from pathlib import Path

import click

from advisor.cli.answers import sub_options
from advisor.cli.options import common_options, load_household, width
from advisor.errors import InvalidFile, Problem, UsageError


@click.group(
    invoke_without_command=True,
    epilog="Example: advisor records --format csv > passes.csv   See also: advisor record, advisor records import",
)
@common_options
@click.option(
    "--format", "form", type=click.Choice(["table", "csv", "page", "html"]), default="table", show_default=True,
    help="page and html are made to be printed and kept.",
)  # fmt: skip
@click.option("--area", metavar="ID", help="Only this area.")
@click.option("--since", metavar="DAY", help="Only passes from this day on.")
@click.option(
    "--all", "everything", is_flag=True, help="Also records that were corrected or withdrawn since."
)
@click.option("--verify", is_flag=True, help="Check the chain of the records: whether any was changed since.")
@click.option(
    "--expect", metavar="HEAD", help="With --verify: a head that was kept elsewhere; it must still be there."
)
@click.pass_context
def records(ctx, common, form, area, since, everything, verify, expect):
    """List the passes that were made, oldest first; --json and --format csv for programs.

    --verify works out the link of every record anew and exits with 1 where one does not fit. A chain alone cannot
    show that the newest records are gone, or that somebody worked out all links anew: for that, keep the head that
    --verify prints somewhere else, on paper or in a mail, and give it back with --expect.
    """
    if ctx.invoked_subcommand is not None:
        ctx.obj = common
        return
    if expect is not None and not verify:
        raise UsageError("--expect goes with --verify", hint="add --verify")
    if verify:
        from advisor.cli.records_verify import tell

        raise click.exceptions.Exit(tell(common, expect))
    from advisor.clock import parse_day
    from advisor.messages.record_text import page_html, page_text
    from advisor.recording.table import csv_text, row_object

    household = load_household(common)
    rows = _rows(common, household, everything)
    if area is not None:
        rows = [row for row in rows if row.record.area == area]
    if since is not None:
        first, zone = parse_day(since, "--since"), household.site.zone
        rows = [row for row in rows if row.record.started_at.astimezone(zone).date() >= first]
    if common.as_json:
        others = [row.record for row in rows]
        listed = [row_object(row, household, others) for row in rows]
        click.echo(
            json.dumps(
                {"schema": "advisor.records/1", "records": listed}, ensure_ascii=False, allow_nan=False
            )
        )
    elif form == "csv":
        click.echo(csv_text(rows, household), nl=False)
    elif form == "html":
        click.echo(page_html(rows, household, common.now))
    elif form == "page":
        click.echo(page_text(rows, household, common.now, width()))
    elif not rows:
        click.echo("No pass is on record yet.")
    else:
        for row in rows:
            click.echo(_line(row, household))


def _rows(common, household, everything=False):
    """Rows of the history file and of the database, oldest pass first."""
    from advisor.recording.details import from_extra, presumed
    from advisor.recording.table import Row, presumed_row

    rows = [presumed_row(household, record) for record in household.history]
    if common.database.exists():
        from advisor.store import Store
        from advisor.store import records as ledger

        with Store.open_readonly(common.database) as store:
            entries = ledger.history(store) if everything else ledger.current_entries(store)
        replaced = {entry.corrects for entry in entries}
        for entry in entries:
            details = from_extra(entry.extra) if entry.extra else presumed(household, entry.record)
            counts = not entry.withdrawn and entry.record.id not in replaced
            rows.append(
                Row(
                    entry.record,
                    details,
                    entry.written_at,
                    entry.corrects,
                    entry.withdrawn,
                    counts,
                    entry.link,
                )
            )
    return sorted(rows, key=lambda row: row.record.started_at)


def _line(row, household) -> str:
    from advisor import units
    from advisor.messages.record_text import amount_words

    record, zone = row.record, household.site.zone
    local = record.started_at.astimezone(zone).strftime("%Y-%m-%d %H:%M")
    amount = amount_words(record, household) or "amount not recorded"
    size = "" if record.size is None else f" on {units.show(record.size, 'area', household.units)}"
    marks = (
        "" if not row.details.flags else "  [recorded as it happened: " + "; ".join(row.details.flags) + "]"
    )
    if row.withdrawn:
        marks += f"  [withdraws {row.corrects}]"
    elif not row.counts:
        marks += "  [replaced]"
    return f"{local} {zone.key}  {record.treatment}, {record.area}: {amount} of {record.product}{size}{marks}"


@records.command("import", epilog="Example: advisor records --home my-lawn import passes.csv --dry-run")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--as-it-happened", is_flag=True, help="Also those that checks speak against; they are noted.")
@click.option("--dry-run", is_flag=True, help="Check and tell, and keep nothing.")
@sub_options
def import_(common, file, as_it_happened, dry_run):
    """Read passes of the past from a CSV file: all of them or none.

    \b
    Either columns like those of history.csv, with units in the cells:
      area,treatment,product,active_ingredients,started_at,ended_at,amount,size,who,note
    or what "advisor records --format csv" writes.
    """
    from dataclasses import replace

    from advisor.ledger import read_ledger
    from advisor.recording.checks import check_record
    from advisor.recording.details import to_extra

    household = load_household(common)
    found = _read(file, household, common.now)
    ledger = list(read_ledger(household, common.database))
    problems, accepted, known = [], [], []
    for line, record, details in found:
        twin = next((one for one in ledger if (one.area, one.product, one.started_at)
                     == (record.area, record.product, record.started_at)), None)  # fmt: skip
        if twin is not None:
            known.append((line, twin))
            continue
        # in a file of the past the order of writing says nothing
        faults = [one for one in check_record(household, record, details, ledger, common.now)
                  if one.code != "out-of-order"]  # fmt: skip
        if any(one.final for one in faults) or (faults and not as_it_happened):
            problems += [Problem(one.what, f"{file.name}:{line}", one.hint) for one in faults]
            continue
        details = replace(details, as_it_happened=bool(faults) or details.as_it_happened,
                          flags=tuple(dict.fromkeys([*details.flags, *(one.what for one in faults)])))  # fmt: skip
        accepted.append((record, details))
        ledger.append(record)
    if problems:
        hint = "" if as_it_happened else "; mend the file, or add --as-it-happened where it did happen so"
        told = f"{file.name}: nothing is recorded, {len(problems)} things speak against it{hint}"
        raise InvalidFile(told, problems=problems)
    if accepted and not dry_run:
        from advisor.store import Store
        from advisor.store import records as store_records

        with Store.open(common.database) as store, store.write(durable=True):
            for record, details in accepted:
                store_records.add(store, record, written_at=common.now, extra=to_extra(details))
    if common.as_json:
        click.echo(json.dumps({"schema": "advisor.import/1", "recorded": len(accepted), "already_known": len(known),
                               "kept": not dry_run}))  # fmt: skip
        return
    verb = "would be recorded" if dry_run else "recorded"
    click.echo(f"{len(accepted)} passes {verb}, {len(known)} were on record already.")


def _read(file: Path, household, now):
    """(line, record, details) of every row; raises with every faulty line."""
    from dataclasses import replace

    from advisor.household.history import HistoryFile
    from advisor.recording.details import presumed
    from advisor.recording.reading import header_of, is_exported, read_export

    try:
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise UsageError(f"cannot be read: {error.strerror}", where=str(file)) from error
    except UnicodeDecodeError as error:
        raise InvalidFile("is not UTF-8 text", where=str(file), hint="save the file as UTF-8") from error
    if is_exported(header_of(text)):
        found, problems = read_export(text, file.name)
        if problems:
            raise InvalidFile(f"{file.name} cannot be read", problems=problems)
        return found
    history = HistoryFile(
        file.name,
        zone=household.site.zone,
        areas=None,
        treatments={name: household.labels.get(one.label) for name, one in household.treatments.items()},
        now=None,
        units=household.units,
    ).parse(text)
    if history.errors:
        raise InvalidFile(f"{file.name} cannot be read", problems=history.errors)
    rows = history.records
    return [(int(one.id.rsplit("/", 1)[-1]), replace(one, id=""), presumed(household, one)) for one in rows]
