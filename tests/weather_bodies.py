"""Answers of the three providers about an invented place: a mild day with a daily course, repeated. Our own
invention."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from advisor.atmosphere import radiation

PROVIDERS = ("nws", "open-meteo", "met-norway")

#: what the invented day holds at 00, 01, ... UTC of each day, in canonical units
HOURS = np.arange(24)
DAY = {
    "air_temperature": np.round(16.0 - 6.0 * np.cos((HOURS - 9) / 24.0 * 2.0 * np.pi), 1),
    "dew_point": np.round(9.0 - 1.0 * np.cos((HOURS - 9) / 24.0 * 2.0 * np.pi), 1),
    "relative_humidity": np.round(62.0 + 14.0 * np.cos((HOURS - 9) / 24.0 * 2.0 * np.pi)),
    "wind_speed_10m": np.round(2.2 + 0.6 * np.sin(HOURS / 24.0 * 2.0 * np.pi), 1),
    "wind_from_direction": 200.0 + HOURS,
    "wind_gust": np.round(4.2 + 0.6 * np.sin(HOURS / 24.0 * 2.0 * np.pi), 1),
    "precipitation": np.where(HOURS == 7, 0.6, 0.0),
    "precipitation_probability": np.where(HOURS == 7, 40.0, 5.0),
    "cloud_cover": 30.0 + HOURS,
    "soil_temperature": np.round(13.0 - 1.5 * np.cos((HOURS - 11) / 24.0 * 2.0 * np.pi), 1),
}


def series(name: str, start: datetime, hours: int) -> list[float]:
    """The invented weather of each hour from `start` on."""
    return [float(DAY[name][(start + timedelta(hours=hour)).hour]) for hour in range(hours)]


_SAME_EVERY_DAY = series


def half_sun(latitude: float, longitude: float, start: datetime, hours: int) -> list[float]:
    """Half of the radiation that reaches the top of the air, by hour [W/m²]."""
    times = np.datetime64(start.replace(tzinfo=None), "h") + np.arange(hours)
    above = radiation.extraterrestrial_hourly(times, latitude, longitude)
    return [round(float(value), 1) for value in 0.5 * above / 0.0036]


def floor_hour(instant: datetime) -> datetime:
    return instant.astimezone(UTC).replace(minute=0, second=0, microsecond=0)


def open_meteo_body(
    latitude: float, longitude: float, now: datetime, *, past_days: int = 1, days: int = 8, series=series
) -> dict:
    start = floor_hour(now).replace(hour=0) - timedelta(days=past_days)
    count = 24 * (past_days + days)
    names = {
        "temperature_2m": ("air_temperature", "°C"), "relative_humidity_2m": ("relative_humidity", "%"),
        "dew_point_2m": ("dew_point", "°C"), "wind_speed_10m": ("wind_speed_10m", "m/s"),
        "wind_direction_10m": ("wind_from_direction", "°"), "wind_gusts_10m": ("wind_gust", "m/s"),
        "precipitation": ("precipitation", "mm"),
        "precipitation_probability": ("precipitation_probability", "%"),
        "cloud_cover": ("cloud_cover", "%"), "shortwave_radiation": ("shortwave_radiation", "W/m²"),
        "soil_temperature_6cm": ("soil_temperature", "°C"),
    }  # fmt: skip
    hourly: dict[str, list] = {
        "time": [(start + timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%M") for hour in range(count)]
    }
    units = {"time": "iso8601"}
    for theirs, (ours, unit) in names.items():
        preceding = ours in ("wind_gust", "precipitation", "precipitation_probability", "shortwave_radiation")
        first = start - timedelta(hours=1) if preceding else start
        sunny = ours == "shortwave_radiation" and series is _SAME_EVERY_DAY
        hourly[theirs] = half_sun(latitude, longitude, first, count) if sunny else series(ours, first, count)
        units[theirs] = unit
    return {
        "latitude": round(latitude + 0.02, 4), "longitude": round(longitude - 0.02, 4),
        "generationtime_ms": 0.3,
        "utc_offset_seconds": 0, "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 262.0,
        "hourly_units": units, "hourly": hourly,
    }  # fmt: skip


def nws_points_body(latitude: float, longitude: float) -> dict:
    return {
        "id": f"https://api.weather.gov/points/{latitude},{longitude}",
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude, latitude]},
        "properties": {
            "@type": "wx:Point", "gridId": "TST", "gridX": 12, "gridY": 34, "type": "land",
            "forecastGridData": "https://api.weather.gov/gridpoints/TST/12,34", "timeZone": "America/Chicago",
        },
    }  # fmt: skip


def nws_body(latitude: float, longitude: float, now: datetime, *, days: int = 7, series=series) -> dict:
    start = floor_hour(now) - timedelta(hours=6)
    start = start.replace(hour=start.hour // 6 * 6)
    count = 24 * days

    def layer(name: str, unit: str, factor: float = 1.0, step: int = 1) -> dict:
        values = np.array(series(name, start, count)) * factor
        values = values.reshape(-1, step).sum(axis=1) if name == "precipitation" else values[::step]
        return {
            "uom": f"wmoUnit:{unit}",
            "values": [
                {
                    "validTime": f"{start + timedelta(hours=index * step):%Y-%m-%dT%H:%M:%S}+00:00/PT{step}H",
                    "value": float(value),
                }
                for index, value in enumerate(values)
            ],
        }

    corners = [(-0.012, -0.015), (0.012, -0.015), (0.012, 0.015), (-0.012, 0.015), (-0.012, -0.015)]
    return {
        "id": "https://api.weather.gov/gridpoints/TST/12,34",
        "type": "Feature",
        "geometry": {
            "type": "Polygon",
            "coordinates": [[[longitude + east, latitude + north] for north, east in corners]],
        },
        "properties": {
            "@type": "wx:Gridpoint",
            "updateTime": (now.astimezone(UTC) - timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%S+00:00"),
            "elevation": {"unitCode": "wmoUnit:m", "value": 262.0},
            "gridId": "TST", "gridX": 12, "gridY": 34,
            "temperature": layer("air_temperature", "degC"), "dewpoint": layer("dew_point", "degC"),
            "relativeHumidity": layer("relative_humidity", "percent"),
            "windSpeed": layer("wind_speed_10m", "km_h-1", 3.6), "windGust": layer("wind_gust",
            "km_h-1", 3.6),
            "windDirection": layer("wind_from_direction", "degree_(angle)"),
            "quantitativePrecipitation": layer("precipitation", "mm", step=6),
            "probabilityOfPrecipitation": layer("precipitation_probability", "percent", step=6),
            "skyCover": layer("cloud_cover", "percent"), "pressure": {"values": []},
        },
    }  # fmt: skip


def met_norway_body(
    latitude: float, longitude: float, now: datetime, *, hourly: int = 60, days: int = 9, series=series
) -> dict:
    start = floor_hour(now)
    steps = list(range(hourly))
    while (start + timedelta(hours=steps[-1] + 1)).hour % 6:
        steps.append(steps[-1] + 1)
    steps += list(range(steps[-1] + 1, 24 * days, 6))
    rain = series("precipitation", start, 24 * days + 12)
    instants = {
        "air_temperature": "air_temperature", "dew_point_temperature": "dew_point",
        "relative_humidity": "relative_humidity", "wind_speed": "wind_speed_10m",
        "wind_from_direction": "wind_from_direction", "cloud_area_fraction": "cloud_cover",
    }  # fmt: skip
    plain = {theirs: series(ours, start, 24 * days + 12) for theirs, ours in instants.items()}
    timeseries = []
    for index, step in enumerate(steps):
        data: dict = {"instant": {"details": {name: values[step] for name, values in plain.items()}}}
        following = steps[index + 1] - step if index + 1 < len(steps) else 0
        if following == 1:
            data["next_1_hours"] = {"details": {"precipitation_amount": rain[step]}}
        if following in (1, 6):
            data["next_6_hours"] = {"details": {"precipitation_amount": round(sum(rain[step : step + 6]), 1)}}
        timeseries.append(
            {"time": (start + timedelta(hours=step)).strftime("%Y-%m-%dT%H:%M:%SZ"), "data": data}
        )
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [longitude, latitude, 262]},
        "properties": {
            "meta": {
                "updated_at": (now.astimezone(UTC) - timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M:%SZ"),
                "units": {
                    "air_temperature": "celsius", "dew_point_temperature": "celsius",
                    "relative_humidity": "%",
                    "wind_speed": "m/s", "wind_from_direction": "degrees", "cloud_area_fraction": "%",
                    "precipitation_amount": "mm",
                },
            },
            "timeseries": timeseries,
        },
    }  # fmt: skip


def ensemble_body(
    latitude: float, longitude: float, now: datetime, *, members: int = 31, model: str = "gfs025", days: int = 8
) -> dict:
    """Members of one model: the invented day, a little warmer and windier from member to member."""
    body = open_meteo_body(latitude, longitude, now, past_days=0, days=days)
    plain, units = body["hourly"], body["hourly_units"]
    hourly, stated = {"time": plain["time"]}, {"time": "iso8601"}
    names = {"temperature_2m": 0.02, "relative_humidity_2m": 0.0, "wind_speed_10m": 0.005, "wind_direction_10m": 0.0,
             "wind_gusts_10m": 0.005, "precipitation": 0.0, "cloud_cover": 0.0}  # fmt: skip
    for name, step in names.items():
        for member in range(members):
            key = name + (f"_member{member:02}" if member else "")
            hourly[key] = [round(value + step * (member - members // 2), 3) for value in plain[name]]
            stated[key] = units[name]
    return {**body, "hourly": hourly, "hourly_units": stated}


def nws_alerts_body(*alerts: dict) -> dict:
    """A list of warnings; each `alert` replaces what an ordinary one says."""
    ordinary = {"@type": "wx:Alert", "status": "Actual", "messageType": "Alert", "severity": "Moderate"}
    features = [
        {"type": "Feature", "geometry": None, "properties": ordinary | {"id": f"urn:test:{at}"} | said}
        for at, said in enumerate(alerts)
    ]
    return {
        "type": "FeatureCollection", "features": features, "updated": "2026-01-01T00:00:00+00:00",
        "title": "Current watches, warnings, and advisories",
    }  # fmt: skip


def nws_stations_body(latitude: float, longitude: float, *identifiers: str) -> dict:
    """Stations in a row to the north of a place, 0.1 degrees apart."""
    features = [
        {
            "id": f"https://api.weather.gov/stations/{identifier}",
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [longitude, round(latitude + 0.05 + 0.1 * at, 4)]},
            "properties": {
                "@type": "wx:ObservationStation", "stationIdentifier": identifier, "name": f"Station {identifier}",
                "elevation": {"unitCode": "wmoUnit:m", "value": 260.0}, "timeZone": "America/Chicago",
            },
        }
        for at, identifier in enumerate(identifiers)
    ]  # fmt: skip
    return {"type": "FeatureCollection", "features": features, "observationStations": [one["id"] for one in features]}


def nws_observations_body(
    latitude: float, longitude: float, now: datetime, *, station: str = "KTST", hours: int = 48, warmer: float = 0.0
) -> dict:
    """Routine reports at 53 past the hour, newest first; rain is stated only where there was some."""
    last = floor_hour(now) - timedelta(minutes=7)
    features = []
    for back in range(hours):
        at = last - timedelta(hours=back)
        hour = floor_hour(at + timedelta(minutes=30)).hour
        rain = float(DAY["precipitation"][(hour - 1) % 24])

        def said(value: float | None, unit: str) -> dict:
            return {"unitCode": f"wmoUnit:{unit}", "value": value, "qualityControl": "V" if value is not None else "Z"}

        features.append(
            {
                "id": f"https://api.weather.gov/stations/{station}/observations/{at:%Y-%m-%dT%H:%M:%S}+00:00",
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [longitude, round(latitude + 0.05, 4)]},
                "properties": {
                    "@type": "wx:ObservationStation", "station": f"https://api.weather.gov/stations/{station}",
                    "stationId": station, "timestamp": f"{at:%Y-%m-%dT%H:%M:%S}+00:00",
                    "temperature": said(float(DAY["air_temperature"][hour]) + warmer, "degC"),
                    "dewpoint": said(float(DAY["dew_point"][hour]), "degC"),
                    "relativeHumidity": said(None, "percent"),
                    "windSpeed": said(float(DAY["wind_speed_10m"][hour]) * 3.6, "km_h-1"),
                    "windDirection": said(float(DAY["wind_from_direction"][hour]), "degree_(angle)"),
                    "windGust": said(None, "km_h-1"),
                    "precipitationLastHour": said(rain or None, "mm"),
                },
            }
        )  # fmt: skip
    return {"type": "FeatureCollection", "features": features, "observationStations": []}


def forecast_body(provider: str, latitude: float, longitude: float, now: datetime, **size) -> dict:
    """An answer; `size` may also hold `series`, other weather than the invented day."""
    maker = {"nws": nws_body, "open-meteo": open_meteo_body, "met-norway": met_norway_body}[provider]
    return maker(latitude, longitude, now, **size)


# faults in the content


def with_wrong_units(provider: str, body: dict) -> dict:
    """Wind in furlongs."""
    if provider == "open-meteo":
        body["hourly_units"]["wind_speed_10m"] = "furlong/fortnight"
    elif provider == "nws":
        body["properties"]["windSpeed"]["uom"] = "wmoUnit:furlong_fortnight-1"
    else:
        body["properties"]["meta"]["units"]["wind_speed"] = "furlong/fortnight"
    return body


def with_nulls(provider: str, body: dict) -> dict:
    """Every value null, or its key absent."""
    if provider == "open-meteo":
        hourly = body["hourly"]
        body["hourly"] = {
            key: values if key == "time" else [None] * len(values) for key, values in hourly.items()
        }
    elif provider == "nws":
        for layer in body["properties"].values():
            for entry in layer.get("values", ()) if isinstance(layer, dict) else ():
                if isinstance(entry, dict):
                    entry["value"] = None
    else:
        for entry in body["properties"]["timeseries"]:
            for part in entry["data"].values():
                part["details"] = {}
    return body
