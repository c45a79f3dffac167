"""`advisor serve`: the service in the foreground."""

from __future__ import annotations

import sys

import click

from advisor.cli.options import find_home, instant
from advisor.errors import UsageError


@click.command(epilog="Example: advisor serve --home my-lawn   See also: advisor notice, advisor check")
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
@click.option("--all", "lawns", metavar="DIR",
              help="All lawns in DIR in one process, with one notice and one page of the round.")  # fmt: skip
@click.option("--heartbeat", type=click.FloatRange(1.0, 3600.0), default=300.0, show_default=True, metavar="SECONDS",
              help="Time between two looks at what is due.")  # fmt: skip
@click.option(
    "--clock",
    metavar="T@RATE",
    help='For demonstrations: begin at T and run RATE times as fast, "2026-09-21T12:00Z@3600".',
)
@click.option("--for-hours", type=float, metavar="HOURS", help="End after so many hours of its clock.")
@click.option("--port", type=click.IntRange(0, 65535), metavar="PORT",
              help="Where the page listens; 0 takes a free one.  [default: 8642, or a free one]")  # fmt: skip
@click.option("--host", default="127.0.0.1", show_default=True, metavar="ADDRESS",
              help="On which address; any but this computer's own needs --word-file.")  # fmt: skip
@click.option("--host-name", "names", multiple=True, metavar="NAME",
              help="A name by which other computers ask for the page; once for each.")  # fmt: skip
@click.option("--word-file", type=click.Path(dir_okay=False), metavar="FILE",
              help="A file (mode 600) with the word that visitors of the page must give.")  # fmt: skip
@click.option("--page/--no-page", default=True, help="Whether to show the page at all.")
def serve(home, lawns, heartbeat, clock, for_hours, port, host, names, word_file, page):
    """Run the service: pull the forecast when due, decide, send each due notice once, and show the page.

    One process in the foreground. SIGTERM ends it cleanly, SIGHUP reads the files again. The page's address stands in
    the line page_opened of the log.
    """
    import threading

    from advisor.service.health import Health
    from advisor.service.household import HouseholdService
    from advisor.service.log import configure
    from advisor.service.serve import serve as run

    configure(sys.stderr)
    its_clock, stop = _clock(clock), threading.Event()
    if for_hours is not None:
        timer = threading.Timer(for_hours * 3600.0 / its_clock.rate, stop.set)
        timer.daemon = True
        timer.start()
    where = {"host": host, "port": port, "names": names}
    if page:
        from advisor.web.word import read_word

        where["word"] = None if word_file is None else read_word(word_file)
    if lawns is not None:
        raise click.exceptions.Exit(_serve_all(lawns, its_clock, heartbeat, stop, where if page else None))
    folder = find_home(home)
    service = HouseholdService.open(folder)
    health, beside = Health(), []
    if page:
        from advisor.web import open_page

        beside.append(open_page(service, its_clock, health, **where))
    plan = service.plan()
    status = run(service.database, folder / "advisor.lock", its_clock, heartbeat, plan.schedule, service.pull,
                 service.decide, plan.channels, service.reload, occasions=service.occasions, keep=service.kept_for,
                 health=health, beside=beside, stop=stop)  # fmt: skip
    raise click.exceptions.Exit(status)


def _serve_all(lawns: str, clock, heartbeat: float, stop, where: dict | None) -> int:
    """All lawns and the round over them; `where` is where the pages listen, None without pages."""
    from pathlib import Path

    from advisor.service.round import RoundService
    from advisor.service.serve import serve_parts

    service = RoundService.open(Path(lawns))
    parts, beside = service.parts(), []
    if where is not None:
        from advisor.web import Desks, open_desks

        # The last part is that of the round itself, which has no pages of its own.
        desks = Desks.of_round(service, clock, [part.health for part in parts[:-1]])
        beside.append(open_desks(desks, **where))
    return serve_parts(parts, clock, heartbeat, beside=beside, stop=stop)


def _clock(text: str | None):
    from advisor.service.clocks import FastClock, RealClock

    if text is None:
        return RealClock()
    start, _, rate = text.rpartition("@")
    try:
        return FastClock(instant(start, "--clock"), float(rate))
    except ValueError as error:
        raise UsageError(
            f'--clock "{text}" is not a time and a rate', hint='write it like "2026-09-21T12:00Z@3600"'
        ) from error
