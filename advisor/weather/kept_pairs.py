"""Forecasts that were kept, paired with what then came: what a site's score is made from."""

from __future__ import annotations

from datetime import datetime, timedelta
from math import inf
from pathlib import Path

from advisor.clock import to_numpy
from advisor.errors import AdvisorError, UsageError
from advisor.model import Household
from advisor.quality import control
from advisor.review.observed import MEASURED, PAST_HOURS, Part, merge
from advisor.score.kept import FILE_NAME, from_forecasts, parse_history
from advisor.sources import nws_observations, read_answer
from advisor.sources.reading import read_document
from advisor.spread.pairs import Pairs
from advisor.store import Store, payloads
from advisor.weather.answers import site_key

#: kept reports of a station stand under this name
STATION = "nws-observations"
#: how far back kept forecasts are looked at [days]
_LOOK_BACK = 365


def kept_pairs(folder: Path, household: Household, now: datetime) -> tuple[dict[str, Pairs], str]:
    """(pairs by variable, where the observations come from): of the database, else of the household's history file."""
    database = folder / "advisor.db"
    if database.exists():
        tables, truth = pairs_of_database(database, household, now)
        if tables:
            return tables, truth
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


def pairs_of_database(database: Path, household, now: datetime):
    """Pairs of the first source that has kept answers, against reports of a station, else what later answers say of
    hours that were past by then."""
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
