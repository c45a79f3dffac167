"""`advisor serve`: the service in the foreground."""

from __future__ import annotations

import sys

import click

from advisor.cli.options import find_home, instant
from advisor.errors import UsageError


@click.command(epilog="Example: advisor serve --home my-lawn   See also: advisor notice, advisor check")
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
@click.option("--heartbeat", type=click.FloatRange(1.0, 3600.0), default=300.0, show_default=True, metavar="SECONDS",
              help="Time between two looks at what is due.")  # fmt: skip
@click.option(
    "--clock",
    metavar="T@RATE",
    help='For demonstrations: begin at T and run RATE times as fast, "2026-09-21T12:00Z@3600".',
)
@click.option("--for-hours", type=float, metavar="HOURS", help="End after so many hours of its clock.")
def serve(home, heartbeat, clock, for_hours):
    """Run the service: pull the forecast when due, decide, and send each due notice once.

    One process in the foreground. SIGTERM ends it cleanly, SIGHUP reads the files again.
    """
    import threading

    from advisor.service.household import HouseholdService
    from advisor.service.log import configure
    from advisor.service.serve import serve as run

    configure(sys.stderr)
    folder = find_home(home)
    service = HouseholdService.open(folder)
    its_clock = _clock(clock)
    stop = threading.Event()
    if for_hours is not None:
        timer = threading.Timer(for_hours * 3600.0 / its_clock.rate, stop.set)
        timer.daemon = True
        timer.start()
    plan = service.plan()
    status = run(service.database, folder / "advisor.lock", its_clock, heartbeat, plan.schedule, service.pull,
                 service.decide, plan.channels, service.reload, stop=stop)  # fmt: skip
    raise click.exceptions.Exit(status)


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
