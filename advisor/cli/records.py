"""`advisor records`: what was applied, as the ledger has it."""

from __future__ import annotations

import csv
import json
import sys

import click

from advisor.cli.options import common_options, load_household


@click.command(epilog="Example: advisor records --format csv > passes.csv")
@common_options
@click.option("--format", "form", type=click.Choice(["table", "csv"]), default="table", show_default=True)
def records(common, form):
    """List the passes that were made, oldest first; --json and --format csv for programs."""
    from advisor import units
    from advisor.clock import iso
    from advisor.ledger import read_ledger

    household = load_household(common)
    found = read_ledger(household, common.database)
    rows = [
        {
            "id": record.id,
            "treatment": record.treatment,
            "area": record.area,
            "product": record.product,
            "active_ingredients": list(record.active_ingredients),
            "started_at": iso(record.started_at),
            "ended_at": iso(record.ended_at),
            "amount": record.amount,
            "size_m2": record.size,
            "who": record.who,
            "note": record.note,
        }
        for record in found
    ]
    if common.as_json:
        click.echo(
            json.dumps({"schema": "advisor.records/1", "records": rows}, ensure_ascii=False, allow_nan=False)
        )
        return
    if form == "csv":
        columns = list(rows[0]) if rows else ["id", "treatment", "area", "started_at"]
        writer = csv.DictWriter(sys.stdout, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows({**row, "active_ingredients": "; ".join(row["active_ingredients"])} for row in rows)
        return
    if not rows:
        click.echo("No pass is on record yet.")
        return
    zone = household.site.zone
    for record in found:
        local = record.started_at.astimezone(zone).strftime("%Y-%m-%d %H:%M")
        label = next((label for label in household.labels.values() if label.product == record.product), None)
        dimension = "mass" if label is not None and label.formulation != "liquid" else "volume"
        amount = (
            "amount not recorded"
            if record.amount is None
            else units.show(record.amount, dimension, household.units)
        )
        size = "" if record.size is None else f" on {units.show(record.size, 'area', household.units)}"
        click.echo(
            f"{local} {zone.key}  {record.treatment}, {record.area}: {amount} of {record.product}{size}"
        )
