"""`advisor outlook`: the days ahead on one screen."""

from __future__ import annotations

import json

import click

from advisor.cli.options import common_options, width
from advisor.errors import UsageError

EXIT_NO_GO, EXIT_UNKNOWN = 3, 4


@click.command(epilog="Example: advisor outlook --home my-lawn   See also: advisor why, advisor notice")
@common_options
@click.option(
    "--days", type=click.IntRange(1, 16), default=8, show_default=True, help="How many days, today included."
)
@click.option(
    "--exit-code", is_flag=True, help="Exit with 3 when no day is a go, 4 when none is known to be."
)
@click.option("--all", "folder", metavar="DIR",
              help="The round of one day over all lawns in DIR, in the order in which they must be done.")  # fmt: skip
@click.option("--day", metavar="DAY", help="With --all: which day; today before noon, tomorrow after it.")
def outlook(common, days, exit_code, folder, day):
    """Tell for each coming day: go, no-go or unknown, when to start, and what decides.

    With --all: the order, the loads, who is told, and where to go if the wind turns. DIR/lawns.toml names the folders
    in the order of travel; without it all folders with a lawn.toml count.
    """
    if folder is not None:
        from advisor.cli.rounds import show_round

        show_round(common, folder, day)
        return
    if day is not None:
        raise UsageError("--day goes with --all", hint="leave it out, or ask advisor why DAY")
    from advisor.cli.scene import make_scene
    from advisor.messages.outlook_json import outlook_object
    from advisor.messages.outlook_text import outlook_text

    scene = make_scene(common, days=days)
    if common.as_json:
        click.echo(json.dumps(outlook_object(scene.outlook), ensure_ascii=False, allow_nan=False))
    else:
        click.echo(outlook_text(scene.outlook, width()))
    if exit_code:
        raise click.exceptions.Exit(
            status_of({day.verdict for scored in scene.outlook.tasks for day in scored.days})
        )


def status_of(verdicts: set[str]) -> int:
    if "go" in verdicts:
        return 0
    return EXIT_UNKNOWN if "unknown" in verdicts else EXIT_NO_GO
