"""Invented weather, drawn by seed: hourly series of a few kinds of weather, and the three providers' answers of it.

Nothing of it was ever measured or forecast. Each kind is there for the limits that it comes near to, so that the
starts of a scene are partly go, partly no-go and partly unknown.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from weather_bodies import forecast_body

from advisor.clock import to_numpy

#: days before and after now that the series hold
BEFORE, AFTER = 8, 8


@dataclass(frozen=True, slots=True)
class Kind:
    """Mean and daily swing of the temperature, dryness [K], wind [m/s], gust factor, cloud [%], wet spells a day, and
    how heavy they are."""

    warm: float
    swing: float
    dry: float
    wind: float
    gust: float
    cloud: float
    wet: float
    heavy: float = 1.0


#: kinds of weather by name, for a mild season; another season adds to `warm`
KINDS: dict[str, Kind] = {
    "mild": Kind(15.0, 5.0, 7.0, 3.0, 1.5, 30.0, 0.15),
    "steady": Kind(16.0, 4.0, 9.0, 2.6, 1.15, 0.0, 0.0),
    "breezy": Kind(15.0, 4.0, 7.0, 4.4, 1.4, 40.0, 0.1),
    "still": Kind(14.0, 7.0, 6.0, 1.5, 1.6, 10.0, 0.0),
    "showers": Kind(15.0, 4.0, 5.0, 3.4, 1.4, 60.0, 0.9),
    "hot": Kind(21.0, 6.5, 12.0, 3.2, 1.4, 20.0, 0.1),
    "frosty": Kind(8.0, 8.0, 6.0, 2.6, 1.4, 15.0, 0.05),
    "humid": Kind(17.0, 4.0, 3.0, 2.8, 1.4, 70.0, 0.4),
    "downpours": Kind(16.0, 4.0, 8.0, 2.8, 1.3, 20.0, 0.3, 8.0),
}


@dataclass(frozen=True, eq=False)
class Weather:
    """Hourly series in canonical units from `start` (datetime64[h], UTC) on; instants, sums of the hour that begins."""

    start: np.datetime64
    series: dict[str, np.ndarray]

    def of(self, name: str, start: datetime, hours: int) -> list[float]:
        """Values from `start` on, as the makers of bodies ask for them."""
        first = int((to_numpy(start, "h") - self.start) / np.timedelta64(1, "h"))
        return [float(value) for value in self.series[name][first : first + hours]]

    def at(self, name: str, hours: np.ndarray) -> np.ndarray:
        """Values at hours of UTC (datetime64[h])."""
        return self.series[name][((hours - self.start) / np.timedelta64(1, "h")).astype(int)]


def draw(kind: str, now: datetime, random: np.random.Generator, warmer: float = 0.0) -> Weather:
    """Weather of a kind around `now`, local time six hours behind UTC."""
    one = KINDS[kind]
    start = to_numpy(now, "h") - BEFORE * 24 * np.timedelta64(1, "h")
    count = 24 * (BEFORE + AFTER)
    clock = (start.astype(int) + np.arange(count) - 6) % 24
    day = np.cos((clock - 15) / 24.0 * 2.0 * np.pi)
    air = one.warm + warmer + one.swing * day + _red(random, count, 1.5, 30.0)
    gap = np.maximum(one.dry * (1.0 + 0.6 * day) + _red(random, count, 1.0, 12.0), 0.4)
    wind = np.maximum(one.wind * (1.0 + 0.3 * day) * np.exp(_red(random, count, 0.2, 10.0)), 0.0)
    gust = wind * (one.gust + np.abs(_red(random, count, 0.1, 5.0)))
    cloud = np.clip(one.cloud + _red(random, count, 25.0, 8.0), 0.0, 100.0)
    rain, chance = _rain(random, count, one.wet, one.heavy)
    gap = np.where(rain > 0.0, np.minimum(gap, 1.0), gap)
    sun = np.maximum(np.cos((clock + 0.5 - 12) / 24.0 * 2.0 * np.pi), 0.0) * 800.0 * (1.0 - 0.007 * cloud)
    dew = np.round(air - gap, 1)
    series = {
        "air_temperature": np.round(air, 1),
        "dew_point": dew,
        "relative_humidity": np.round(
            np.clip(100.0 * _vapour(dew) / _vapour(np.round(air, 1)), 1.0, 100.0), 0
        ),
        "wind_speed_10m": np.round(wind, 1),
        "wind_gust": np.round(np.maximum(np.maximum(gust, wind), np.append(wind[1:], 0.0)) + 0.05, 1),
        "wind_from_direction": np.round((90.0 + 110.0 * _red(random, count, 1.0, 20.0)) % 360.0, 0) % 360.0,
        "precipitation": np.round(rain, 1),
        "precipitation_probability": np.round(chance, 0),
        "cloud_cover": np.round(cloud, 0),
        "shortwave_radiation": np.round(sun, 0),
        "soil_temperature": np.round(
            one.warm + warmer - 4.0 + 0.3 * one.swing * day + _red(random, count, 0.5, 60.0), 1
        ),
    }
    return Weather(start, series)


def second_opinion(weather: Weather, random: np.random.Generator) -> Weather:
    """The same weather as another source would give it: a little off, far within what forecasts err."""
    count = len(weather.series["air_temperature"])
    series = dict(weather.series)
    off = _red(random, count, 0.3, 12.0)
    series["air_temperature"] = np.round(series["air_temperature"] + off, 1)
    series["dew_point"] = np.round(np.minimum(series["dew_point"] + off, series["air_temperature"]), 1)
    series["wind_speed_10m"] = np.round(series["wind_speed_10m"] * np.exp(_red(random, count, 0.04, 8.0)), 1)
    series["wind_gust"] = np.maximum(series["wind_gust"], series["wind_speed_10m"])
    series["wind_from_direction"] = (
        np.round(series["wind_from_direction"] + _red(random, count, 4.0, 8.0)) % 360.0
    )
    return Weather(weather.start, series)


def answer(provider: str, weather: Weather, place: tuple[float, float], now: datetime) -> dict:
    """A provider's answer of this weather, as decoded JSON."""
    size = {"open-meteo": {"past_days": 6, "days": 5}, "nws": {"days": 5}, "met-norway": {"days": 5}}[
        provider
    ]
    body = forecast_body(provider, *place, now, series=weather.of, **size)
    if provider == "nws":
        for name, layer in body["properties"].items():
            if isinstance(layer, dict) and layer.get("values") and name != "quantitativePrecipitation":
                layer["values"] = _merged(layer["values"])
        # the chance of six hours is that of its wettest hour
        chances = body["properties"]["probabilityOfPrecipitation"]["values"]
        for entry in chances:
            begin, length = entry["validTime"].split("/PT")
            begin = datetime.fromisoformat(begin).astimezone(UTC)
            entry["value"] = max(weather.of("precipitation_probability", begin, int(length[:-1])))
    return body


