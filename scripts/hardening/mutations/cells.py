"""An answer as cells: one value of one variable for one hour or block, wherever the provider keeps it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

#: a provider's names of what may be changed, by ours
OPEN_METEO = {
    "air_temperature": "temperature_2m",
    "relative_humidity": "relative_humidity_2m",
    "dew_point": "dew_point_2m",
    "wind_speed_10m": "wind_speed_10m",
    "wind_from_direction": "wind_direction_10m",
    "wind_gust": "wind_gusts_10m",
    "precipitation": "precipitation",
    "precipitation_probability": "precipitation_probability",
    "cloud_cover": "cloud_cover",
    "shortwave_radiation": "shortwave_radiation",
    "soil_temperature_5cm": "soil_temperature_6cm",
}
NWS = {
    "air_temperature": "temperature",
    "relative_humidity": "relativeHumidity",
    "dew_point": "dewpoint",
    "wind_speed_10m": "windSpeed",
    "wind_from_direction": "windDirection",
    "wind_gust": "windGust",
    "precipitation": "quantitativePrecipitation",
    "precipitation_probability": "probabilityOfPrecipitation",
    "cloud_cover": "skyCover",
}
MET_NORWAY = {
    "air_temperature": "air_temperature",
    "relative_humidity": "relative_humidity",
    "dew_point": "dew_point_temperature",
    "wind_speed_10m": "wind_speed",
    "wind_from_direction": "wind_from_direction",
    "precipitation": "precipitation_amount",
    "cloud_cover": "cloud_area_fraction",
}
NAMES = {"open-meteo": OPEN_METEO, "nws": NWS, "met-norway": MET_NORWAY}
#: of the hour that ends at the label
PRECEDING = ("wind_gust", "precipitation", "precipitation_probability", "shortwave_radiation")
#: a unit of the provider's that is not the canonical one, as canonical units in one of it
FACTOR = {("nws", "wind_speed_10m"): 1 / 3.6, ("nws", "wind_gust"): 1 / 3.6}


@dataclass(slots=True)
class Cell:
    """A value: hours since 1970 (UTC) of its first hour, its length [h], and where it stands."""

    hour: int
    length: int
    holder: dict | list
    key: str | int
    factor: float
    drop: Callable[[], None] | None

    @property
    def value(self) -> float | None:
        held = self.holder[self.key]
        return held * self.factor if isinstance(held, int | float) else None

    def put(self, value) -> None:
        """A number in the canonical unit, or anything else as it is."""
        self.holder[self.key] = value / self.factor if isinstance(value, float) else value


class Answer:
    """A decoded answer of one provider, to be changed."""

    def __init__(self, provider: str, body: bytes):
        self.provider = provider
        self.data = json.loads(body)

    @property
    def bytes(self) -> bytes:
        return json.dumps(self.data, separators=(",", ":"), ensure_ascii=False).encode()

    @property
    def names(self) -> dict[str, str]:
        return NAMES[self.provider]

    @property
    def entries(self) -> list:
        """The time steps of MET Norway."""
        return self.data["properties"]["timeseries"]

    def layer(self, name: str) -> dict:
        """A layer of the National Weather Service, by our name."""
        return self.data["properties"][self.names[name]]

    def cells(self, name: str) -> list[Cell]:
        """All values of a variable in the order of time."""
        factor = FACTOR.get((self.provider, name), 1.0)
        theirs = self.names[name]
        if self.provider == "open-meteo":
            hourly = self.data["hourly"]
            shift = 1 if name in PRECEDING else 0
            return [
                Cell(hour_of(time + "+00:00") - shift, 1, hourly[theirs], at, factor, None)
                for at, time in enumerate(hourly["time"])
            ]
        if self.provider == "nws":
            values = self.layer(name)["values"]
            return [
                Cell(
                    *interval_of(entry["validTime"]),
                    entry,
                    "value",
                    factor,
                    lambda entry=entry: values.remove(entry),
                )
                for entry in values
            ]
        return self._steps(name, theirs, factor)

    def _steps(self, name: str, theirs: str, factor: float) -> list[Cell]:
        out = []
        for at, entry in enumerate(self.entries):
            data, hour = entry["data"], hour_of(entry["time"])
            parts = [("instant", 1)]
            if name == "precipitation":
                following = hour_of(self.entries[at + 1]["time"]) - hour if at + 1 < len(self.entries) else 6
                parts = [("next_1_hours", 1)] if following == 1 else [("next_6_hours", 6)]
            for part, length in parts:
                details = data.get(part, {}).get("details", {})
                if theirs in details:
                    out.append(
                        Cell(hour, length, details, theirs, factor, lambda d=details: d.pop(theirs, None))
                    )
        return out

    def set_unit(self, name: str, unit: str | None) -> None:
        """State another unit; None takes it away."""
        if self.provider == "nws":
            holder, key = self.layer(name), "uom"
        elif self.provider == "open-meteo":
            holder, key = self.data["hourly_units"], self.names[name]
        else:
            holder, key = self.data["properties"]["meta"]["units"], self.names[name]
        if unit is None:
            holder.pop(key, None)
        else:
            holder[key] = unit

    def unit(self, name: str) -> str:
        if self.provider == "nws":
            return self.layer(name)["uom"]
        if self.provider == "open-meteo":
            return self.data["hourly_units"][self.names[name]]
        return self.data["properties"]["meta"]["units"][self.names[name]]

    def move(self, hours: int) -> None:
        """All periods by so many hours; the stamp of issue stays."""
        if self.provider == "open-meteo":
            hourly = self.data["hourly"]
            hourly["time"] = [stamp(hour_of(time + "+00:00") + hours)[:16] for time in hourly["time"]]
        elif self.provider == "nws":
            for name in self.names:
                for entry in self.layer(name)["values"]:
                    first, length = interval_of(entry["validTime"])
                    entry["validTime"] = f"{stamp(first + hours)}+00:00/PT{length}H"
        else:
            for entry in self.entries:
                entry["time"] = stamp(hour_of(entry["time"]) + hours) + "Z"

    def issue(self, hour: float | None) -> None:
        """Another stamp of issue, in hours since 1970; None takes it away. Open-Meteo states none."""
        properties = self.data["properties"]
        holder, key = (
            (properties, "updateTime") if self.provider == "nws" else (properties["meta"], "updated_at")
        )
        if hour is None:
            holder.pop(key)
        else:
            holder[key] = datetime.fromtimestamp(hour * 3600.0, UTC).strftime("%Y-%m-%dT%H:%M:%S+00:00")

    def take_away(self, *path: str) -> None:
        """Take a part of the document away."""
        holder = self.data
        for key in path[:-1]:
            holder = holder[key]
        holder.pop(path[-1], None)


def hour_of(text: str) -> int:
    """Hours since 1970."""
    return int(datetime.fromisoformat(text.replace("Z", "+00:00")).timestamp() // 3600)


def stamp(hour: int) -> str:
    return datetime.fromtimestamp(hour * 3600, UTC).strftime("%Y-%m-%dT%H:%M:%S")


def interval_of(text: str) -> tuple[int, int]:
    """First hour and length of an interval such as 2026-09-21T06:00:00+00:00/PT6H."""
    begin, length = text.split("/PT")
    return hour_of(begin), int(length[:-1])
