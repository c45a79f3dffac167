"""From validated tables to the frozen model; everything here is already known to be well formed."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from advisor.household import turf
from advisor.household.files import TomlFile
from advisor.household.times import weekdays_of
from advisor.model import (
    LABEL_QUANTITIES,
    RATE_FIELDS,
    REQUIRED_LABEL_FIELDS,
    ActiveIngredient,
    Area,
    Label,
    Licence,
    Neighbour,
    NoticePlan,
    Settings,
    Site,
    Sprayer,
    Treatment,
    Watering,
)
from advisor.quiet import quiet_hours
from advisor.units import parse

DAY = 24.0


def site(lawn) -> Site:
    table = lawn.site
    return Site(
        name=lawn.name,
        latitude=table.latitude,
        longitude=table.longitude,
        zone=ZoneInfo(table.time_zone),
        elevation=table.elevation,
        soil=table.soil,
        hollow=table.hollow,
        exposure=table.exposure,
        first_frost=table.first_frost,
        use=table.use,
        local_ban=table.local_ban,
    )


def area(table, slope: str) -> Area:
    names = tuple(dict.fromkeys(table.turf))
    return Area(
        id=table.id,
        name=table.name or table.id,
        size=table.size,
        turf=names,
        turf_season=table.turf_season or turf.season(names),
        turf_state=table.turf_state,
        neighbours=tuple(
            Neighbour(one.name, one.kind, one.distance, one.bearing, one.arc, one.sensitivity)
            for one in table.neighbour
        ),
        rooting_depth=table.rooting_depth,
        irrigation=None
        if table.irrigation is None
        else tuple(Watering(one.days, one.at, one.depth, one.duration) for one in table.irrigation),
        soil_state=table.soil_state,
        soil_seen=table.soil_seen,
        soil_seen_at=table.soil_seen_at,
        soil_temperature=table.soil_temperature,
        soil_temperature_seen=table.soil_temperature_seen,
        slope=table.slope or slope,
        green_share=table.green_share,
        last_mowed=table.last_mowed,
        next_mowing=table.next_mowing,
        seeded_on=table.seeded_on,
        mowings_since_seeding=table.mowings_since_seeding,
        seeding_planned=table.seeding_planned,
        open_flowers=table.open_flowers,
        turf_shares={turf.canonical_name(name): value for name, value in table.turf_shares.items()},
    )


def sprayer(table) -> Sprayer:
    """The tank has passed `checks.tank_dimension`."""
    return Sprayer(
        id=table.id,
        name=table.name or table.id,
        tank=parse(table.tank, "mass" if table.kind == "spreader" else "volume"),
        measure=table.measure,
        carrier_rate=table.carrier_rate,
        work_rate=table.work_rate,
        clean_up=table.clean_up,
        last_contents=table.last_contents,
        rinsed=table.rinsed,
        kind=table.kind,
    )


def hours(table: dict) -> dict[int, tuple]:
    """Hours by weekday; a named day wins over weekdays and weekend, and those over every_day."""
    found: dict[int, tuple] = dict.fromkeys(range(7), ())
    for key, spans in sorted(table.items(), key=lambda pair: -len(weekdays_of(pair[0]))):
        for day in weekdays_of(key):
            found[day] = tuple(spans)
    return found


def notices(table) -> NoticePlan:
    return NoticePlan(
        evening=table.evening,
        morning=table.morning,
        quiet=quiet_hours(table.evening, table.morning, table.quiet_from, table.quiet_until),
        at_most_per_day=table.at_most_per_day,
        repeat_unchanged=table.repeat_unchanged,
        channels=tuple(one.model_dump(exclude_none=True) for one in table.channel),
    )


def settings(lawn) -> Settings:
    return Settings(
        floors=lawn.floors.model_dump(),
        horizon_hours=lawn.decision.horizon,
        assumed_members=lawn.decision.assumed_members,
        sources=tuple(lawn.weather.sources),
        source_hosts=dict(lawn.weather.hosts),
        pull_every_hours=lawn.weather.pull_every,
        ensemble=tuple(lawn.weather.ensemble),
        cross_check=lawn.weather.cross_check,
        observations=lawn.weather.observations,
        warnings=lawn.weather.warnings,
        keep_hours=lawn.weather.keep,
        contact=lawn.contact,
        cost_of_waiting=lawn.decision.cost_of_waiting,
        cost_of_failure=lawn.decision.cost_of_failure,
    )


def licence(table) -> Licence | None:
    if table is None:
        return None
    return Licence(table.holder, table.number, table.valid_until, table.certified_number)


def formulation(values) -> str:
    """As stated; a label whose rate is a volume per area, or which says neither, is of a liquid."""
    return values.formulation or "liquid"


def blank_fields(values) -> tuple[str, ...]:
    """Required fields that were left empty, in a label's order; with a blank mode, those of every mode."""
    modes = (values.mode,) if values.mode else ("foliar", "soil", "both")
    return tuple(
        name
        for name, (required_in, _) in REQUIRED_LABEL_FIELDS.items()
        if all(mode in required_in for mode in modes) and getattr(values, name) in (None, "", [])
    )


