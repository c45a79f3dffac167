"""From kept answers to the forecast that verdicts rest on. Pure: the same answers always give the same forecast.

1. The forecast is read and controlled. One that is stale gives way to a poor one that is readable; without any there
   is an empty forecast, which is never a go and says what failed.
2. Ensembles are read model by model and pooled with equal weight; what they lack comes from the forecast, and so do
   the hours before they begin.
3. Past hours are replaced by measured ones.
4. The second source is laid beside it: what contradicts is not known.
5. Official warnings become an hourly series.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from advisor.agreement import cross_checked
from advisor.clock import to_numpy
from advisor.errors import WeatherError
from advisor.forecast import Field, Flag, Forecast, Reason, empty_forecast, extended
from advisor.measured_past import with_past
from advisor.model import Household, Settings
from advisor.quality import control
from advisor.sources import SOURCES, read_answer
from advisor.sources.nws_alerts import read_alerts
from advisor.sources.openmeteo_keys import within_horizon
from advisor.sources.reading import read_document
from advisor.spread import join, pool
from advisor.warnings_in_force import Warnings, asked_for, offering, with_warnings
from advisor.weather.answers import Answers, Failure, Kept
from advisor.weather.past import read_past

#: days for which there is always an answer, be it that nothing is known
DAYS_AHEAD = 8
NOTHING_YET = "no weather source has answered yet"


@dataclass(frozen=True, slots=True)
class HouseholdWeather:
    """The weather of a household at one moment.

    Attributes
    ----------
    forecast : Forecast
        After quality control, with its past, its members, its warnings; notes say how it was come by.
    used : tuple of Kept
        The answers it was made of.
    told : tuple of str
        What a person should know of how it was come by: faults, and what was used instead.
    """

    forecast: Forecast
    used: tuple[Kept, ...] = ()
    told: tuple[str, ...] = ()


def assemble(household: Household, answers: Answers, now: datetime) -> HouseholdWeather:
    """The household's weather at `now` from kept answers.

    Parameters
    ----------
    answers : Answers
        With the bytes of every answer.
    now : datetime
        Aware; ages count to it.
    """
    settings = household.settings
    forecast, used, told = _base(household, answers, now)
    forecast, members = _with_ensembles(household, forecast, answers, now)
    past = read_past(answers.past)
    if past is not None:
        forecast = with_past(forecast, past, now)
    forecast, second = _cross_checked(household, forecast, answers, now)
    listed = answers.one("warnings")
    forecast = with_warnings(forecast, warnings_of(settings, answers), now)
    asked = ("cross-check", "ensemble", "warnings", "observations")
    notes = [f"not had: {one.says}" for one in answers.failed(*asked)]
    notes += _terms(household, forecast)
    if notes:
        forecast = _noted(forecast, *notes)
    used = (*used, *members, *second, *((listed,) if listed else ()), *answers.all("observations"))
    told = (*told, *(one.says for one in answers.failed(*asked)))
    return HouseholdWeather(forecast, used, told)


def of_file(household: Household, forecast: Forecast, now: datetime) -> Forecast:
    """A stored answer as the weather: nothing else is asked, so that warnings that are asked for are not known."""
    settings = household.settings
    state = asked_for(settings)
    why = "the weather is a stored answer, which holds none (warnings = false leaves them out)"
    forecast = with_warnings(forecast, Warnings(state, why=why if state == "missing" else ""), now)
    notes = _terms(household, forecast)
    return _noted(forecast, *notes) if notes else forecast


def _noted(forecast: Forecast, *notes: str) -> Forecast:
    provenance = forecast.provenance
    return replace(forecast, provenance=replace(provenance, notes=(*provenance.notes, *notes)))


# -- 1


def _read(household: Household, kept: Kept, now: datetime) -> Forecast:
    site = household.site
    forecast = read_answer(
        kept.body, fetched_at=kept.confirmed_at, latitude=site.latitude, longitude=site.longitude
    )
    origin = forecast.provenance
    if origin.no_past_before is not None:
        # Confirmed later, it still begins when it came. Where it stands in, another source had the hours before.
        first = kept.source == household.settings.sources[0]
        origin = replace(origin, no_past_before=to_numpy(kept.fetched_at, "h") if first else None)
    return control(replace(forecast, provenance=origin), now)


def _with_losses(forecast: Forecast) -> Forecast:
    """What was asked for and a source always has is unknown where it is not there, and not estimated."""
    shape = (1, 1, forecast.hours)
    lost = [name for name in SOURCES[forecast.provenance.source].always if name not in forecast.fields]
    nothing = Field(np.full(shape, np.nan), np.full(shape, Reason.NOT_FETCHED, dtype=np.uint8))
    return forecast.with_fields(dict.fromkeys(lost, nothing)) if lost else forecast


def _stale(forecast: Forecast) -> bool:
    return any(flag.check == "age" for flag in forecast.flags)


def _base(household: Household, answers: Answers, now: datetime) -> tuple[Forecast, tuple[Kept, ...], tuple[str, ...]]:
    failures = answers.failed("forecast")
    faults = "; ".join(one.says for one in failures)
    found: list[tuple[Kept, Forecast]] = []
    for kept in (*answers.all("forecast"), *answers.all("poor")):
        try:
            found.append((kept, _with_losses(_read(household, kept, now))))
        except WeatherError as error:
            failures = (*failures, Failure("forecast", kept.source, f"{SOURCES[kept.source].title}: {error.what}"))
            faults = "; ".join(one.says for one in failures)
    if not found:
        return empty_forecast(now, faults or NOTHING_YET), (), tuple(one.says for one in failures)
    fresh = [pair for pair in found if not _stale(pair[1])]
    kept, forecast = (fresh or found)[0]
    # One that ends before the days that are asked about says unknown of them, and not nothing.
    forecast = extended(forecast, forecast.index(to_numpy(now, "h")) + DAYS_AHEAD * 24)
    if faults:
        stood_in = kept.source not in {one.source for one in failures}
        forecast = _with_faults(forecast, kept, faults, now, stood_in=stood_in)
    if kept.remark:
        forecast = _noted(forecast, f"{SOURCES[kept.source].title}: {kept.remark}")
    return forecast, (kept,), tuple(one.says for one in failures)


def _with_faults(forecast: Forecast, kept: Kept, faults: str, now: datetime, *, stood_in: bool) -> Forecast:
    """The faults of the last pull in the notes, and in the reason where all is stale."""
    if _stale(forecast):
        flags = tuple(
            replace(flag, says=f"{flag.says}; a newer one could not be had: {faults}") if flag.check == "age" else flag
            for flag in forecast.flags
        )
        return _noted(replace(forecast, flags=flags), f"a newer answer could not be had: {faults}")
    if stood_in:
        return _noted(forecast, f"{SOURCES[kept.source].title} stands in: {faults}")
    if kept.role == "poor":
        return _noted(forecast, faults)
    age = (now - kept.confirmed_at).total_seconds() / 3600.0
    return _noted(forecast, f"the last good answer, {age:.0f} h old, is used: {faults}")


# -- 2


def _with_ensembles(household: Household, forecast: Forecast, answers: Answers, now: datetime):
    """(forecast with members, the answers they came from)"""
    wanted = {f"open-meteo:{model}" for model in household.settings.ensemble}
    found: list[tuple[Kept, Forecast]] = []
    for kept in answers.all("ensemble"):
        if kept.source not in wanted:
            continue
        try:
            one = _read(household, kept, now)
        except WeatherError as error:
            forecast = _noted(forecast, f"not had: {kept.source}: {error.what}")
            continue
        if _stale(one):
            says = next(flag.says for flag in one.flags if flag.check == "age")
            forecast = _noted(forecast, f"not used: the members of {kept.source.partition(':')[2]}, {says}")
            continue
        found.append((kept, within_horizon(_named(one, kept.source), kept.source.partition(":")[2])))
    if not found:
        return forecast, ()
    members = pool([one for _, one in found])
    return join(members, _without_double_humidity(forecast, members)), tuple(kept for kept, _ in found)


def _named(forecast: Forecast, name: str) -> Forecast:
    """A model's own name as the source, so that several models of one host are told apart."""
    return replace(forecast, provenance=replace(forecast.provenance, source=name.replace(":", " ")))


