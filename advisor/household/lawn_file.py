"""The shape of `lawn.toml`: household, site, areas, neighbours, sprayers, hours, notices and choices."""

import datetime as dt
import re
from typing import Any

from advisor.household.fields import (
    Bearing,
    Id,
    Text,
    Turf,
    choice,
    number,
    quantity,
    read_text,
    share,
    whole,
)
from advisor.household.tables import ByName, Each, Fault, Table
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
    elevation: quantity("length", -450.0, 6000.0) = None
    soil: choice(*TEXTURES, what="soil texture") = None
    hollow: bool = False
    exposure: choice("open", "sheltered", what="exposure") = "open"
    slope: choice(*SLOPES, what="slope") = "flat"
    first_frost: MonthDay = None
    use: choice(*SITE_USES, what="use of the place") = None
    local_ban: bool = None


class NeighbourTable(Table):
    name: Text
    kind: choice(*NEIGHBOUR_KINDS, what="kind of neighbour")
    distance: quantity("length", 0.0, 20_000.0)
    bearing: Bearing = None
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
        raise Fault(
            f'irrigation = "{value}" is not a timetable',
            'write "none", or one [[area.irrigation]] table a watering; leave it out if you do not know',
        )
    return value


class AreaTable(Table):
    id: Id
    name: Text = None
    size: quantity("area", None, 1e7, above=0.0)
    turf: Each(Turf, least=1)
    turf_season: choice(*TURF_SEASONS, what="turf season") = None
    turf_state: choice(*TURF_STATES, what="turf state") = "active"
    rooting_depth: quantity("length", 0.01, 2.0) = 0.12
    irrigation: Each(WateringTable, before=_read_irrigation) = None
    soil_state: choice(*SOIL_STATES, what="soil state") = None
    soil_seen: Day = None
    soil_temperature: quantity("temperature", -20.0, 45.0) = None
    soil_temperature_seen: Day = None
    slope: choice(*SLOPES, what="slope") = None
    green_share: share() = None
    last_mowed: Day = None
    next_mowing: Day = None
    seeded_on: Day = None
    mowings_since_seeding: whole(0, 200) = None
    seeding_planned: Day = None
    open_flowers: bool = None
    turf_shares: ByName(share()) = {}
    neighbour: Each(NeighbourTable) = []


class SprayerTable(Table):
    id: Id
    name: Text = None
    kind: choice("sprayer", "spreader", what="kind of sprayer") = "sprayer"
    tank: Text
    measure: Text = ""
    carrier_rate: quantity("carrier_rate", None, 2.0, above=0.0) = None
    work_rate: quantity("work_rate", None, 1e6, above=0.0) = None
    clean_up: quantity("time", 0.0, 24.0) = 0.5
    last_contents: Text = None
    rinsed: bool = None


def _read_models(value: Any) -> Any:
    """ "gfs025, ecmwf_ifs025" or a list of names."""
    if isinstance(value, str):
        value = [part.strip() for part in value.split(",") if part.strip()]
    if isinstance(value, list):
        for name in value:
            if isinstance(name, str) and not _MODEL.fullmatch(name):
                raise Fault(
                    f'"{name}" is not the name of an ensemble model',
                    'write the name that the service gives it, such as "gfs025" or "ecmwf_ifs025"',
                )
        value = list(dict.fromkeys(value)) if all(isinstance(name, str) for name in value) else value
    return value


def _read_address(value: Any) -> Any:
    """An address that may be asked: http or https, with a host."""
    wrong = what_is_wrong(value) if isinstance(value, str) else ""
    if wrong:
        raise Fault(f'"{masked(value)}" is not an address: {wrong}', 'begin it with "https://"')
    return read_text(value)


class WeatherTable(Table):
    sources: Each(Text, least=1) = ["open-meteo"]
    hosts: ByName(_read_address) = {}
    pull_every: quantity("time", 0.25, 24.0) = 3.0
    ensemble: Each(Text, most=6, before=_read_models) = []
    cross_check: Text = None
    observations: bool = True
    warnings: bool = True
    keep: quantity("time", 30 * 24.0, 20 * 366 * 24.0) = 400 * 24.0


def _read_url(value: Any) -> str:
    """An address that notices are sent to; it may hold a user and a password."""
    text = read_text(value)
    wrong = what_is_wrong(text, with_user=True)
    if wrong:
        raise Fault(
            f'"{masked(text)}" is not an http or https address: {wrong}',
            'write url = "https://example.org/notices"',
        )
    return text


