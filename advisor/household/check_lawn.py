"""Checks of `lawn.toml` that look at more than one value, and what is lost by leaving something out."""

from __future__ import annotations

from advisor.errors import did_you_mean
from advisor.household import turf
from advisor.household.files import TomlFile
from advisor.household.findings import Findings
from advisor.household.times import weekdays_of
from advisor.model import DEFAULT_FLOORS
from advisor.units import UnitError, parse


def check_lawn(file: TomlFile, found: Findings) -> None:
    """Errors, warnings and notes on a lawn whose tables are well formed."""
    lawn = file.values
    _unique(file, "area", lawn.area, found)
    _unique(file, "sprayer", lawn.sprayer, found)
    _site(file, lawn.site, found)
    for index, area in enumerate(lawn.area):
        _turf(file, index, area, found)
        _dates(file, index, area, found)
        _area_notes(file, index, area, found)
    for index, sprayer in enumerate(lawn.sprayer):
        _sprayer(file, index, sprayer, found)
    if not any(lawn.hours.values()):
        found.warn(
            file, "no hours are given, so no start will ever fit", 'such as weekdays = "17:00-20:30"', "hours"
        )
    _repeated_days(file, lawn.hours, found)
    for name, shipped in DEFAULT_FLOORS.items():
        if getattr(lawn.floors, name) < shipped:
            found.warn(
                file,
                f"chance floor `{name}` is {getattr(lawn.floors, name):.0%}, below the usual {shipped:.0%}",
                "a lower floor lets more doubtful starts through",
                "floors",
                name,
            )
    _sources(file, lawn, found)
    if not lawn.notices.channel:
        found.note(
            file,
            "no notice channel is named, so notices go nowhere",
            "add a [[notices.channel]] table",
            "notices",
        )
    _licence(file, lawn, found)


def _unique(file: TomlFile, kind: str, tables: list, found: Findings) -> None:
    seen: dict[str, int] = {}
    for index, table in enumerate(tables):
        if table.id in seen:
            first = file.where(kind, seen[table.id], "id")
            found.error(
                file,
                f'{kind} id "{table.id}" is used twice, first at {first}',
                "give each its own id",
                kind,
                index,
                "id",
            )
        seen.setdefault(table.id, index)


def _site(file: TomlFile, site, found: Findings) -> None:
    if site.first_frost is not None:
        months = range(8, 13) if site.latitude >= 0.0 else range(2, 8)
        if site.first_frost[0] not in months:
            half = "northern" if site.latitude >= 0.0 else "southern"
            found.warn(
                file,
                f"first_frost in month {site.first_frost[0]} is no autumn date of the {half} hemisphere",
                'write month and day of the mean first autumn frost, such as "10-05"',
                "site",
                "first_frost",
            )
    losses = {
        "elevation": "the weather source's own ground height is used",
        "soil": "soil water and runoff cannot be worked out",
        "first_frost": "no latest date is known for autumn work",
        "use": "the rules on schools, sod farms and the like stay unknown",
        "local_ban": "whether a local rule forbids the work stays unknown",
    }
    for name, loss in losses.items():
        if getattr(site, name) is None:
            found.note(file, f"`{name}` is not stated: {loss}", "", "site", name)


def _turf(file: TomlFile, index: int, area, found: Findings) -> None:
    for name in area.turf_shares:
        species = turf.canonical_name(name)
        if species is None or species not in area.turf:
            hint = turf.suggestion(name) if species is None else "name the species that stand in turf"
            what = f'turf_shares names "{name}", which is none of the turf of area "{area.id}"'
            found.error(file, what, hint, "area", index, "turf_shares", name)
    if sum(area.turf_shares.values()) > 1.0 + 1e-6:
        what = f'the shares of turf of area "{area.id}" come to more than the whole'
        found.error(file, what, "they are shares of the seed mixture: together at most 1", "area", index, "turf_shares")
    season = turf.season(tuple(area.turf))
    if area.turf_season is None and season is None:
        found.error(
            file,
            f'area "{area.id}" mixes cool-season and warm-season turf, and `turf_season` is missing',
            'write turf_season = "cool-season" or "warm-season", whichever must not be hurt now',
            "area",
            index,
            "turf",
        )
    elif area.turf_season is not None and season is not None and area.turf_season != season:
        found.warn(
            file,
            f'turf_season is "{area.turf_season}", but {", ".join(area.turf)} is {season} turf',
            f'write turf_season = "{season}", or leave it out',
            "area",
            index,
            "turf_season",
        )


