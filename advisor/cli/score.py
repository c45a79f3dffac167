"""`advisor score`: how good the forecasts of this site were, by lead time."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import click

from advisor.errors import UsageError


@click.command(
    epilog="Example: advisor score --picture score.svg   See also: advisor outlook, advisor review"
)
@click.option("--home", metavar="DIR", envvar="ADVISOR_HOME", help="The household folder.")
@click.option("--now", metavar="T", help='Pretend that it is this time, such as "2026-09-21T12:00Z".')
@click.option("--units", "system", type=click.Choice(["us", "metric"]), help="Print in these units.")
@click.option(
    "--picture", metavar="FILE", type=click.Path(path_type=Path), help="Write the picture too, as SVG."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def score(home, now, system, picture, as_json):
    """Score the kept forecasts of the site against what then came, the raw forecast and the climate."""
    from advisor.cli.options import find_home, instant
    from advisor.household import load
    from advisor.score.kept import FILE_NAME
    from advisor.score.picture import score_picture
    from advisor.score.report import make_score
    from advisor.score.text import score_object, score_text
    from advisor.weather.kept_pairs import kept_pairs

    folder = find_home(home)
    household = load(folder)
    moment = instant(now, "--now") or datetime.now(UTC)
    tables, truth = kept_pairs(folder, household, moment)
    found = make_score(tables, household.name, truth)
    if found.empty:
        raise UsageError(
            "no forecast is kept yet whose time has come",
            where=str(folder / "advisor.db"),
            hint=f"keep `advisor serve` running for some days, or put a {FILE_NAME} into the household folder",
        )
    system = system or household.units
    if picture is not None:
        try:
            picture.write_text(score_picture(found, system), encoding="utf-8")
        except OSError as error:
            raise UsageError(
                f"the picture cannot be written: {error.strerror}", where=str(picture)
            ) from error
    if as_json:
        click.echo(json.dumps(score_object(found), ensure_ascii=False, allow_nan=False))
    else:
        click.echo(score_text(found, system))
