"""From the shared options to a scored outlook: household, ledger, rules and weather brought together."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import click

from advisor.cli.options import Common, load_household
from advisor.errors import WeatherError
from advisor.forecast import AGE_ASSUMED, Forecast
from advisor.ledger import as_told, read_learned, read_ledger, remembered
from advisor.model import Household, Record
from advisor.outlook import Outlook, make_outlook
from advisor.rule_files import RuleSet, load_rules


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything an answer was made from."""

    household: Household
    rules: RuleSet
    records: tuple[Record, ...]
    forecast: Forecast
    outlook: Outlook


def make_scene(common: Common, days: int = 8) -> Scene:
    household = as_told(load_household(common), common.database, common.now)
    rules = load_rules(common.home / "rules")
    household, forecast = weather_for(common, household)
    records = read_ledger(household, common.database)
    kept = remembered(common.home, common.database)
    outlook = make_outlook(
        household,
        forecast,
        list(rules),
        records,
        common.now,
        days,
        learned=read_learned(household, common.database),
        **kept,
    )
    return Scene(household, rules, records, forecast, outlook)


def retry_scene(scene: Scene, trial: str, common: Common, days: int):
    """The same scene scored with one limit replaced, and what was tried."""
    from advisor.explain.what_if import try_limit

    limits = {
        name: value for scored in scene.outlook.tasks for name, value in scored.task.label.limits.items()
    }
    tried = try_limit(scene.rules.rules, trial, scene.household.units, limits)
    kept = remembered(common.home, common.database)
    outlook = make_outlook(
        scene.household,
        scene.forecast,
        tried.rules,
        scene.records,
        common.now,
        days,
        learned=read_learned(scene.household, common.database),
        **kept,
    )
    return replace(scene, outlook=outlook), tried


def weather_for(common: Common, household: Household) -> tuple[Household, Forecast]:
    """The forecast for the household, after quality control; with the household moved where that was asked for."""
    from advisor.quality import control
    from advisor.weather import obtain, of_file

    if common.weather is None:
        weather = obtain(household, common.database, common.now, offline=common.offline)
        for line in weather.told:
            click.echo(f"advisor: {line}", err=True)
        return household, weather.forecast
    forecast = read_stored(common.weather, common)
    household = place_household(household, forecast, common)
    return household, of_file(household, control(forecast, common.now), common.now)


def read_stored(path: Path, common: Common) -> Forecast:
    try:
        body = path.read_bytes()
    except OSError as error:
        raise WeatherError(f"the stored answer cannot be read: {error.strerror}", where=str(path)) from error
    try:
        # An answer that says its own time needs no other; one that does not was fetched when it is asked about.
        forecast = _read(body, common.fetched_at)
        if forecast.provenance.issued_at is None and forecast.provenance.fetched_at is None:
            forecast = _read(body, common.now)
            source = forecast.provenance
            forecast = replace(forecast, provenance=replace(source, notes=(*source.notes, AGE_ASSUMED)))
    except WeatherError as error:
        raise type(error)(error.what, where=error.where or str(path), hint=error.hint) from error
    return forecast


def _read(body: bytes, fetched_at: datetime | None) -> Forecast:
    """A stored answer; the models of an ensemble of several weigh the same, whatever their number of members."""
    from advisor.sources import read_models
    from advisor.spread import pool

    models = read_models(body, fetched_at=fetched_at)
    if len(models) == 1:
        return models[0]
    pooled = pool(models)
    return replace(pooled, provenance=replace(pooled.provenance, source="open-meteo"))


def place_household(household: Household, forecast: Forecast, common: Common) -> Household:
    """Check that the answer is of the site, or move the site to the answer where that was asked for."""
    from advisor.sources import check_place, place_of

    site = household.site
    if not common.place_from_weather:
        try:
            check_place(forecast, site.latitude, site.longitude)
        except WeatherError as error:
            hint = "add --place-from-weather to look at that place instead" if not error.hint else (
                f"{error.hint}, or add --place-from-weather to look at that place instead")  # fmt: skip
            raise WeatherError(error.what, where=str(common.weather), hint=hint) from error
        return household
    latitude, longitude, elevation = place_of(forecast)
    if latitude is None or longitude is None:
        raise WeatherError("the stored answer does not say which place it is of", where=str(common.weather),
                           hint="leave out --place-from-weather")  # fmt: skip
    from zoneinfo import ZoneInfo

    from tzfpy import get_tz

    zone = ZoneInfo(get_tz(longitude, latitude))
    moved = replace(site, name=f"{latitude:.4f}, {longitude:.4f}", latitude=latitude, longitude=longitude,
                    elevation=elevation if elevation is not None else site.elevation, zone=zone)  # fmt: skip
    return replace(household, site=moved)