def _dates(file: TomlFile, index: int, area, found: Findings) -> None:
    if found.today is not None:
        for name in ("soil_seen", "soil_temperature_seen", "last_mowed", "seeded_on"):
            day = getattr(area, name)
            if day is not None and day > found.today:
                hint = "write the day on which it was seen or done"
                found.error(
                    file,
                    f"{name} {day} lies in the future: today is {found.today}",
                    hint,
                    "area",
                    index,
                    name,
                )
        if area.soil_seen == found.today and area.soil_seen_at and area.soil_seen_at > found.now.time():
            found.warn(
                file,
                f"soil_seen_at {area.soil_seen_at:%H:%M} lies in the future: it counts as if it were not stated",
                "write the local time at which it was seen",
                "area",
                index,
                "soil_seen_at",
            )
        for name in ("next_mowing", "seeding_planned"):
            day = getattr(area, name)
            if day is not None and day < found.today:
                found.warn(
                    file,
                    f"{name} {day} has passed",
                    "write the next date, or leave it out",
                    "area",
                    index,
                    name,
                )
    if area.soil_state is not None and area.soil_seen is None:
        hint = "write soil_seen = 2026-09-20, the day you looked"
        found.warn(
            file, "soil_state has no soil_seen, so it cannot be used", hint, "area", index, "soil_state"
        )
    if area.soil_seen_at is not None and area.soil_seen is None:
        hint = "write soil_seen = 2026-09-20, the day you looked"
        found.warn(
            file, "soil_seen_at has no soil_seen, so it cannot be used", hint, "area", index, "soil_seen_at"
        )
    if area.seeded_on is not None and area.mowings_since_seeding is None:
        hint = "write mowings_since_seeding = 0, or how often it has been mown"
        found.warn(file, "seeded_on has no mowings_since_seeding", hint, "area", index, "seeded_on")


def _area_notes(file: TomlFile, index: int, area, found: Findings) -> None:
    losses = {
        "irrigation": 'how long it stays dry is unknown; write irrigation = "none" if there is none',
        "soil_state": "soil water has past weather alone to go by",
        "green_share": "whether more than half is green stays unknown",
        "last_mowed": "the days since mowing stay unknown",
        "open_flowers": "whether weeds stand in flower is asked on the spot",
    }
    for name, loss in losses.items():
        if getattr(area, name) is None:
            found.note(file, f'area "{area.id}": `{name}` is not stated: {loss}', "", "area", index)
    for number, neighbour in enumerate(area.neighbour):
        if neighbour.bearing is None and neighbour.kind != "roots":
            what = f'neighbour "{neighbour.name}" has no bearing, so it counts as downwind in every wind'
            found.note(file, what, 'write bearing = "90 deg" or "E"', "area", index, "neighbour", number)


def _sprayer(file: TomlFile, index: int, sprayer, found: Findings) -> None:
    dimension = "mass" if sprayer.kind == "spreader" else "volume"
    advice = '"5 kg" or "10 lb"' if dimension == "mass" else '"4 gal" or "15 L"'
    try:
        if parse(sprayer.tank, dimension) <= 0.0:
            found.error(file, f'`tank`: "{sprayer.tank}" must be more than 0', "", "sprayer", index, "tank")
    except UnitError as error:
        what = f"`tank`: {error.problems[0].what}"
        found.error(
            file, what, f"a {sprayer.kind} holds a {dimension}: write {advice}", "sprayer", index, "tank"
        )
    if sprayer.last_contents is None and sprayer.rinsed is None:
        what = f'{sprayer.kind} "{sprayer.id}": neither last_contents nor rinsed is stated: no start can go'
        found.warn(
            file,
            what,
            'write what was in it last (or "none") and whether it was rinsed since',
            "sprayer",
            index,
        )
    if sprayer.kind == "sprayer" and sprayer.carrier_rate is None:
        what = f'sprayer "{sprayer.id}": carrier_rate is not stated, so no mix can be worked out'
        found.warn(file, what, 'calibrate, then write it, such as "1 gal/1000 ft^2"', "sprayer", index)


def _repeated_days(file: TomlFile, hours: dict, found: Findings) -> None:
    seen: dict[frozenset, str] = {}
    for key in hours:
        days = frozenset(weekdays_of(key))
        if days in seen:
            found.error(
                file,
                f'[hours] names the same days twice, as "{seen[days]}" and "{key}"',
                "join them",
                "hours",
                key,
            )
        seen.setdefault(days, key)


def _sources(file: TomlFile, lawn, found: Findings) -> None:
    from advisor.sources import SOURCES

    for index, name in enumerate(lawn.weather.sources):
        if name not in SOURCES:
            hint = did_you_mean(name, SOURCES)
            found.error(file, f'"{name}" is not a weather source', hint, "weather", "sources", index)
        elif lawn.for_hire and SOURCES[name].commercial_restricted:
            _terms(file, name, found, "sources", index)
    _second_source(file, lawn, found)
    _offers(file, lawn, found)
    for name in lawn.weather.hosts:
        if name not in SOURCES:
            hint = did_you_mean(name, SOURCES)
            found.error(file, f'"{name}" is not a weather source', hint, "weather", "hosts", name)