class ChannelTable(Table):
    kind: choice(*CHANNEL_KINDS, what="kind of channel")
    name: Text = None
    path: Text = None
    host: Text = None
    port: whole(1, 65535) = None
    security: choice("starttls", "tls", "none", what="way to secure mail") = None
    user: Text = None
    password_file: Text = None
    password_env: Text = None
    sender: Text = None
    to: Text = None
    url: _read_url = None
    url_file: Text = None
    url_env: Text = None
    secret_file: Text = None
    secret_env: Text = None
    receiver_drops_repeats: bool = None

    def check(self) -> None:
        groups = CHANNEL_ONE_OF.get(self.kind, ())
        allowed = {"kind", "name", *CHANNEL_KINDS[self.kind], *CHANNEL_MAY.get(self.kind, ())}
        allowed.update(key for group in groups for key in group)
        for key in CHANNEL_KINDS[self.kind]:
            if getattr(self, key) is None:
                raise Fault(f'a channel of kind "{self.kind}" needs `{key}`', f"write {CHANNEL_HINTS[key]}")
        for group in groups:
            given = [key for key in group if getattr(self, key) is not None]
            names = " or ".join(f"`{key}`" for key in group)
            if not given:
                raise Fault(
                    f'a channel of kind "{self.kind}" needs {names}', f"write {CHANNEL_HINTS[group[0]]}"
                )
            if len(given) > 1:
                raise Fault(f"{names} say the same thing", f"leave one of them out: {' or '.join(given)}")
        for key in self.keys:
            if getattr(self, key) is not None and key not in allowed:
                raise Fault(f'a channel of kind "{self.kind}" takes no `{key}`', f"leave {key} out")


class NoticesTable(Table):
    evening: TimeOfDay = dt.time(18, 30)
    morning: TimeOfDay = dt.time(6, 0)
    quiet_from: TimeOfDay = None
    quiet_until: TimeOfDay = None
    at_most_per_day: whole(1, 50) = 6
    repeat_unchanged: bool = False
    channel: Each(ChannelTable) = []

    def check(self) -> None:
        quiet = quiet_hours(self.evening, self.morning, self.quiet_from, self.quiet_until)
        for name in ("evening", "morning"):
            if is_quiet(getattr(self, name), quiet):
                at, hours = f"{getattr(self, name):%H:%M}", f"{quiet[0]:%H:%M} to {quiet[1]:%H:%M}"
                raise Fault(
                    f"{name} = {at} lies in the quiet hours, {hours}",
                    f"choose another time for {name}, or other quiet_from and quiet_until",
                )


class FloorsTable(Table):
    safety: share() = DEFAULT_FLOORS["safety"]
    label: share() = DEFAULT_FLOORS["label"]
    effect: share() = DEFAULT_FLOORS["effect"]
    safety_and_label: share() = DEFAULT_FLOORS["safety_and_label"]
    everything: share() = DEFAULT_FLOORS["everything"]


class DecisionTable(Table):
    horizon: quantity("time", 1.0, 16 * 24.0) = 48.0
    assumed_members: whole(0, 200) = 51
    cost_of_waiting: number("cost", 0.0, 1e9) = None
    cost_of_failure: number("cost", 0.0, 1e9) = None

    def check(self) -> None:
        waiting, failure = self.cost_of_waiting, self.cost_of_failure
        if (waiting is None) != (failure is None):
            raise Fault(
                "cost_of_waiting and cost_of_failure go together",
                "write both, in the same money, or leave both out",
            )
        if waiting is not None and not waiting < failure:
            raise Fault(
                f"cost_of_waiting {waiting:g} is not less than cost_of_failure {failure:g}",
                "a failed pass costs more than a day of waiting; check the two numbers",
            )


class LicenceTable(Table):
    holder: Text = ""
    number: Text = ""
    valid_until: Day = None
    certified_number: Text = None


class LawnFile(Table):
    name: Text
    units: choice("us", "metric", what="unit system")
    for_hire: bool = False
    contact: Text = ""
    site: SiteTable
    area: Each(AreaTable, least=1)
    sprayer: Each(SprayerTable, least=1)
    hours: ByName(Spans, DayWord)
    weather: WeatherTable = WeatherTable.read({})
    notices: NoticesTable = NoticesTable.read({})
    floors: FloorsTable = FloorsTable.read({})
    decision: DecisionTable = DecisionTable.read({})
    licence: LicenceTable = None
