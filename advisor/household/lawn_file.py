"""The shape of `lawn.toml`: household, site, areas, neighbours, sprayers, hours, notices and choices."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, field_validator, model_validator

from advisor.household.fields import (
    Bearing,
    Id,
    Table,
    Text,
    Turf,
    choice,
    fault,
    number,
    quantity,
    share,
    whole,
)
from advisor.household.times import Day, DayWord, MonthDay, Spans, TimeOfDay, Weekdays, Zone
from advisor.household.vocabulary import (
    CHANNEL_HINTS,
    CHANNEL_KINDS,
    CHANNEL_MAY,
    CHANNEL_ONE_OF,
    NEIGHBOUR_KINDS,
    SITE_USES,
    SLOPES,
    SOIL_STATES,
    TURF_SEASONS,
    TURF_STATES,
)
from advisor.model import DEFAULT_FLOORS
from advisor.quiet import is_quiet, quiet_hours
from advisor.soil.texture import TEXTURES
from advisor.store.masking import masked
from advisor.web_address import what_is_wrong

_MODEL = re.compile(r"[a-z][a-z0-9_]{1,40}")
_COORDINATE = (
    "write degrees as a plain number, north and east positive, such as latitude = 41.6, longitude = -93.6"
)


class SiteTable(Table):
    latitude: number("latitude", -90.0, 90.0, _COORDINATE)
    longitude: number("longitude", -180.0, 180.0, _COORDINATE)
    time_zone: Zone
    elevation: quantity("length", -450.0, 6000.0) | None = None
    soil: choice(*TEXTURES, what="soil texture") | None = None
    hollow: bool = False
    exposure: choice("open", "sheltered", what="exposure") = "open"
    slope: choice(*SLOPES, what="slope") = "flat"
    first_frost: MonthDay | None = None
    use: choice(*SITE_USES, what="use of the place") | None = None
    local_ban: bool | None = None


class NeighbourTable(Table):
    name: Text
    kind: choice(*NEIGHBOUR_KINDS, what="kind of neighbour")
    distance: quantity("length", 0.0, 20_000.0)
    bearing: Bearing | None = None
    arc: quantity("angle", 0.0, 360.0) = 0.0
    sensitivity: choice("ordinary", "high", what="sensitivity") = "ordinary"


class WateringTable(Table):
    days: Weekdays
    at: TimeOfDay
    depth: quantity("water_depth", 0.0, 100.0, above=0.0)
    duration: quantity("time", 0.0, 12.0, above=0.0) = 1.0


def _read_irrigation(value: Any) -> Any:
    if isinstance(value, str):
        if value.strip().casefold() == "none":
            return []
        raise fault(
            f'irrigation = "{value}" is not a timetable',
            'write "none", or one [[area.irrigation]] table a watering; leave it out if you do not know',
        )
    return value


class AreaTable(Table):
    id: Id
    name: Text | None = None
    size: quantity("area", None, 1e7, above=0.0)
    turf: Annotated[list[Turf], Field(min_length=1)]
    turf_season: choice(*TURF_SEASONS, what="turf season") | None = None
    turf_state: choice(*TURF_STATES, what="turf state") = "active"
    rooting_depth: quantity("length", 0.01, 2.0) = 0.12
    irrigation: Annotated[list[WateringTable] | None, BeforeValidator(_read_irrigation)] = None
    soil_state: choice(*SOIL_STATES, what="soil state") | None = None
    soil_seen: Day | None = None
    soil_seen_at: TimeOfDay | None = None
    soil_temperature: quantity("temperature", -20.0, 45.0) | None = None
    soil_temperature_seen: Day | None = None
    slope: choice(*SLOPES, what="slope") | None = None
    green_share: share() | None = None
    last_mowed: Day | None = None
    next_mowing: Day | None = None
    seeded_on: Day | None = None
    mowings_since_seeding: whole(0, 200) | None = None
    seeding_planned: Day | None = None
    open_flowers: bool | None = None
    turf_shares: dict[str, share()] = {}
    neighbour: list[NeighbourTable] = []


class SprayerTable(Table):
    id: Id
    name: Text | None = None
    kind: choice("sprayer", "spreader", what="kind of sprayer") = "sprayer"
    tank: Text
    measure: Text = ""
    carrier_rate: quantity("carrier_rate", None, 2.0, above=0.0) | None = None
    work_rate: quantity("work_rate", None, 1e6, above=0.0) | None = None
    clean_up: quantity("time", 0.0, 24.0) = 0.5
    last_contents: Text | None = None
    rinsed: bool | None = None


def _read_models(value: Any) -> Any:
    """ "gfs025, ecmwf_ifs025" or a list of names."""
    if isinstance(value, str):
        value = [part.strip() for part in value.split(",") if part.strip()]
    if isinstance(value, list):
        for name in value:
            if isinstance(name, str) and not _MODEL.fullmatch(name):
                raise fault(
                    f'"{name}" is not the name of an ensemble model',
                    'write the name that the service gives it, such as "gfs025" or "ecmwf_ifs025"',
                )
        value = list(dict.fromkeys(value)) if all(isinstance(name, str) for name in value) else value
    return value


def _read_address(value: Any) -> Any:
    """An address that may be asked: http or https, with a host."""
    wrong = what_is_wrong(value) if isinstance(value, str) else ""
    if wrong:
        raise fault(f'"{masked(value)}" is not an address: {wrong}', 'begin it with "https://"')
    return value


class WeatherTable(Table):
    sources: Annotated[list[Text], Field(min_length=1)] = ["open-meteo"]
    hosts: dict[str, Annotated[Text, BeforeValidator(_read_address)]] = {}
    pull_every: quantity("time", 0.25, 24.0) = 3.0
    ensemble: Annotated[list[Text], BeforeValidator(_read_models), Field(max_length=6)] = []
    cross_check: Text | None = None
    observations: bool = True
    warnings: bool = True
    keep: quantity("time", 30 * 24.0, 20 * 366 * 24.0) = 400 * 24.0


class ChannelTable(Table):
    kind: choice(*CHANNEL_KINDS, what="kind of channel")
    name: Text | None = None
    path: Text | None = None
    host: Text | None = None
    port: whole(1, 65535) | None = None
    security: choice("starttls", "tls", "none", what="way to secure mail") | None = None
    user: Text | None = None
    password_file: Text | None = None
    password_env: Text | None = None
    sender: Text | None = None
    to: Text | None = None
    url: Text | None = None
    url_file: Text | None = None
    url_env: Text | None = None
    secret_file: Text | None = None
    secret_env: Text | None = None
    receiver_drops_repeats: bool | None = None

    @field_validator("url")
    @classmethod
    def _address(cls, value: str | None) -> str | None:
        wrong = "" if value is None else what_is_wrong(value, with_user=True)
        if wrong:
            raise fault(
                f'"{masked(value)}" is not an http or https address: {wrong}',
                'write url = "https://example.org/notices"',
            )
        return value

    @model_validator(mode="after")
    def _complete(self):
        groups = CHANNEL_ONE_OF.get(self.kind, ())
        allowed = {"kind", "name", *CHANNEL_KINDS[self.kind], *CHANNEL_MAY.get(self.kind, ())}
        allowed.update(key for group in groups for key in group)
        for key in CHANNEL_KINDS[self.kind]:
            if getattr(self, key) is None:
                raise fault(f'a channel of kind "{self.kind}" needs `{key}`', f"write {CHANNEL_HINTS[key]}")
        for group in groups:
            given = [key for key in group if getattr(self, key) is not None]
            names = " or ".join(f"`{key}`" for key in group)
            if not given:
                raise fault(f'a channel of kind "{self.kind}" needs {names}', f"write {CHANNEL_HINTS[group[0]]}")
            if len(given) > 1:
                raise fault(f"{names} say the same thing", f"leave one of them out: {' or '.join(given)}")
        for key in type(self).model_fields:
            if getattr(self, key) is not None and key not in allowed:
                raise fault(f'a channel of kind "{self.kind}" takes no `{key}`', f"leave {key} out")
        return self


class NoticesTable(Table):
    evening: TimeOfDay = dt.time(18, 30)
    morning: TimeOfDay = dt.time(6, 0)
    quiet_from: TimeOfDay | None = None
    quiet_until: TimeOfDay | None = None
    at_most_per_day: whole(1, 50) = 6
    repeat_unchanged: bool = False
    channel: list[ChannelTable] = []

    @model_validator(mode="after")
    def _not_in_the_quiet_hours(self):
        quiet = quiet_hours(self.evening, self.morning, self.quiet_from, self.quiet_until)
        for name in ("evening", "morning"):
            if is_quiet(getattr(self, name), quiet):
                at, hours = f"{getattr(self, name):%H:%M}", f"{quiet[0]:%H:%M} to {quiet[1]:%H:%M}"
                raise fault(
                    f"{name} = {at} lies in the quiet hours, {hours}",
                    f"choose another time for {name}, or other quiet_from and quiet_until",
                )
        return self


class FloorsTable(Table):
    safety: share() = DEFAULT_FLOORS["safety"]
    label: share() = DEFAULT_FLOORS["label"]
    effect: share() = DEFAULT_FLOORS["effect"]
    safety_and_label: share() = DEFAULT_FLOORS["safety_and_label"]
    everything: share() = DEFAULT_FLOORS["everything"]


class DecisionTable(Table):
    horizon: quantity("time", 1.0, 16 * 24.0) = 48.0
    assumed_members: int = Field(default=51, ge=0, le=200)
    cost_of_waiting: number("cost", 0.0, 1e9) | None = None
    cost_of_failure: number("cost", 0.0, 1e9) | None = None

    @model_validator(mode="after")
    def _ratio(self):
        waiting, failure = self.cost_of_waiting, self.cost_of_failure
        if (waiting is None) != (failure is None):
            raise fault(
                "cost_of_waiting and cost_of_failure go together",
                "write both, in the same money, or leave both out",
            )
        if waiting is not None and not waiting < failure:
            raise fault(
                f"cost_of_waiting {waiting:g} is not less than cost_of_failure {failure:g}",
                "a failed pass costs more than a day of waiting; check the two numbers",
            )
        return self


class LicenceTable(Table):
    holder: Text = ""
    number: Text = ""
    valid_until: Day | None = None
    certified_number: Text | None = None


class LawnFile(Table):
    name: Text
    units: choice("us", "metric", what="unit system")
    for_hire: bool = False
    contact: Text = ""
    site: SiteTable
    area: Annotated[list[AreaTable], Field(min_length=1)]
    sprayer: Annotated[list[SprayerTable], Field(min_length=1)]
    hours: dict[DayWord, Spans]
    weather: WeatherTable = WeatherTable()
    notices: NoticesTable = NoticesTable()
    floors: FloorsTable = FloorsTable()
    decision: DecisionTable = DecisionTable()
    licence: LicenceTable | None = None