def _terms(file: TomlFile, name: str, found: Findings, *path: str | int) -> None:
    from advisor.sources import SOURCES

    what = f'the terms of "{name}" do not cover work for hire: {SOURCES[name].terms}'
    found.warn(file, what, "name another source", "weather", *path)


def _second_source(file: TomlFile, lawn, found: Findings) -> None:
    """The cross-check and the ensemble: known names, and terms that cover the work."""
    from advisor.sources import SOURCES

    weather = lawn.weather
    name = weather.cross_check
    if name is not None and name not in SOURCES:
        hint = did_you_mean(name, SOURCES)
        found.error(file, f'"{name}" is not a weather source', hint, "weather", "cross_check")
    elif name is not None and list(dict.fromkeys(weather.sources)) == [name]:
        what = f'cross_check names "{name}", which is the only source: nothing is checked against itself'
        found.error(file, what, "name another source", "weather", "cross_check")
    elif name is not None and lawn.for_hire and SOURCES[name].commercial_restricted:
        _terms(file, name, found, "cross_check")
    with_members = next((one.name for one in SOURCES.values() if "ensembles" in one.offers), None)
    if weather.ensemble and lawn.for_hire and SOURCES[with_members].commercial_restricted:
        what = f'the members of `ensemble` come from "{with_members}", whose terms do not cover work for hire'
        hint = "leave ensemble out: members are then made with an assumed spread"
        found.warn(file, what, hint, "weather", "ensemble")


def _offers(file: TomlFile, lawn, found: Findings) -> None:
    """Official warnings and observations: who of the sources has them, and how often they are asked for."""
    from advisor.sources import SOURCES
    from advisor.warnings_in_force import LIST_AGE_LIMIT

    weather = lawn.weather
    used = [name for name in (*weather.sources, weather.cross_check) if name in SOURCES]
    offered = {what for name in used for what in SOURCES[name].offers}
    have = ", ".join(f'"{one.name}"' for one in SOURCES.values() if "warnings" in one.offers)
    if not weather.warnings:
        what = "official warnings are switched off, so no start is stopped by one"
        found.warn(file, what, "leave warnings out, or write warnings = true", "weather", "warnings")
    elif "warnings" not in offered:
        what = f"official warnings are not looked at: no source in use offers them; {have} does, in the United States"
        found.note(file, what, "", "weather")
    elif weather.pull_every > LIST_AGE_LIMIT:
        what = (
            f"a list of official warnings counts for {LIST_AGE_LIMIT:g} h and is fetched every "
            f"{weather.pull_every:g} h: in between no start can go"
        )
        hint = f'write pull_every = "{LIST_AGE_LIMIT / 2:g} h" or less'
        found.warn(file, what, hint, "weather", "pull_every")


def _licence(file: TomlFile, lawn, found: Findings) -> None:
    if not lawn.for_hire:
        return
    licence = lawn.licence
    if licence is None or not licence.number or licence.valid_until is None:
        what = "work for hire needs a licence number and its last day, which are not stated: no start can go"
        found.warn(file, what, "add a [licence] table with holder, number and valid_until", "for_hire")
    elif found.today is not None and licence.valid_until < found.today:
        what = f"the licence ran out on {licence.valid_until}: no start can go"
        found.warn(file, what, "write the new number and valid_until", "licence", "valid_until")


def check_zone(file: TomlFile, found: Findings) -> None:
    """Whether the time zone is the one in which the coordinates lie (needs the map of zones: 0.1 s)."""
    site = file.values.site
    zones = zones_at(site.latitude, site.longitude)
    if zones and not any(same_clock(site.time_zone, zone) for zone in zones):
        found.warn(
            file,
            f'time_zone is "{site.time_zone}", but the coordinates lie in {" or ".join(zones)}',
            f'write time_zone = "{zones[0]}", or check latitude and longitude (west and south are negative)',
            "site",
            "time_zone",
        )


def zones_at(latitude: float, longitude: float) -> list[str]:
    """Names of the time zones at a place; the map takes longitude first."""
    import tzfpy

    return [zone for zone in tzfpy.get_tzs(longitude, latitude) if zone]


def same_clock(one: str, other: str) -> bool:
    """Whether two zones keep the same time through a year, so that other names of a zone are no mismatch."""
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    if one == other:
        return True
    instants = [datetime(2026, month, day, tzinfo=UTC) for month in range(1, 13) for day in (5, 20)]
    return all(
        instant.astimezone(ZoneInfo(one)).utcoffset() == instant.astimezone(ZoneInfo(other)).utcoffset()
        for instant in instants
    )
