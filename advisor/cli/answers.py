"""Reading what people type: quantities, directions and local times, from an option or by asking."""

from __future__ import annotations

import functools
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from advisor.compass import POINTS, degrees_of
from advisor.errors import UsageError


def sub_options(command):
    """--home, --now and --json of a subcommand, which may also stand before it; handed over as one `Common`."""

    @click.option("--home", metavar="DIR", help="The household folder.")
    @click.option("--now", metavar="T", help="Pretend that it is this time.")
    @click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
    @click.pass_obj
    @functools.wraps(command)
    def wrapped(common, home, now, as_json, **rest):
        from advisor.cli.options import instant

        changes = {} if home is None else {"home": Path(home)}
        if now is not None:
            changes["now"] = instant(now, "--now")
        return command(replace(common, as_json=common.as_json or as_json, **changes), **rest)

    return wrapped


def somebody_is_there() -> bool:
    """Whether questions can be asked."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def quantity(text: str | None, dimension: str, flag: str) -> float | None:
    """A quantity with its unit in the canonical one; None stays None."""
    from advisor.units import UnitError, parse

    if text is None:
        return None
    try:
        return parse(text, dimension)
    except UnitError as error:
        hint = error.problems[0].hint
        raise UsageError(f"{flag}: {error.problems[0].what}", hint=hint) from error


def product_amount(text: str | None, formulation: str | None, flag: str = "--amount") -> float | None:
    """Product by volume [mL] for a liquid, by weight [g] otherwise; "unknown" is None."""
    from advisor.units import UnitError, parse

    if text is None or text.strip().casefold() == "unknown":
        return None
    kinds = (
        ("volume", "mass") if formulation is None else (("volume",) if formulation == "liquid" else ("mass",))
    )
    problem = None
    for dimension in kinds:
        try:
            return parse(text, dimension)
        except UnitError as error:
            problem = problem or error
    such = '"4.8 floz"' if kinds[0] == "volume" else '"2.7 kg"'
    raise UsageError(f"{flag}: {problem.problems[0].what}",
                     hint=f"write the product with its unit, such as {such}, or unknown") from problem  # fmt: skip


def moment(text: str | None, zone: ZoneInfo, flag: str) -> datetime | None:
    """A time; without a zone it is the site's own wall time. One that the clock shows twice must name its offset."""
    if text is None:
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            f'{flag} "{text}" is not a date and time', hint='write it like "2026-09-25 16:05"'
        ) from error
    if len(text.strip()) <= 10:
        raise UsageError(f'{flag} "{text}" has no time of day', hint=f'write "{text.strip()} 16:05"')
    if found.tzinfo is not None:
        return found.astimezone(UTC)
    wall = found.replace(tzinfo=zone)
    if wall.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != found:
        raise UsageError(f'{flag} "{text}" does not exist: the clock skips it', hint="check the time")
    if wall.utcoffset() != wall.replace(fold=1).utcoffset():
        raise UsageError(f'{flag} "{text}" happens twice: the clock goes back over it',
                         hint=f'write the offset as well, such as "{wall.isoformat()}"')  # fmt: skip
    return wall.astimezone(UTC)


def direction(text: str | None, flag: str) -> float | None:
    """Degrees true from "SSW" or "200 deg"."""
    if text is None:
        return None
    word = text.strip().upper()
    if word in POINTS:
        return degrees_of(word)
    try:
        degrees = quantity(text, "angle", flag)
    except UsageError as error:
        raise UsageError(f'{flag} "{text}" is not a direction', hint='write "SSW" or "200 deg"') from error
    if not 0.0 <= degrees <= 360.0:
        raise UsageError(f"{flag}: {degrees:g} degrees is outside 0 to 360", hint='write "SSW" or "200 deg"')
    return degrees % 360.0


def ask(question: str, default: str | None = None) -> str:
    return click.prompt(question, default=default, err=True)


def ask_yes_no(question: str) -> bool | None:
    """Yes, no, or None for "I do not know"."""
    answer = click.prompt(f"{question} [yes/no/?]", type=click.Choice(["yes", "y", "no", "n", "?"]),
                          show_choices=False, err=True)  # fmt: skip
    return {"y": True, "n": False}.get(answer[0])


def stored_past(common, household):
    """(a stored answer, until when it tells what happened), after quality control without regard to its age.

    An answer that does not say its own time is taken as fetched now, and that cannot be where it holds no hour of now.
    """
    import math

    from advisor.cli.scene import place_household, read_stored
    from advisor.clock import to_numpy
    from advisor.forecast import AGE_ASSUMED
    from advisor.quality import control

    forecast = read_stored(common.weather, common)
    place_household(household, forecast, common)
    provenance = forecast.provenance
    if (
        AGE_ASSUMED in provenance.notes
        and not 0 <= forecast.index(to_numpy(common.now, "h")) < forecast.hours
    ):
        raise UsageError("the stored answer does not say when it was fetched, and does not hold the present hour",
                         where=str(common.weather), hint="add --fetched-at")  # fmt: skip
    asked = provenance.fetched_at or provenance.issued_at or common.now
    return control(forecast, common.now, math.inf), min(asked, common.now)
