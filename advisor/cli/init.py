"""`advisor init`: a commented household folder to start from."""

from __future__ import annotations

import sys

import click

from advisor.cli.options import find_home
from advisor.errors import UsageError


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

    def ask(value, question, flag, kind=str, default=None):
        if value is not None:
            return value
        if not sys.stdin.isatty():
            if default is not None:
                return default
            raise UsageError(f"{flag} is missing and nobody is there to be asked", hint=f"add {flag}")
        return click.prompt(question, type=kind, default=default)

    given = {
        "latitude": ask(latitude, "Latitude in degrees, north positive", "--latitude", float),
        "longitude": ask(longitude, "Longitude in degrees, east positive", "--longitude", float),
        "units": ask(units, "Units, us or metric", "--units", click.Choice(["us", "metric"]), "us"),
        "name": ask(name, "A name for the household", "--name", str, "Our lawn"),
        "area_size": ask(area_size, 'Size of the lawn, such as "5000 ft^2"', "--area-size"),
        "turf": turf or (ask(None, 'Turf species of the lawn, such as "Kentucky bluegrass"', "--turf"),),
        "contact": ask(
            contact,
            "A contact for weather services, such as a mail address (may stay empty)",
            "--contact",
            str,
            "",
        ),
    }
    folder = find_home(home)
    written = write_new(folder, InitAnswers(**given), overwrite=overwrite)
    for path in written:
        click.echo(f"wrote {path}")
    for line in (folder / "lawn.toml").read_text(encoding="utf-8").splitlines():
        if line.startswith("time_zone"):
            click.echo(f"time zone of these coordinates: {line.split('=')[1].split('#')[0].strip()}")
    click.echo(f"Next: copy your product's label into {folder}/labels, then: advisor check --home {folder}")
