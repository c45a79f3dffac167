"""The command `advisor`. Only click is imported here; commands import what they need when they run."""

from __future__ import annotations

import json
import os
import sys
from textwrap import shorten
from typing import NoReturn

import click

from advisor import __version__
from advisor.errors import AdvisorError, did_you_mean

#: command -> (module under advisor.cli, function)
_COMMANDS = {
    "init": ("init", "init"),
    "check": ("check", "check"),
    "outlook": ("outlook", "outlook"),
    "batch": ("batch", "batch"),
    "why": ("why", "why"),
    "notice": ("notice", "notice"),
    "mix": ("mix", "mix"),
    "start": ("start", "start"),
    "record": ("record", "record"),
    "records": ("records", "records"),
    "backup": ("backup", "backup"),
    "restore": ("backup", "restore"),
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
    "sources": ("sources", "sources"),
    "replay": ("replay", "replay"),
    "rules": ("rules", "rules"),
    "schema": ("schema", "schema"),
}

#: what --help says of each command, so that it loads none: the first sentence of the command's own help
_SAYS = {
    "init": "Write a household folder with every key explained; asks for what is not given.",
    "check": "Check the household's files and rules: errors, blank label fields, and what is not stated.",
    "outlook": "Tell for each coming day: go, no-go or unknown, when to start, and what decides.",
    "batch": "Tell for many sites and each coming day: go, no-go or unknown, and the best start.",
    "why": 'Argue why DAY (a date, "today" or "tomorrow") is a go, a no-go or unknown.',
    "notice": "Show or send the notice of this moment, or test a channel.",
    "mix": "Product, water and adjuvant for each tank load and in all, area by area.",
    "start": "Judge a start now by what was measured and seen in the last 15 minutes.",
    "record": "Record a pass.",
    "records": "List the passes that were made, oldest first; --json and --format csv for programs.",
    "backup": "Copy records, notices and kept answers into one file, also while the service runs, and check "
    "the copy.",
    "restore": "Go back to a backup: check it, keep the present ledger aside, and put it in its place in one "
    "step.",
    "plan": "Tell where each sequence stands, what the label leaves of its year, and what has to "
    "rest around a pass.",
    "reschedule": "Find the passes that are overdue and list what can be done, ranked; --choose changes "
    "the plan.",
    "almanac": "Tell how often a day has a window, by week and hour, what closes days, and how long one "
    "waits.",
    "review": "Hold the weather that came against the limits, look at the weeds, and say what it means "
    "for the follow-up.",
    "score": "Score the kept forecasts of the site against what then came, the raw forecast and the climate.",
    "calendar": "Windows, the chosen day, follow-ups, looks at the weeds and postings as an iCalendar file.",
    "serve": "Run the service: pull the forecast when due, decide, send each due notice once, and "
    "show the page.",
    "service": "Print a systemd unit, or look whether the service lives.",
    "doctor": "Look at files, rules, database, sources, clock, scheduler and channels: one line each, "
    "with the fix.",
    "completion": "Print the script that lets SHELL complete commands and options; nothing is asked of the "
    "network.",
    "sources": "Name the weather sources in their order: credit, licence, terms, what is asked of each, "
    "and the newest answer.",
    "replay": "Make the verdict of a notice again from its evidence: weather, files, rules and ledger "
    "as they stood.",
    "rules": "List, show, lint and test the rules; own files in the household's rules/ overlay the "
    "shipped ones by id.",
    "schema": "Print the JSON Schema of what a command prints with --json.",
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

    def format_commands(self, ctx, formatter):
        """The list of commands in --help, from `_SAYS`; a command that is not there is loaded."""
        room = formatter.width - 6 - max(map(len, _COMMANDS))
        rows = []
        for name in _COMMANDS:
            says = _SAYS.get(name) or self.get_command(ctx, name).get_short_help_str(1000)
            rows.append((name, shorten(says, room, placeholder="...")))
        with formatter.section("Commands"):
            formatter.write_dl(rows)

    def resolve_command(self, ctx, args):
        if args and not args[0].startswith("-") and args[0] not in _COMMANDS:
            ctx.fail(f'There is no command "{args[0]}": {did_you_mean(args[0], _COMMANDS)}')
        return super().resolve_command(ctx, args)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--debug", is_flag=True, expose_value=False, help="Show where an unexpected fault comes from.")
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
    try:
        # without standalone mode click hands the status of an Exit back
        status = cli.main(standalone_mode=False)
        sys.stdout.flush()
    except (click.exceptions.Abort, KeyboardInterrupt):
        sys.exit(130)
    except click.ClickException as error:
        if "--json" in sys.argv:
            _print_error("usage", error.format_message(), "", "")
        else:
            error.show(file=sys.stderr)
        sys.exit(2)
    except AdvisorError as error:
        _tell(error.code, str(error), error.problems[0].hint, error.problems[0].where)
        sys.exit(error.exit_status)
    except SystemExit:
        # click turns a closed pipe into an exit of its own, and wraps the stream so that it bears another flush
        if not type(sys.stdout).__name__.endswith("PacifyFlushWrapper"):
            raise
        _end_quietly()
    except BrokenPipeError:
        _end_quietly()
    except Exception as error:
        if "--debug" in sys.argv:
            raise
        what = f"unexpected fault: {type(error).__name__}: {error}"
        _tell("fault", what, "this is a fault of the program; `advisor --debug ...` shows where", "")
        sys.exit(1)
    sys.exit(status if isinstance(status, int) else 0)


def _end_quietly() -> NoReturn:
    """The reader has closed the pipe; keep the interpreter from complaining at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    sys.exit(0)


def _tell(code: str, message: str, hint: str, where: str) -> None:
    """An error where its reader looks for it: JSON on standard output when that was asked for, else words."""
    if "--json" in sys.argv:
        _print_error(code, message, hint, where)
        return
    click.echo(f"advisor: {message}", err=True)
    if code == "fault":
        click.echo(f"    {hint}", err=True)


def _print_error(code: str, message: str, hint: str, where: str) -> None:
    click.echo(
        json.dumps(
            {"error": {"code": code, "message": message, "hint": hint, "where": where}}, ensure_ascii=False
        )
    )