def _without_double_humidity(forecast: Forecast, members: Forecast) -> Forecast:
    """Where members have temperature and humidity of their own, a dew point from elsewhere would contradict them."""
    if not {"air_temperature", "relative_humidity"} <= members.fields.keys():
        return forecast
    fields: dict[str, Field] = {name: one for name, one in forecast.fields.items() if name != "dew_point"}
    return replace(forecast, fields=fields)


# -- 4


def _cross_checked(household: Household, forecast: Forecast, answers: Answers, now: datetime):
    """(forecast, the second answer)"""
    name, kept = household.settings.cross_check, answers.one("cross-check")
    if name is None:
        return forecast, ()
    base = answers.one("forecast")
    if base is not None and base.source == name:
        return _noted(forecast, f"not cross-checked: {SOURCES[name].title} itself stands in"), ()
    if kept is None or kept.source != name:
        return _noted(forecast, f"not cross-checked: {SOURCES[name].title} has not answered"), ()
    try:
        other = _read(household, kept, now)
    except WeatherError as error:
        return _noted(forecast, f"not cross-checked: {SOURCES[name].title}: {error.what}"), ()
    stale: Flag | None = next((flag for flag in other.flags if flag.check == "age"), None)
    if stale is not None:
        return _noted(forecast, f"not cross-checked: {SOURCES[name].title}: {stale.says}"), ()
    return cross_checked(forecast, other, now), (kept,)


# -- 5


def warnings_of(settings: Settings, answers: Answers) -> Warnings:
    """What is known of official warnings from kept answers."""
    state = asked_for(settings)
    if state != "missing":
        return Warnings(state)
    kept = answers.one("warnings")
    failed = "; ".join(one.says for one in answers.failed("warnings"))
    if kept is None:
        return Warnings("missing", why=failed or "they have not been asked for yet")
    try:
        alerts = read_alerts(read_document(kept.body))
    except WeatherError as error:
        return Warnings("missing", why=error.what)
    return Warnings("known", alerts, kept.confirmed_at, why=failed, source=offering(settings) or "")


def _terms(household: Household, forecast: Forecast) -> list[str]:
    """What the terms of the sources in use say against work for hire."""
    if not household.for_hire:
        return []
    used = forecast.provenance.attribution
    return [
        f"{one.title} is {one.terms}: this household works for hire"
        for one in SOURCES.values()
        if one.commercial_restricted and one.attribution in used
    ]