def _merged(entries: list[dict]) -> list[dict]:
    """Neighbouring intervals of one value as one interval, as the service gives them; chances keep their six hours."""
    out: list[dict] = []
    for entry in entries:
        begin, length = entry["validTime"].split("/PT")
        hours = int(length[:-1])
        if out and hours == 1 and out[-1]["value"] == entry["value"]:
            first, before = out[-1]["validTime"].split("/PT")
            out[-1]["validTime"] = f"{first}/PT{int(before[:-1]) + hours}H"
        else:
            out.append({"validTime": f"{begin}/PT{hours}H", "value": entry["value"]})
    return out


def _rain(
    random: np.random.Generator, count: int, spells: float, heavy: float
) -> tuple[np.ndarray, np.ndarray]:
    """[mm] and [%] of each hour: spells of a few hours, chances high in them and falling off around them."""
    rain = np.zeros(count)
    for _ in range(random.poisson(spells * count / 24.0)):
        first, length = int(random.integers(0, count)), int(random.integers(1, 8))
        rain[first : first + length] = (
            heavy * random.gamma(1.0, 1.5, len(rain[first : first + length])) + 0.1
        )
    near = np.convolve(rain > 0.0, np.ones(7), "same") / 7.0
    chance = np.where(rain > 0.0, np.clip(60.0 + 10.0 * rain, 0.0, 95.0), np.clip(60.0 * near, 0.0, 60.0))
    return rain, np.clip(chance + np.abs(_red(random, count, 2.0, 12.0)), 0.0, 100.0)


def _red(random: np.random.Generator, count: int, size: float, memory: float) -> np.ndarray:
    """Red noise of a standard deviation that is forgotten over so many hours."""
    keep = np.exp(-1.0 / memory)
    white = random.standard_normal(count) * (1.0 - keep**2) ** 0.5
    out, level = np.empty(count), float(random.standard_normal())
    for at in range(count):
        level = keep * level + white[at]
        out[at] = level
    return size * out


def _vapour(temperature: np.ndarray) -> np.ndarray:
    """Saturation vapour pressure [kPa], FAO-56 eq. 11."""
    return 0.6108 * np.exp(17.27 * temperature / (temperature + 237.3))
