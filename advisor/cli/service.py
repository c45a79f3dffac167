"""`advisor service`: how to run it all the time, and whether it lives."""

from __future__ import annotations

import sys

import click

from advisor.cli.options import find_home


@click.group(epilog="Example: advisor service unit > /etc/systemd/system/advisor.service   See also: advisor doctor")
def service():
    """Print a systemd unit, or look whether the service lives."""


@service.command("unit", epilog="Example: advisor service unit --user > ~/.config/systemd/user/advisor.service")
@click.option("--user", is_flag=True, help="For one person: runs on their folder, without an administrator.")
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="With --user: the household folder.")
def unit(user, home):
    """Print a systemd unit for this installation. Without --user its folder is /var/lib/advisor."""
    from pathlib import Path

    from advisor.service.unit import unit_text

    command = Path(sys.argv[0]).resolve()
    # Started as a module, the program has no command of its own.
    text = str(command) if command.name == "advisor" else f"{sys.executable} -m advisor"
    click.echo(unit_text(text, str(find_home(home).absolute()) if user else None, user=user), nl=False)


@service.command("health", epilog="Example: advisor service health --home my-lawn || mail-me")
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
def health(home):
    """Exit with 0 when the service lives and is well, with 1 and the reason when not. For containers and monitors."""
    from datetime import UTC, datetime

    from advisor.service.health import check
    from advisor.store import Store

    with Store.open_readonly(find_home(home) / "advisor.db") as store:
        problems = check(store, datetime.now(UTC))
    if problems:
        for problem in problems:
            click.echo(str(problem))
        raise click.exceptions.Exit(1)
    click.echo("The service is well.")
