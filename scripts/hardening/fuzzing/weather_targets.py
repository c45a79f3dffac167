"""Readers of what weather services answer, with seeds in the shape of each service and of our own invention."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np

from advisor.errors import WeatherError
from advisor.forecast import Forecast, Reason
from advisor.quality import control
from advisor.sources import nws, nws_alerts, nws_observations, read_answer, read_models, recognise
from advisor.sources.reading import http_date, read_document
from advisor.variables import VARIABLES
from hardening.fuzzing import json_changes
from hardening.fuzzing.oracle import Target
from tests import weather_bodies as bodies

NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
_PLACE = (41.6, -93.6)
#: an axis longer than a century is no forecast [h]
_LONGEST_AXIS = 24 * 366 * 101


def _bytes(document: object) -> bytes:
    return json.dumps(document, separators=(",", ":")).encode()


def _recorded(body: dict) -> dict:
    """An answer as a recorder of requests keeps it."""
    response = {"status": {"code": 200, "message": "OK"}, "headers": {"Date": ["Mon, 21 Sep 2026 12:00:00 GMT"]},
                "body": {"string": json.dumps(body)}}  # fmt: skip
    return {
        "http_interactions": [{"request": {"uri": "https://example.org/x"}, "response": response}],
        "version": 1,
    }


@cache
def weather_seeds(name: str) -> list[bytes]:
    short = {"days": 1}
    meteo = bodies.open_meteo_body(*_PLACE, NOW, past_days=0, days=1)
    problem = {"correlationId": "x", "title": "Not Found", "type": "https://api.weather.gov/problems/InvalidPoint",
               "status": 404, "detail": "Unable to provide data"}  # fmt: skip
    made = {
        "open-meteo": [meteo, [meteo], {"error": True, "reason": "Hourly API request limit exceeded"}],
        "ensemble": [_two_models(), bodies.ensemble_body(*_PLACE, NOW, members=3, days=1)],
        "met-norway": [bodies.met_norway_body(*_PLACE, NOW, hourly=6, days=1)],
        "nws": [bodies.nws_body(*_PLACE, NOW, **short), problem],
        "points": [bodies.nws_points_body(*_PLACE)],
        "alerts": [bodies.nws_alerts_body(_warning(0), _warning(1)), bodies.nws_alerts_body()],
        "stations": [bodies.nws_stations_body(*_PLACE, "KAAA", "KBBB")],
        "observations": [bodies.nws_observations_body(*_PLACE, NOW, hours=4)],
        "recorded": [
            _recorded(meteo),
            {"data": meteo, "status_code": 200, "headers": {"date": "Mon, 21 Sep 2026 12:00:00 GMT"}},
            {"data": json.dumps(meteo), "status_code": 503, "headers": {}},
        ],
    }
    return [_bytes(one) for one in made[name]]


def _two_models() -> dict:
    body = bodies.ensemble_body(*_PLACE, NOW, members=3, days=1)
    for part in ("hourly", "hourly_units"):
        held = body[part]
        body[part] = {"time": held["time"]} | {
            f"{key}_{model}": value
            for key, value in held.items()
            if key != "time"
            for model in ("gfs025", "icon_seamless")
        }
    return body


def _warning(hours: int) -> dict:
    at = NOW + timedelta(hours=hours)
    return {"event": "Wind Advisory", "onset": at.isoformat(), "ends": (at + timedelta(hours=6)).isoformat(),
            "expires": at.isoformat(), "parameters": {"eventEndingTime": [at.isoformat()]}}  # fmt: skip


# reading ----------------------------------------------------------------------------------------------------------


def _answer(data: bytes) -> list[Forecast]:
    recognise(data)
    forecast = read_answer(data, fetched_at=NOW)
    return [forecast, control(forecast, NOW)]


def _models(data: bytes) -> list[Forecast]:
    found = list(read_models(data, fetched_at=NOW))
    return [*found, *(control(one, NOW) for one in found)]


def _recorded_answer(data: bytes) -> list[Forecast]:
    forecast = read_answer(data)
    return [forecast, control(forecast, forecast.provenance.fetched_at or NOW)]


def _points(data: bytes) -> tuple[str, str]:
    document = read_document(data)
    return nws.forecast_request(document).address, nws_observations.stations_request(document).address


def _observations(data: bytes) -> list[Forecast]:
    reports = nws_observations.read_observations(read_document(data))
    nws_observations.newest(reports, NOW)
    forecast = nws_observations.hourly(reports)
    return [forecast, control(forecast, NOW, age_limit_hours=np.inf)]


def _alerts(data: bytes) -> tuple:
    found = nws_alerts.read_alerts(read_document(data))
    return nws_alerts.in_force(found, NOW, NOW + timedelta(hours=24))


def _stations(data: bytes) -> tuple:
    return nws_observations.read_stations(read_document(data))


# what an answer must be -------------------------------------------------------------------------------------------


def forecasts_fault(found: list[Forecast]) -> str:
    """What is wrong with forecasts of one answer, of which the last half has been through quality control."""
    for forecast in found:
        fault = _shape_fault(forecast)
        if fault:
            return fault
    for forecast in found[len(found) // 2 :]:
        for name, field in forecast.fields.items():
            known = field.values[~np.isnan(field.values)]
            variable = VARIABLES[name]
            if known.size and not (known.min() >= variable.low and known.max() <= variable.high):
                return (
                    f"an implausible {name} came through quality control: {known.min():g} to {known.max():g}"
                )
    return ""


def _shape_fault(forecast: Forecast) -> str:
    if not 0 < forecast.hours <= _LONGEST_AXIS or forecast.start.dtype != "datetime64[h]":
        return f"an axis of {forecast.hours} hours"
    if forecast.nominal_members.shape != (forecast.hours,) or (forecast.nominal_members < 0).any():
        return "promised members do not fit the axis"
    for name, field in forecast.fields.items():
        if field.values.ndim != 3 or field.values.shape[::2] != (1, forecast.hours):
            return f"the axes of {name} are not site, member, hour: {field.values.shape}"
        # infinite values may be read, quality control takes them away
        if ((field.reason == Reason.KNOWN) != ~np.isnan(field.values).all(axis=1, keepdims=True)).any():
            return f"{name} is known where it says that it is not, or the reverse"
    place = forecast.provenance
    for word, value, most in (("latitude", place.latitude, 90.0), ("longitude", place.longitude, 180.0),
                              ("elevation", place.elevation, 1e4)):  # fmt: skip
        if value is not None and not abs(value) <= most:
            return f"an impossible {word}: {value}"
    return ""


def _addresses_fault(found: tuple[str, str]) -> str:
    pattern = r"https://api\.weather\.gov/gridpoints/[A-Z]{3}/-?\d{1,6},-?\d{1,6}(/stations)?"
    return next(
        (
            f"an address that is none of a grid cell: {one[:200]}"
            for one in found
            if not re.fullmatch(pattern, one)
        ),
        "",
    )


def _places_fault(found: tuple) -> str:
    for one in found:
        if not (abs(one.latitude) <= 90.0 and abs(one.longitude) <= 180.0):
            return f"a station at an impossible place: {one}"
    return ""


def _http_date(data: bytes) -> object:
    return http_date(data.decode("latin-1"))


def weather_targets() -> list[Target]:
    """Three services: forecasts, and what leads to them or stands beside them."""

    def target(name, read, check, share=1.0):
        return Target(
            name,
            "answers of weather services",
            lambda: weather_seeds(name),
            json_changes.changed,
            read,
            (WeatherError,),
            check,
            share,
        )

    return [
        target("open-meteo", _answer, forecasts_fault, 1.5),
        target("ensemble", _models, forecasts_fault, 1.5),
        target("met-norway", _answer, forecasts_fault, 1.5),
        target("nws", _answer, forecasts_fault, 1.0),
        target("points", _points, _addresses_fault),
        target("alerts", _alerts, lambda found: ""),
        target("stations", _stations, _places_fault),
        target("observations", _observations, forecasts_fault),
        target("recorded", _recorded_answer, forecasts_fault),
    ]
