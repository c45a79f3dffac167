"""Weather for a household: asking its sources, keeping what they say, and putting it together.

=============  ===========================================================================================
answers        kept answers and what they are for; the note that a pull leaves
asking         one question to one provider
pulling        one pull of everything
past           measured hours and past hours of earlier answers
assembling     kept answers to the forecast that verdicts rest on, without any asking
=============  ===========================================================================================
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from advisor.errors import SourceUnreachable, WeatherError
from advisor.forecast import Forecast
from advisor.model import Household
from advisor.sources import read_answer
from advisor.store import Store
from advisor.store.payloads import Payload
from advisor.weather.answers import Answers, Failure, Kept, newest_of, read_note, site_key
from advisor.weather.assembling import HouseholdWeather, assemble, of_file
from advisor.weather.past import known_past

__all__ = [
    "Answers",
    "Failure",
    "HouseholdWeather",
    "Kept",
    "assemble",
    "current",
    "gather",
    "newest",
    "obtain",
    "of_file",
    "pull",
    "site_key",
]


def pull(household: Household, store: Store, now: datetime, **options) -> Answers:
    """Ask for everything and keep it, see `advisor.weather.pulling`; what asks servers is loaded only here."""
    from advisor.weather.pulling import pull as ask_for_everything

    return ask_for_everything(household, store, now, **options)


def gather(household: Household, store: Store, now: datetime) -> Answers:
    """Everything kept at `now` that the household's weather is made of."""
    key, names = site_key(household.site), household.settings.sources
    answers = read_note(store, key, now)
    kept = answers.all("forecast") if answers is not None else ()
    if answers is None or any(one.source not in names for one in kept):
        found = _newest_payload(household, store, now)
        forecast = () if found is None else (Kept.of("forecast", *found),)
        rest = () if answers is None else tuple(one for one in answers.kept if one.role != "forecast")
        answers = Answers((*forecast, *rest), () if answers is None else answers.failures)
    base = answers.one("forecast") or answers.one("poor")
    return replace(answers, past=known_past(household, store, _read(household, base), now))


def current(household: Household, store: Store, now: datetime) -> tuple[HouseholdWeather, Answers]:
    """The household's weather at `now` from what is kept, and what it was made of."""
    answers = gather(household, store, now)
    return assemble(household, answers, now), answers


def newest(household: Household, store: Store, until: datetime) -> tuple[Payload, Forecast] | None:
    """The newest good answer of any of the household's sources at `until`, read by itself."""
    found = _newest_payload(household, store, until)
    if found is None:
        return None
    site, payload = household.site, found[1]
    forecast = read_answer(
        payload.body, fetched_at=payload.confirmed_at, latitude=site.latitude, longitude=site.longitude
    )
    return payload, forecast


def obtain(household: Household, database: Path, now: datetime, *, offline: bool) -> HouseholdWeather:
    """The weather for a question asked now. Fresh enough kept answers are used; else the sources are asked; a failure
    falls back on what is kept.

    Raises
    ------
    SourceUnreachable
        When nobody answers and nothing is kept.
    """
    if offline:
        if database.exists():
            with Store.open_readonly(database) as store:
                weather, answers = current(household, store, now)
            if answers.one("forecast") or answers.one("poor"):
                return weather
        raise SourceUnreachable("no answer of a weather source is kept, and --offline forbids to ask one",
                                hint="leave out --offline, or add --weather FILE")  # fmt: skip
    database.parent.mkdir(parents=True, exist_ok=True)
    told: tuple[str, ...] = ()
    with Store.open(database) as store:
        try:
            pull(household, store, now)
        except WeatherError as error:
            weather, answers = current(household, store, now)
            if not (answers.one("forecast") or answers.one("poor")):
                raise
            told = (f"{error}\n  the newest kept answer is used",)
            return replace(weather, told=told)
        return current(household, store, now)[0]


def _newest_payload(household: Household, store: Store, until: datetime) -> tuple[str, Payload] | None:
    return newest_of(store, site_key(household.site), household.settings.sources, until)


def _read(household: Household, kept: Kept | None) -> Forecast | None:
    if kept is None:
        return None
    try:
        return read_answer(kept.body, fetched_at=kept.confirmed_at)
    except WeatherError:
        return None
