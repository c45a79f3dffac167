"""`advisor schema NAME`: the JSON Schema of an answer."""

from __future__ import annotations

import json

import click


@click.command(epilog="Example: advisor schema outlook > outlook.schema.json")
@click.argument("name", type=click.Choice(["outlook"]))
def schema(name):
    """Print the JSON Schema of what a command prints with --json."""
    from advisor.messages.outlook_json import SCHEMAS

    click.echo(json.dumps(SCHEMAS[name], indent=2))
