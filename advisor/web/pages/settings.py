"""`/settings`: what the household's files say, for reading only."""

from __future__ import annotations

from datetime import date
from typing import Any

from advisor import units
from advisor.messages.mix_text import water
from advisor.model import DEFAULT_FLOORS, Area, Household, Label, Treatment, label_dimension
from advisor.web.desk import Desk, Scene
from advisor.web.page import Page
from advisor.web.words import date_words, hours_words, listed

_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def settings_page(desk: Desk, scene: Scene) -> Page:
    household, system = scene.household, scene.household.units
    groups = [
        ("Place", _site(household, system)),
        *((f"Area: {area.name}", _area(area, system)) for area in household.areas.values()),
        *((f"Sprayer: {one.name}", _sprayer(one, system)) for one in household.sprayers.values()),
        *((f"Label: {label.product}", _label(label, system)) for label in household.labels.values()),
        *(
            (f"Treatment: {one.name}", _treatment(one, household, system))
            for one in household.treatments.values()
        ),
        ("Your hours", _hours(household)),
        ("Notices", _notices(household)),
        ("Decision", _decision(household)),
    ]
    rules = [
        {"id": rule.id, "title": rule.title, "kind": rule.kind, "file": rule.path, "asks": rule.words["asks"]}
        for rule in scene.rules
    ]
    return Page(
        title="Settings",
        template="settings.html",
        context={
            "groups": [(title, [row for row in rows if row[1]]) for title, rows in groups],
            "rules": rules,
            "version": scene.rules.version[:12],
        },
        twin={
            "groups": [{"title": title, "rows": [{"name": name, "value": value} for name, value in rows]}
                       for title, rows in groups],
            "rules": rules,
            "rules_version": scene.rules.version,
        },
    )  # fmt: skip


def _site(household: Household, system: str) -> list[tuple[str, str]]:
    site = household.site
    return [
        ("coordinates", f"{site.latitude:.4f}, {site.longitude:.4f}"),
        ("time zone", site.zone.key),
        (
            "elevation",
            units.show(site.elevation, "length", system) if site.elevation is not None else "not stated",
        ),
        ("soil", site.soil or "not stated"),
        ("lies in a hollow", "yes" if site.hollow else "no"),
        ("exposure", site.exposure),
        ("kind of place", site.use or "not stated"),
        ("local ban", {True: "yes", False: "no", None: "not stated"}[site.local_ban]),
        (
            "mean first frost",
            "not stated" if site.first_frost is None else f"{date(2000, *site.first_frost):%-d %B}",
        ),
        ("works for hire", "yes" if household.for_hire else "no"),
    ]


def _seen(area: Area) -> str:
    if area.soil_seen is None:
        return "at a time not stated"
    return f"{area.soil_seen}" + (f" at {area.soil_seen_at:%H:%M}" if area.soil_seen_at else "")


def _area(area: Area, system: str) -> list[tuple[str, str]]:
    watering = "not stated" if area.irrigation is None else (listed([
        f"{units.show(one.depth, 'water_depth', system)} {_when(one)} at {one.at.strftime('%H:%M')}"
        for one in area.irrigation
    ]) or "none")  # fmt: skip
    soil = "not stated" if area.soil_state is None else f"{area.soil_state}, seen {_seen(area)}"
    return [
        ("size", units.show(area.size, "area", system)),
        ("turf", f"{listed(list(area.turf))} ({area.turf_season}, {area.turf_state})"),
        ("rooting depth", _deep(area.rooting_depth, system)),
        ("irrigation", watering),
        ("soil", soil),
        ("green share", "not stated" if area.green_share is None else f"{area.green_share:.0%}"),
        ("last mowed", "not stated" if area.last_mowed is None else date_words(area.last_mowed)),
        ("neighbours", listed([_neighbour(one, system) for one in area.neighbours]) or "none stated"),
    ]


def _deep(depth: float, system: str) -> str:
    """A depth in the soil [m], in inches or centimetres."""
    return f"{depth / 0.0254:.0f} in" if system == "us" else f"{100.0 * depth:.0f} cm"


