"""The command `advisor`. Only click is imported here; commands import what they need when they run."""

from __future__ import annotations

import json
import os
import sys

import click

from advisor import __version__
from advisor.errors import AdvisorError, did_you_mean

#: command -> (module under advisor.cli, function)
_COMMANDS = {
    "init": ("init", "init"),
    "check": ("check", "check"),
    "outlook": ("outlook", "outlook"),
    "why": ("why", "why"),
    "notice": ("notice", "notice"),
    "mix": ("mix", "mix"),
    "start": ("start", "start"),
    "record": ("record", "record"),
    "records": ("records", "records"),
    "plan": ("plan", "plan"),
    "reschedule": ("reschedule", "reschedule"),
    "almanac": ("almanac", "almanac"),
    "review": ("review", "review"),
    "score": ("score", "score"),
    "calendar": ("calendar", "calendar"),
    "serve": ("serve", "serve"),
    "service": ("service", "service"),
    "doctor": ("doctor", "doctor"),
    "completion": ("completion", "completion"),
    "rules": ("rules", "rules"),
    "schema": ("schema", "schema"),
}


class _Group(click.Group):
    """Loads a command's module when the command is wanted."""

    def list_commands(self, ctx):
        return list(_COMMANDS)

    def get_command(self, ctx, name):
        if name not in _COMMANDS:
            return None
        module, function = _COMMANDS[name]
        return getattr(__import__(f"advisor.cli.{module}", fromlist=[function]), function)

    def resolve_command(self, ctx, args):
        if args and not args[0].startswith("-") and args[0] not in _COMMANDS:
            ctx.fail(f'There is no command "{args[0]}": {did_you_mean(args[0], _COMMANDS)}')
        return super().resolve_command(ctx, args)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, "--version", message="advisor %(version)s")
def cli():
    """Tells when a labelled lawn treatment may go ahead, and why not.

    \b
    A first look:   advisor init --latitude 41.6 --longitude -93.6 --home my-lawn
                    advisor check --home my-lawn
                    advisor outlook --home my-lawn
    Exit codes: 0 done, 2 wrong usage, 3 no-go and 4 unknown (with --exit-code),
    5 invalid file, 6 no weather, 7 not delivered, 75 busy, 130 interrupted.
    """


def main() -> None:
    """Run the command line; expected errors are one clear message, never a traceback."""
    wants_json = "--json" in sys.argv
    try:
        cli.main(standalone_mode=False)
    except click.exceptions.Abort:
        sys.exit(130)
    except KeyboardInterrupt:
        sys.exit(130)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as error:
        if wants_json:
            _print_error("usage", error.format_message(), "", "")
        else:
            error.show(file=sys.stderr)
        sys.exit(2)
    except AdvisorError as error:
        if wants_json:
            first = error.problems[0]
            _print_error(error.code, str(error), first.hint, first.where)
        else:
            click.echo(f"advisor: {error}", err=True)
        sys.exit(error.exit_status)
    except BrokenPipeError:
        # the reader has closed the pipe: end quietly, and keep the interpreter from complaining at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)


def _print_error(code: str, message: str, hint: str, where: str) -> None:
    click.echo(
        json.dumps(
            {"error": {"code": code, "message": message, "hint": hint, "where": where}}, ensure_ascii=False
        )
    )
