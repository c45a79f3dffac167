"""`advisor rules`: what is measured, against which limit, from which source."""

from __future__ import annotations

import json
from pathlib import Path

import click

from advisor.cli.options import find_home
from advisor.errors import InvalidFile, UsageError, did_you_mean


@click.group(epilog="Example: advisor rules show nights")
def rules():
    """List, show, lint and test the rules; own files in the household's rules/ overlay the shipped ones by id."""


_home = click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


def _load(home):
    from advisor.rule_files import load_rules

    return load_rules(find_home(home) / "rules")


@rules.command("list")
@_home
@_json
def list_(home, as_json):
    """One line a rule: id, kind, and what it asks."""
    found = _load(home)
    if as_json:
        rows = [{"id": rule.id, "title": rule.title, "kind": rule.kind, "modes": list(rule.modes), "file": rule.path,
                 "own": rule.id in found.overlaid} for rule in found]  # fmt: skip
        click.echo(json.dumps({"schema": "advisor.rules/1", "version": found.version, "rules": rows}))
        return
    width = max(len(rule.id) for rule in found)
    for rule in found:
        mark = " (own)" if rule.id in found.overlaid else ""
        click.echo(f"{rule.id:<{width}}  {rule.kind:<6}  {rule.words['asks']}{mark}")


@rules.command("show")
@_home
@click.argument("rule_id", metavar="ID")
@click.option(
    "--units", "system", type=click.Choice(["us", "metric"]), default="us", help="Print in these units."
)
def show(home, rule_id, system):
    """Everything about one rule: span, limit, what the label may change, words and sources."""
    from advisor.messages.rule_text import rule_text

    found = _load(home).rules
    if rule_id not in found:
        raise UsageError(f'there is no rule "{rule_id}"', hint=did_you_mean(rule_id, found))
    click.echo(rule_text(found[rule_id], system))


@rules.command("lint")
@_home
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
def lint(home, paths):
    """Check rule files: every fault with file:line, what, why and what to write instead."""
    from advisor.rulebook.parse import parse_rule

    if not paths:
        found = _load(home)
        click.echo(f"{len(found.rules)} rules are valid (version {found.version}).")
        return
    problems = []
    for path in paths:
        try:
            parse_rule(path.read_text(encoding="utf-8"), str(path))
        except InvalidFile as error:
            problems.extend(error.problems)
        except (OSError, UnicodeDecodeError) as error:
            raise UsageError(f"cannot be read: {error}", where=str(path)) from error
    if problems:
        raise InvalidFile("the rule files are not valid", problems=problems)
    click.echo(f"{len(paths)} rule file{'s are' if len(paths) > 1 else ' is'} valid.")


@rules.command("test")
@_home
@click.argument("rule_ids", metavar="[ID]...", nargs=-1)
def test(home, rule_ids):
    """Run the examples that stand in the rule files."""
    from advisor.errors import Problem
    from advisor.rulebook.examples import run_examples

    found = _load(home).rules
    for rule_id in rule_ids:
        if rule_id not in found:
            raise UsageError(f'there is no rule "{rule_id}"', hint=did_you_mean(rule_id, found))
    problems, count = [], 0
    for rule_id in rule_ids or found:
        rule = found[rule_id]
        for outcome in run_examples(rule):
            count += 1
            if not outcome.kept:
                example = outcome.example
                what = f'example "{example.says}" expects {example.expect}, the rule says {outcome.found}'
                problems.append(Problem(what, f"{rule.path}:{example.line}"))
    if problems:
        raise InvalidFile(
            f"{len(problems)} of {count} examples do not come out as they say", problems=problems
        )
    click.echo(f"{count} examples of {len(rule_ids or found)} rules come out as they say.")
