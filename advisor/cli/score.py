"""`advisor score`: how good the forecasts of this site were, by lead time."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import click

from advisor.errors import UsageError

#: kept reports of a station stand under this name
STATION = "nws-observations"
#: how far back kept forecasts are looked at [days]
_LOOK_BACK = 365


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


def kept_pairs(folder: Path, household, now: datetime):
    """(pairs by variable, where the observations come from): of the database, else of the household's history file."""
    database = folder / "advisor.db"
    if database.exists():
        tables, truth = _from_database(database, household, now)
        if tables:
            return tables, truth
    from advisor.score.kept import FILE_NAME, parse_history

    path = folder / FILE_NAME
    if not path.is_file():
        return {}, ""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"cannot be read: {error}", where=str(path)) from error
    invented = any("invented" in line.lower() for line in text.splitlines() if line.startswith("#"))
    return parse_history(
        text, FILE_NAME
    ), f"{'the invented history' if invented else 'the history'} in {FILE_NAME}"


def _from_database(database: Path, household, now: datetime):
    """Pairs of the first source that has kept answers, against reports of a station, else what later answers say of
    hours that were past by then."""
    from math import inf

    from advisor.clock import to_numpy
    from advisor.errors import AdvisorError
    from advisor.quality import control
    from advisor.review.observed import MEASURED, PAST_HOURS, Part, merge
    from advisor.score.kept import from_forecasts
    from advisor.sources import nws_observations, read_answer
    from advisor.sources.reading import read_document
    from advisor.store import Store, payloads
    from advisor.weather import site_key

    site, since, until = household.site, now - timedelta(days=_LOOK_BACK), now + timedelta(seconds=1)
    kept, measured = [], []
    with Store.open_readonly(database) as store:
        for name in household.settings.sources:
            for answer in _first_of_each_day(payloads.between(store, name, site_key(site), since, until)):
                try:
                    forecast = read_answer(
                        answer.body,
                        fetched_at=answer.fetched_at,
                        latitude=site.latitude,
                        longitude=site.longitude,
                    )
                except AdvisorError:
                    continue
                kept.append((control(forecast, now, inf), answer.fetched_at))
            if kept:
                break
        for answer in payloads.between(store, STATION, site_key(site), since, until):
            try:
                reports = nws_observations.hourly(
                    nws_observations.read_observations(read_document(answer.body))
                )
            except AdvisorError:
                continue
            measured.append(Part(control(reports, now, inf), MEASURED, answer.fetched_at))
    # the newest first: what came later knows better
    parts = measured[::-1] + [Part(forecast, PAST_HOURS, fetched) for forecast, fetched in kept[::-1]]
    first = to_numpy(since, "h")
    seen = merge(parts, first, int((to_numpy(now, "h") - first).astype(int)))
    kinds = dict.fromkeys(part.kind for part in parts)
    return from_forecasts([forecast for forecast, _ in kept], seen.forecast), " and ".join(kinds)


def _first_of_each_day(answers):
    """A forecast a day is enough to score, and its past hours reach back over the day before."""
    found = {}
    for answer in answers:
        found.setdefault(answer.fetched_at.date(), answer)
    return list(found.values())
