"""`advisor doctor`: is everything in order, and what to do where it is not."""

from __future__ import annotations

import json

import click

from advisor.cli.options import find_home, instant


@click.command(epilog="Example: advisor doctor --home my-lawn   See also: advisor check, advisor notice --test CHANNEL")
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
@click.option("--now", metavar="T", help='Pretend that it is this time, such as "2026-09-21T12:00Z".')
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def doctor(home, now, as_json):
    """Look at files, rules, database, sources, clock, scheduler and channels: one line each, with the fix.

    Exits with 0 when all is in order; else with the code of the first that is not: 5 files and rules, 6 sources,
    7 channels, 1 database, clock and scheduler.
    """
    from datetime import UTC, datetime

    from advisor.service.doctor import examine

    found = examine(find_home(home), instant(now, "--now") or datetime.now(UTC))
    status = next((one.exit_status for one in found if not one.ok), 0)
    if as_json:
        rows = [{"name": one.name, "ok": one.ok, "says": one.says, "fix": one.fix or None} for one in found]
        click.echo(json.dumps({"schema": "advisor.doctor/1", "ok": status == 0, "findings": rows}, ensure_ascii=False))
    else:
        wide = max(len(one.name) for one in found)
        for one in found:
            word = "ok    " if one.ok else "NOT OK"
            fix = f"; to do: {one.fix}" if one.fix and not one.ok else ""
            click.echo(f"{word}  {one.name:<{wide}}  {' '.join(one.says.split())}{fix}")
    raise click.exceptions.Exit(status)
