"""One pull: everything that a household's weather is made of, asked for in turn; nothing of it stops the rest.

=================  ===========================================================================================
forecast           the household's sources in order, until one gives a good answer: readable, of the place, not
                   stale, and with temperature, wind and rain known for the present hour. Where none is good, the
                   last good one counts until it is too old; after that one that is readable
cross-check        the second source, where the household names one
ensemble           each model by itself, so that one that fails takes no other with it
warnings           where a source in use offers them
observations       stations near the place, where a source in use offers them
=================  ===========================================================================================
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from datetime import datetime

from advisor.clock import to_numpy
from advisor.errors import Problem, SourceUnreachable, WeatherError
from advisor.forecast import REASON_TEXT, Forecast, Reason
from advisor.model import Household
from advisor.quality import control
from advisor.sources import SOURCES, distance_km, read_answer, source
from advisor.sources.nws import points_request
from advisor.sources.nws_alerts import alerts_request, read_alerts
from advisor.sources.nws_observations import (
    Report,
    observations_request,
    read_observations,
    read_stations,
    stations_request,
)
from advisor.sources.openmeteo import NAME as OPEN_METEO
from advisor.sources.openmeteo import ensemble_request
from advisor.sources.reading import read_document
from advisor.store import Store
from advisor.transport import ask, new_session
from advisor.variables import VARIABLES
from advisor.warnings_in_force import asked_for, offering
from advisor.weather.answers import (
    REPORTS,
    Answers,
    Failure,
    Kept,
    newest_of,
    poor,
    read_note,
    refused,
    site_key,
    write_note,
)
from advisor.weather.asking import Asker, says

#: without one of these at the present hour an answer is of little use
CORE = ("air_temperature", "wind_speed_10m", "precipitation")
#: a station farther than this measures other weather [km]; and the most stations that are asked. Common practice, no
#: source.
FARTHEST_STATION, MOST_STATIONS = 40.0, 2
#: reports asked of a station: two days of hourly ones with the special ones between them
REPORTS_ASKED = 60
#: hours of the last day that the nearest station must have for the next one not to be asked
ENOUGH_HOURS = 20


def pull(household: Household, store: Store, now: datetime, **options) -> Answers:
    """Ask for everything, keep every answer, and leave a note of what counts from now on.

    Parameters
    ----------
    options
        For the transport: `session`, `timeout`, `deadline`, `body_limit`.

    Raises
    ------
    SourceUnreachable
        When no source gave a good forecast; the note is left all the same, and every reason is told.
    """
    session = options.pop("session", None)
    with ExitStack() as stack:
        session = session or stack.enter_context(new_session())
        asker = Asker(household, store, now, session, options)
        before = read_note(store, asker.key) or Answers()
        kept, failures = _forecast(asker, before)
        good = any(one.role == "forecast" and not _failed(failures, one.source) for one in kept)
        for part in (_cross_check, _ensembles, _warnings, _observations):
            for found in part(asker):
                if isinstance(found, Failure):
                    failures.append(found)
                    kept += [one for one in before.all(found.role) if one.source == found.source]
                else:
                    kept.append(found)
    answers = Answers(tuple(dict.fromkeys(kept)), tuple(failures))
    write_note(store, site_key(household.site), answers, now)
    if not good:
        problems = [Problem(one.says) for one in failures if one.role == "forecast"]
        hint = "the last kept answer counts until it is too old; ask again in a few minutes"
        raise SourceUnreachable("no weather source gave a usable answer", hint=hint, problems=problems)
    return answers


def _failed(failures: list[Failure], name: str) -> bool:
    return any(one.role == "forecast" and one.source == name for one in failures)


# -- the forecast


def _forecast(asker: Asker, before: Answers) -> tuple[list[Kept], list[Failure]]:
    failures: list[Failure] = []
    little: Kept | None = None
    for name in asker.household.settings.sources:
        found = _one_forecast(asker, name, "forecast")
        if isinstance(found, Kept) and found.role == "forecast":
            return [found], failures
        failures.append(Failure("forecast", name, _why_poor(asker, found) if isinstance(found, Kept) else found.says))
        if isinstance(found, Kept):
            little = little or found
    last = before.one("forecast")
    if last is None or last.source not in asker.household.settings.sources:
        last = _newest_good(asker)
    return [one for one in (last, little) if one is not None], failures


def _one_forecast(asker: Asker, name: str, role) -> Kept | Failure:
    """A good answer in that role, a poor one as "poor", or why there is none. Whatever came is kept."""
    site = asker.household.site
    try:
        answers = ask(
            name, site.latitude, site.longitude, contact=asker.household.settings.contact, kept=asker.kept,
            base=asker.base(name), now=asker.now, session=asker.session, **asker.options,
        )  # fmt: skip
    except WeatherError as error:
        return Failure(role, name, says(name, error))
    for leading in answers[:-1]:
        asker.keep(f"{name}:points", leading)
    answer = answers[-1]
    try:
        forecast = read_answer(
            answer.body, fetched_at=answer.fetched_at, latitude=site.latitude, longitude=site.longitude
        )
    except WeatherError as error:
        asker.keep(refused(name), answer)
        return Failure(role, name, says(name, error))
    lacking = lacks(control(forecast, asker.now), asker.now)
    if lacking:
        return Kept.of("poor", name, asker.keep(poor(name), answer))
    return Kept.of(role, name, asker.keep(name, answer), "; ".join(answer.warnings))


def lacks(forecast: Forecast, now: datetime) -> str:
    """Why a forecast after quality control is of little use at `now`; empty where it is good."""
    stale = next((flag.says for flag in forecast.flags if flag.check == "age"), "")
    if stale:
        return stale
    at = forecast.index(to_numpy(now, "h"))
    for name in CORE:
        known = forecast.fields[name].known[0].any(axis=0) if name in forecast.fields else None
        if known is None or not known[max(at, 0) : max(at + 2, 0)].any():
            why = forecast.reason(name)[0, 0]
            code = Reason(int(why[min(max(at, 0), len(why) - 1)]))
            return f"{VARIABLES[name].says}: {REASON_TEXT.get(code, 'it is not known now')}"
    return ""


def _why_poor(asker: Asker, found: Kept) -> str:
    forecast = control(read_answer(found.body, fetched_at=found.confirmed_at), asker.now)
    return f"{SOURCES[found.source].title}: the answer is of little use, {lacks(forecast, asker.now)}"


def _newest_good(asker: Asker) -> Kept | None:
    """The newest answer of any source that was kept before notes were."""
    names = asker.household.settings.sources
    found = newest_of(asker.store, asker.key, names, asker.now)
    return None if found is None else Kept.of("forecast", *found)


# -- what joins it


def _cross_check(asker: Asker) -> Iterator[Kept | Failure]:
    name = asker.household.settings.cross_check
    if name is None:
        return
    found = _one_forecast(asker, name, "cross-check")
    poor_one = isinstance(found, Kept) and found.role == "poor"
    yield Failure("cross-check", name, _why_poor(asker, found)) if poor_one else found


def _ensembles(asker: Asker) -> Iterator[Kept | Failure]:
    site = asker.household.site
    for model in asker.household.settings.ensemble:
        name = f"{OPEN_METEO}:{model}"
        try:
            answer = asker.fetch(ensemble_request(site.latitude, site.longitude, [model], base=asker.base(OPEN_METEO)))
        except WeatherError as error:
            yield Failure("ensemble", name, f"{says(OPEN_METEO, error)} (members of {model})")
            continue
        try:
            forecast = read_answer(
                answer.body, fetched_at=answer.fetched_at, latitude=site.latitude, longitude=site.longitude
            )
            if forecast.provenance.spread != "ensemble":
                raise WeatherError(f"the answer for {model} holds no members")
        except WeatherError as error:
            asker.keep(refused(name), answer)
            yield Failure("ensemble", name, f"{says(OPEN_METEO, error)} (members of {model})")
            continue
        yield Kept.of("ensemble", name, asker.keep(name, answer))


def _warnings(asker: Asker) -> Iterator[Kept | Failure]:
    settings, site = asker.household.settings, asker.household.site
    if asked_for(settings) != "missing":
        return
    name = offering(settings)
    try:
        answer = asker.fetch(alerts_request(site.latitude, site.longitude, base=asker.base(name)))
    except WeatherError as error:
        yield Failure("warnings", name, says(name, error))
        return
    try:
        read_alerts(read_document(answer.body))
    except WeatherError as error:
        asker.keep(refused(f"{name}:warnings"), answer)
        yield Failure("warnings", name, says(name, error))
        return
    yield Kept.of("warnings", name, asker.keep(f"{name}:warnings", answer))


def _observations(asker: Asker) -> Iterator[Kept | Failure]:
    settings = asker.household.settings
    name = offering(settings, "observations")
    if not settings.observations or name is None:
        return
    try:
        stations = _stations(asker, name)
    except WeatherError as error:
        yield Failure("observations", name, f"{says(name, error)} (measured hours)")
        return
    for identifier in stations:
        try:
            answer = asker.fetch(observations_request(identifier, limit=REPORTS_ASKED, base=asker.base(name)))
        except WeatherError as error:
            yield Failure("observations", name, f"{says(name, error)} (station {identifier})")
            continue
        try:
            reports = read_observations(read_document(answer.body))
        except WeatherError as error:
            asker.keep(refused(REPORTS), answer)
            yield Failure("observations", name, f"{says(name, error)} (station {identifier})")
            continue
        yield Kept.of("observations", name, asker.keep(REPORTS, answer))
        if _has_enough(reports, asker.now):
            return


def _stations(asker: Asker, name: str) -> list[str]:
    """Identifiers of the nearest stations that are near enough."""
    site, base = asker.household.site, asker.base(name)
    lead = source(name).lead_hours
    points = asker.fetch(points_request(site.latitude, site.longitude, base=base), lead)
    asker.keep(f"{name}:points", points)
    listed = asker.fetch(stations_request(read_document(points.body), base=base), lead)
    asker.keep(f"{name}:stations", listed)
    ranked = sorted(
        (distance_km(site.latitude, site.longitude, one.latitude, one.longitude), one.identifier)
        for one in read_stations(read_document(listed.body))
    )
    near = [identifier for away, identifier in ranked if away <= FARTHEST_STATION][:MOST_STATIONS]
    if not near:
        raise WeatherError(f"no station lies within {FARTHEST_STATION:g} km of the site")
    return near


def _has_enough(reports: tuple[Report, ...], now: datetime) -> bool:
    """Whether a station has measured through the last day, so that the next one is not needed."""
    hours = {
        report.at.replace(minute=0, second=0, microsecond=0)
        for report in reports
        if {"air_temperature", "wind_speed_10m"} <= report.values.keys() and (now - report.at).total_seconds() < 86400
    }
    return len(hours) >= ENOUGH_HOURS