def label(file: TomlFile) -> Label:
    values = file.values
    limits: dict[str, float] = {}
    for name in LABEL_QUANTITIES:
        value = getattr(values, name)
        if value is not None:
            limits[name] = value[0] if name in RATE_FIELDS else float(value)
    return Label(
        id=file.id,
        product=values.product,
        registration_number=values.registration_number,
        mode=values.mode or "both",
        active_ingredients=tuple(
            ActiveIngredient(one.name, one.acid_equivalent and one.acid_equivalent[0], one.maximum_per_year)
            for one in values.active_ingredient
        ),
        sites=tuple(dict.fromkeys(values.sites)),
        turf_species=turf.expand(tuple(values.turf_species)),
        re_entry=values.re_entry,
        limits=limits,
        blank=blank_fields(values),
        source_file=file.name,
        volatile=bool(values.volatile),
        root_active=bool(values.root_active),
        restricted_use=bool(values.restricted_use),
        adjuvant=values.adjuvant,
        signal_word=values.signal_word,
        invented=values.invented,
        formulation=formulation(values),
        turf_rates=_by_species({name: rate[0] for name, rate in values.turf_rates.items()}),
        turf_shares=_by_species(values.turf_shares),
        stages=tuple(dict.fromkeys(values.stages)),
        year_starts=values.year_starts,
    )


def _by_species(table: dict[str, float]) -> dict[str, float]:
    """By species; what is said of a group holds for its species that have nothing of their own."""
    found: dict[str, float] = {}
    named = {turf.canonical_name(name): value for name, value in table.items()}
    for name, value in named.items():
        for one in turf.expand((name,)):
            if one == name or one not in named:
                found[one] = value
    return found


def follow_up(values, interval: float | None) -> tuple[float, float]:
    """When follow-ups are wanted; the common two to three weeks give way to the label's interval."""
    start = values.follow_up_from
    if start is None:
        start = max(14 * DAY, interval or 0.0)
        if values.follow_up_until is not None:
            start = max(min(start, values.follow_up_until), interval or 0.0)
    until = values.follow_up_until if values.follow_up_until is not None else max(21 * DAY, start + 7 * DAY)
    return start, until


def treatment(
    file: TomlFile, areas: dict[str, Area], sprayers: dict[str, Sprayer], labels: dict[str, Label]
) -> Treatment:
    values = file.values
    interval = labels[values.label].limits.get("minimum_interval")
    start, until = follow_up(values, interval)
    return Treatment(
        id=file.id,
        name=values.name or file.id,
        label=values.label,
        areas=tuple(dict.fromkeys(values.areas)),
        method=values.method,
        target=values.target,
        life_cycle=values.life_cycle,
        stage=values.stage or "",
        sprayer=values.sprayer,
        passes=values.passes,
        duration={
            one: duration_of(values, areas[one], sprayers[values.sprayer])
            for one in dict.fromkeys(values.areas)
        },
        rate=rate_of(values, labels[values.label], areas),
        follow_up_from=start,
        follow_up_until=until,
        start_from=values.start_from,
        latest=values.latest,
        sprayed_share=values.sprayed_share,
    )


def rate_of(values, label: Label, areas: dict[str, Area]) -> float | None:
    """As stated; else the label's rate for the most sensitive turf of the areas; None where it is blank."""
    if values.rate is not None:
        return values.rate[0]
    if "rate" not in label.limits:
        return None
    species = {one for area in values.areas for one in areas[area].turf}
    return min([label.limits["rate"], *(label.turf_rates[one] for one in species if one in label.turf_rates)])


def duration_of(values, area: Area, sprayer: Sprayer) -> float | None:
    """Hours on one area: as stated for it or for all, or its sprayed size over the sprayer's work rate."""
    stated = values.duration or {}
    if area.id in stated:
        return stated[area.id]
    if "*" in stated:
        return stated["*"]
    if sprayer.work_rate is None:
        return None
    return area.size * values.sprayed_share / sprayer.work_rate
