"""`advisor serve`: the service in the foreground."""

from __future__ import annotations

import click

from advisor.cli.options import common_options


@click.command(epilog="Example: advisor serve --home my-lawn")
@common_options
def serve(common):
    """Run the service: pull the forecast when due, decide, and send each due notice once."""
