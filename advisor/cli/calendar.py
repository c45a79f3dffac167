"""`advisor calendar`: windows and dates for a calendar program."""

from __future__ import annotations

import click

from advisor.cli.options import common_options
from advisor.errors import UsageError


@click.command(epilog="Example: advisor calendar --out lawn.ics   See also: advisor outlook, advisor serve")
@common_options
@click.option("--out", type=click.Path(dir_okay=False), metavar="FILE", help="Write it there; printed when not given.")
def calendar(common, out):
    """Windows, the chosen day, follow-ups, looks at the weeds and postings as an iCalendar file.

    A calendar that subscribes to the page's /calendar.ics stays up to date by itself; a file that is read in again
    replaces the events of the one before, and keeps those that are no longer in it.
    """
    if common.as_json:
        raise UsageError("a calendar has a form of its own", hint="leave out --json; see advisor outlook --json")
    from advisor.calendar import calendar_text
    from advisor.cli.scene import make_scene
    from advisor.ledger import read_plans

    scene = make_scene(common)
    plans = [plan for plan in read_plans(common.database) if plan.made_at <= common.now]
    text = calendar_text(scene.outlook, scene.records, plans)
    if out is None:
        click.get_binary_stream("stdout").write(text.encode())
        return
    _write(out, text)


def _write(out: str, text: str) -> None:
    """Whole or not at all: a calendar program may read it at any moment."""
    from pathlib import Path

    path = Path(out)
    unfinished = path.with_name(f".{path.name}.unfinished")
    try:
        unfinished.write_bytes(text.encode())
        unfinished.replace(path)
    except OSError as error:
        raise UsageError(f"the calendar cannot be written: {error.strerror}", where=out) from error
    click.echo(f"Wrote {out}.", err=True)
