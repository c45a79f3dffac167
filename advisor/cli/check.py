"""`advisor check`: is the household folder complete, and what was understood?"""

from __future__ import annotations

import json

import click

from advisor.cli.options import common_options
from advisor.errors import InvalidFile


@click.command(epilog="Example: advisor check --home my-lawn   See also: advisor init, advisor rules lint")
@common_options
def check(common):
    """Check the household's files and rules: errors, blank label fields, and what is not stated."""
    from advisor.household import check as check_folder
    from advisor.rule_files import load_rules

    report = check_folder(common.home, now=common.now)
    problems = list(report.errors)
    try:
        rules = load_rules(common.home / "rules")
    except InvalidFile as error:
        problems.extend(error.problems)
    if common.as_json:
        told = (("errors", problems), ("warnings", report.warnings), ("notes", report.notes))
        listed = {
            name: [{"what": p.what, "where": p.where, "hint": p.hint} for p in rows] for name, rows in told
        }
        click.echo(
            json.dumps(
                {
                    "schema": "advisor.check/1",
                    "ok": not problems,
                    **listed,
                    "understood": list(report.understood),
                },
                ensure_ascii=False,
            )
        )
        raise click.exceptions.Exit(InvalidFile.exit_status if problems else 0)
    if problems:
        raise InvalidFile(
            f"{common.home} has {len(problems)} error{'s' if len(problems) > 1 else ''}", problems=problems
        )
    for line in report.understood:
        click.echo(line)
    for title, rows in (
        ("To do before any go:", report.warnings),
        ("Not stated, and what that costs:", report.notes),
    ):
        if rows:
            click.echo(f"\n{title}")
            for row in rows:
                click.echo(f"  {row}")
    click.echo(f"\n{len(rules.rules)} rules are valid (version {rules.version}).")
