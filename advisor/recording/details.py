"""What a record keeps besides the deed itself: the label's number, the place, the people, the weather, the doubts.

The ledger keeps it as plain JSON beside the record, so every value here can be written as such.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from advisor.model import Area, Household, Label, Record, Treatment
from advisor.season import label_of

#: where a value of the weather comes from, from the surest on
MEASURED, OBSERVED, PAST_HOURS, FORECAST = WEATHER_FROM = (
    "measured on the spot",
    "observed",
    "past hours of a forecast",
    "forecast",
)


@dataclass(frozen=True, slots=True)
class WeatherThen:
    """The weather of the work, SI; None where it is not known. `source` says where each value comes from.

    Wind at 2 m and 10 m [m/s], direction it comes from [degrees true], temperature [degC], humidity and cloud [%],
    rain during the work [mm].
    """

    wind_speed_2m: float | None = None
    wind_speed_10m: float | None = None
    wind_from_direction: float | None = None
    wind_gust: float | None = None
    air_temperature: float | None = None
    relative_humidity: float | None = None
    cloud_cover: float | None = None
    precipitation: float | None = None
    #: name of a value -> one of `WEATHER_FROM`
    source: Mapping[str, str] = field(default_factory=dict)
    #: who said so: a station, a service
    said_by: str = ""

    @property
    def has_wind_speed(self) -> bool:
        return self.wind_speed_2m is not None or self.wind_speed_10m is not None


@dataclass(frozen=True, slots=True)
class Details:
    """`rate` is not kept: it is the amount over the size. `mix_volume` [mL] of finished spray."""

    registration_number: str = ""
    restricted_use: bool = False
    method: str = ""
    target: str = ""
    site_use: str = ""
    turf: tuple[str, ...] = ()
    location: str = ""
    equipment: str = ""
    mix_volume: float | None = None
    adjuvant: str = ""
    re_entry: str = ""
    for_hire: bool = False
    licence_number: str = ""
    certified_name: str = ""
    certified_number: str = ""
    customer: str = ""
    customer_address: str = ""
    weather: WeatherThen = WeatherThen()
    #: id of the start card whose readings these are
    start_card: str = ""
    #: recorded although checks spoke against it
    as_it_happened: bool = False
    #: what they said, one sentence each
    flags: tuple[str, ...] = ()


def to_extra(details: Details) -> dict[str, object]:
    """Plain JSON, without what is empty."""
    out: dict[str, object] = {}
    for one in fields(Details):
        value = getattr(details, one.name)
        if one.name == "weather":
            value = {name.name: getattr(details.weather, name.name) for name in fields(WeatherThen)}
            value = {name: part for name, part in value.items() if part not in (None, "", {})}
        if isinstance(value, tuple):
            value = list(value)
        if value not in (None, "", [], {}, False):
            out[one.name] = value
    return out


def from_extra(extra: Mapping[str, object]) -> Details:
    """What `to_extra` wrote; keys of other writers are passed over."""
    known = {one.name for one in fields(Details)}
    values = {name: value for name, value in extra.items() if name in known}
    for name in ("turf", "flags"):
        if name in values:
            values[name] = tuple(values[name])
    if isinstance(values.get("weather"), Mapping):
        names = {one.name for one in fields(WeatherThen)}
        values["weather"] = WeatherThen(**{k: v for k, v in values["weather"].items() if k in names})
    return Details(**values)


def presumed(
    household: Household,
    record: Record,
    treatment: Treatment | None = None,
    area: Area | None = None,
    label: Label | None = None,
) -> Details:
    """What the household's files say of a pass, for a record that states no more; nothing of it is guessed."""
    treatment = treatment or household.treatments.get(record.treatment)
    area = area or household.areas.get(record.area)
    label = label or label_of(household, record)
    licence = household.licence
    site = household.site
    return Details(
        registration_number="" if label is None else label.registration_number,
        restricted_use=label is not None and label.restricted_use,
        method="" if treatment is None else treatment.method,
        target="" if treatment is None else treatment.target,
        site_use=site.use or "",
        turf=() if area is None else area.turf,
        location="" if area is None else f"{site.latitude:.5f}, {site.longitude:.5f}",
        equipment="" if treatment is None else household.sprayers[treatment.sprayer].name,
        re_entry="" if label is None else label.re_entry,
        for_hire=household.for_hire,
        licence_number="" if licence is None else licence.number,
        certified_name="" if licence is None or not licence.certified_number else licence.holder,
        certified_number="" if licence is None else licence.certified_number or "",
    )
