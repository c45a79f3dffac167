"""`advisor init`: a commented household folder to start from."""

from __future__ import annotations

import sys

import click

from advisor.cli.options import find_home
from advisor.errors import AdvisorError, UsageError

_SUCH_TURF = 'such as "Kentucky bluegrass" (several with commas)'
_SUCH_CONTACT = "such as a mail address (may stay empty)"


@click.command(
    epilog="Example: advisor init --home my-lawn --latitude 41.6 --longitude -93.6   See also: advisor check"
)
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder to write.")
@click.option("--latitude", type=float, help="Degrees, north positive.")
@click.option("--longitude", type=float, help="Degrees, east positive.")
@click.option("--units", type=click.Choice(["us", "metric"]), default=None, help="Units to read and write.")
@click.option("--name", help="What the household is called.")
@click.option("--area-size", metavar="SIZE", help='Size of the lawn, such as "5000 ft^2".')
@click.option("--turf", multiple=True, help="A turf species of the lawn; give it once for each.")
@click.option("--contact", help="An address for weather services to write to if something goes wrong.")
@click.option("--overwrite", is_flag=True, help="Write over files that are there already.")
def init(home, latitude, longitude, units, name, area_size, turf, contact, overwrite):
    """Write a household folder with every key explained; asks for what is not given."""
    from advisor.household import InitAnswers, write_new

    given = {
        "latitude": _ask(latitude, "Latitude in degrees, north positive", "--latitude", _degrees(90.0)),
        "longitude": _ask(longitude, "Longitude in degrees, east positive", "--longitude", _degrees(180.0)),
        "units": _ask(units, "Units, us or metric", "--units", click.Choice(["us", "metric"]), "us"),
        "name": _ask(name, "A name for the household", "--name", default="Our lawn"),
        "area_size": _ask(area_size, 'Size of the lawn, such as "5000 ft^2"', "--area-size", _size),
        "turf": turf or _ask(None, f"Turf species of the lawn, {_SUCH_TURF}", "--turf", _species),
        "contact": _ask(contact, f"A contact for weather services, {_SUCH_CONTACT}", "--contact", default=""),
    }
    folder = find_home(home)
    written = write_new(folder, InitAnswers(**given), overwrite=overwrite)
    for path in written:
        click.echo(f"wrote {path}")
    for line in (folder / "lawn.toml").read_text(encoding="utf-8").splitlines():
        if line.startswith("time_zone"):
            click.echo(f"time zone of these coordinates: {line.split('=')[1].split('#')[0].strip()}")
    click.echo(f"Next: copy your product's label into {folder}/labels, then: advisor check --home {folder}")


def _ask(value, question, flag, kind=str, default=None):
    """What was given, else what the person at the terminal answers; a wrong answer is asked again at once."""
    if value is not None:
        return value
    if sys.stdin.isatty():
        reads = {"type": kind} if isinstance(kind, click.ParamType) else {"value_proc": _answered(kind)}
        return click.prompt(question, default=default, **reads)
    if default is None:
        raise UsageError(f"{flag} is missing and nobody is there to be asked", hint=f"add {flag}")
    return default


def _answered(read):
    """`read`, whose errors make the question be asked again."""

    def reads(text: str):
        try:
            return read(text.strip())
        except AdvisorError as error:
            raise click.UsageError(": ".join(part for part in (error.what, error.hint) if part)) from error

    return reads


def _degrees(most: float):
    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not -most <= value <= most:
            raise UsageError(f'"{text}" is not a number of degrees from {-most:g} to {most:g}')
        return value

    return read


def _size(text: str) -> str:
    from advisor import units

    if not units.parse(text, "area") > 0.0:
        raise UsageError(f'a lawn of "{text}" has no size')
    return text


def _species(text: str) -> tuple[str, ...]:
    from advisor.household.turf import canonical_name, suggestion

    names = tuple(one.strip() for one in text.split(",") if one.strip())
    for name in names:
        if canonical_name(name) is None:
            raise UsageError(f'"{name}" is not a turf species that is known here', hint=suggestion(name))
    if not names:
        raise UsageError("a lawn has at least one species")
    return names
