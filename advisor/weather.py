"""Weather for a household: asking its sources in order, keeping the answers, and reading the newest kept one."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from advisor.errors import SourceUnreachable, WeatherError
from advisor.forecast import Forecast
from advisor.model import Household, Site
from advisor.sources import read_answer, source
from advisor.store import Store, payloads
from advisor.store.payloads import Payload
from advisor.transport import Archived, ask


def site_key(site: Site) -> str:
    """By which a site's answers are found again: its coordinates, as they are asked for."""
    return f"{site.latitude:.4f},{site.longitude:.4f}"


def pull(household: Household, store: Store, now: datetime, **options) -> Payload:
    """Ask the household's sources in order until one answers, and keep what it says.

    Raises
    ------
    SourceUnreachable
        When none of them gives a usable answer; every reason is told.
    """
    site, settings = household.site, household.settings
    key = site_key(site)
    reasons: list[WeatherError] = []
    for name in settings.sources:
        provider = source(name)
        base = (settings.source_hosts or {}).get(name)

        def kept(url: str, name=name) -> Archived | None:
            found = payloads.newest(store, name, key)
            return _archived(found) if found is not None and found.url == url else None

        try:
            answers = ask(
                name,
                site.latitude,
                site.longitude,
                contact=settings.contact,
                kept=kept,
                base=base,
                now=now,
                **options,
            )
            answer = answers[-1]
            # Only what can be read, and is of this place, is worth keeping as the newest answer.
            read_answer(
                answer.body, fetched_at=answer.fetched_at, latitude=site.latitude, longitude=site.longitude
            )
        except WeatherError as error:
            reasons.append(type(error)(f"{provider.title}: {error.what}", where=error.where, hint=error.hint))
            continue
        if answer.origin == "network":
            return payloads.add(store, source=name, site=key, url=answer.url, body=answer.body,
                                fetched_at=answer.fetched_at, status=answer.status, headers=answer.headers)  # fmt: skip
        found = payloads.newest(store, name, key)
        if answer.origin == "revalidated" and found is not None:
            payloads.confirm(store, found.id, answer.fetched_at)
        return payloads.newest(store, name, key)
    told = [problem for error in reasons for problem in error.problems]
    raise SourceUnreachable("no weather source gave a usable answer", problems=told)


def newest(household: Household, store: Store, until: datetime) -> tuple[Payload, Forecast] | None:
    """The newest kept answer of any of the household's sources at `until`, read."""
    site = household.site
    found = [payloads.newest(store, name, site_key(site), until=until) for name in household.settings.sources]
    kept = [payload for payload in found if payload is not None]
    if not kept:
        return None
    payload = max(kept, key=lambda one: one.confirmed_at)
    forecast = read_answer(
        payload.body, fetched_at=payload.confirmed_at, latitude=site.latitude, longitude=site.longitude
    )
    return payload, forecast


def obtain(
    household: Household, database: Path, now: datetime, *, offline: bool
) -> tuple[Forecast, list[str]]:
    """The forecast for a question asked now, and what a person should know of how it was come by.

    Fresh enough kept answers are used; else the sources are asked; a failure falls back on what is kept.

    Raises
    ------
    SourceUnreachable
        When nobody answers and nothing is kept.
    """
    if offline:
        if database.exists():
            with Store.open_readonly(database) as store:
                found = newest(household, store, now)
            if found is not None:
                return found[1], []
        raise SourceUnreachable("no answer of a weather source is kept, and --offline forbids to ask one",
                                hint="leave out --offline, or add --weather FILE")  # fmt: skip
    database.parent.mkdir(parents=True, exist_ok=True)
    told: list[str] = []
    with Store.open(database) as store:
        try:
            pull(household, store, now)
        except WeatherError as error:
            found = newest(household, store, now)
            if found is None:
                raise
            told.append(f"{error}\n  the newest kept answer is used")
        else:
            found = newest(household, store, now)
    return found[1], told


def _archived(payload: Payload) -> Archived:
    return Archived(payload.body, payload.confirmed_at, payload.url, payload.status, payload.headers)