def _squared(text: str) -> str:
    return text.replace("^2", "²")


def _when(watering) -> str:
    if watering.on is not None:
        return f"on {date_words(watering.on)}, as told,"
    return listed([_WEEKDAYS[day][:3] for day in sorted(watering.weekdays)])


def _neighbour(one, system: str) -> str:
    bearing = "" if one.bearing is None else f", bearing {one.bearing:.0f}°"
    away = units.show(one.distance, "length", system)
    return f"{one.name} ({one.kind}, {away} away{bearing}, {one.sensitivity} sensitivity)"


def _sprayer(one, system: str) -> list[tuple[str, str]]:
    rate = one.carrier_rate
    return [
        ("tank", units.show(one.tank, "mass", system) if one.kind == "spreader" else water(one.tank, system)),
        ("output", "not calibrated" if rate is None else units.show(rate, "carrier_rate", system)),
        (
            "work rate",
            "not stated"
            if one.work_rate is None
            else _squared(units.show(one.work_rate, "work_rate", system)),
        ),
        ("clean-up", hours_words(one.clean_up)),
        ("measure", one.measure),
        ("last contents", one.last_contents or "not stated"),
        ("rinsed", {True: "yes", False: "no", None: "not stated"}[one.rinsed]),
    ]


def _label(label: Label, system: str) -> list[tuple[str, str]]:
    stated = [
        (name.replace("_", " "), units.show(value, label_dimension(name, label.formulation), system))
        for name, value in sorted(label.limits.items())
    ]
    return [
        ("registration number", label.registration_number),
        ("invented for demonstration", "yes" if label.invented else ""),
        ("mode", label.mode),
        ("active ingredients", listed([one.name for one in label.active_ingredients])),
        ("may be used on", listed([one.replace("-", " ") for one in label.sites])),
        ("turf species", listed(list(label.turf_species))),
        ("re-entry", label.re_entry),
        ("left blank", listed([name.replace("_", " ") for name in label.blank])),
        *stated,
    ]


def _treatment(one: Treatment, household: Household, system: str) -> list[tuple[str, str]]:
    return [
        ("label", household.labels[one.label].product),
        ("areas", listed([household.areas[name].name for name in one.areas])),
        ("method", one.method),
        ("target", f"{one.target} ({one.life_cycle or 'life cycle not stated'}, {one.stage})"),
        ("passes", str(one.passes)),
        ("follow-up wanted", f"{units.show(one.follow_up_from, 'time', system)} to "
                             f"{units.show(one.follow_up_until, 'time', system)} after the pass before it"),
        ("duration", listed([f"{household.areas[name].name} {hours * 60:.0f} min"
                             for name, hours in one.duration.items()])),
    ]  # fmt: skip


def _hours(household: Household) -> list[tuple[str, str]]:
    def words(at: int) -> str:
        spans = household.hours.get(at, ())
        return (
            listed([f"{first.strftime('%H:%M')} to {last.strftime('%H:%M')}" for first, last in spans])
            or "none"
        )

    return [(day, words(at)) for at, day in enumerate(_WEEKDAYS)]


def _notices(household: Household) -> list[tuple[str, str]]:
    plan = household.notices
    return [
        ("evening notice", plan.evening.strftime("%H:%M")),
        ("morning notice", plan.morning.strftime("%H:%M")),
        # Addresses and keys stay in the file: only the kind of a channel is shown.
        ("channels", listed([str(one.get("kind", "?")) for one in plan.channels]) or "none"),
    ]


def _decision(household: Household) -> list[tuple[str, Any]]:
    settings = household.settings
    floors = {**DEFAULT_FLOORS, **settings.floors}
    rows = [(f"floor, {name.replace('_', ' ')}", f"{value:.0%}") for name, value in floors.items() if value]
    return [
        *rows,
        ("decision horizon", units.show(settings.horizon_hours, "time", household.units)),
        ("weather sources", listed(list(settings.sources))),
        ("asked every", hours_words(settings.pull_every_hours)),
    ]
