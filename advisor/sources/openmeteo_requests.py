"""What to ask Open-Meteo: one place's hours in GMT and SI units, from the forecast, the ensembles or the
archive."""

from __future__ import annotations

from collections.abc import Sequence

from advisor.sources.request import Request, latitude_text, longitude_text

NAME = "open-meteo"
BASE = "https://api.open-meteo.com"
CUSTOMER_BASE = "https://customer-api.open-meteo.com"
ENSEMBLE_BASE = "https://ensemble-api.open-meteo.com"
ARCHIVE_BASE = "https://archive-api.open-meteo.com"

_ASKED = (
    "temperature_2m", "relative_humidity_2m", "dew_point_2m", "wind_speed_10m", "wind_direction_10m",
    "wind_gusts_10m", "precipitation", "precipitation_probability", "cloud_cover", "shortwave_radiation",
    "surface_pressure",
)  # fmt: skip
_ASKED_OF_ENSEMBLES = (
    "temperature_2m", "relative_humidity_2m", "wind_speed_10m", "wind_direction_10m", "wind_gusts_10m",
    "precipitation", "cloud_cover", "shortwave_radiation",
)  # fmt: skip


def forecast_request(
    latitude: float,
    longitude: float,
    *,
    base: str | None = None,
    past_days: int = 10,
    forecast_days: int = 8,
    api_key: str | None = None,
    models: Sequence[str] = (),
) -> Request:
    """The hourly forecast of one place, in GMT and SI units, with past days for the soil's water balance.

    In and around the contiguous United States the soil layer is asked by its GFS name, elsewhere at 6 cm.
    """
    soil = "soil_temperature_0_to_10cm" if _in_north_america(latitude, longitude) else "soil_temperature_6cm"
    params = _place(latitude, longitude) | {
        "hourly": ",".join((*_ASKED, soil)),
        "past_days": str(past_days),
        "forecast_days": str(forecast_days),
    }
    if models:
        params["models"] = ",".join(models)
    if api_key:
        params["apikey"] = api_key
    host = base or (CUSTOMER_BASE if api_key else BASE)
    return Request(f"{host.rstrip('/')}/v1/forecast", params, {"Accept": "application/json"}, NAME)


def ensemble_request(
    latitude: float,
    longitude: float,
    models: Sequence[str] = ("gfs025",),
    *,
    base: str | None = None,
    forecast_days: int = 8,
    api_key: str | None = None,
) -> Request:
    """The members of one or several ensemble models. Costs variables x members / 10 calls: ask it seldom."""
    params = _place(latitude, longitude) | {
        "hourly": ",".join(_ASKED_OF_ENSEMBLES),
        "forecast_days": str(forecast_days),
        "models": ",".join(models),
    }
    if api_key:
        params["apikey"] = api_key
    host = base or (ENSEMBLE_BASE.replace("//", "//customer-") if api_key else ENSEMBLE_BASE)
    # a model has at most some fifty members; the weight only spaces out what is asked next
    weight = call_weight(len(_ASKED_OF_ENSEMBLES), 51 * len(models), forecast_days)
    return Request(f"{host.rstrip('/')}/v1/ensemble", params, {"Accept": "application/json"}, NAME, weight)


def archive_request(
    latitude: float,
    longitude: float,
    first_day: str,
    last_day: str,
    *,
    base: str | None = None,
    api_key: str | None = None,
) -> Request:
    """Past hours of one place, days as "2025-06-01"."""
    served = (name for name in (*_ASKED, "soil_temperature_0_to_7cm") if name != "precipitation_probability")
    params = _place(latitude, longitude) | {
        "hourly": ",".join(served),
        "start_date": first_day,
        "end_date": last_day,
    }
    if api_key:
        params["apikey"] = api_key
    host = base or (ARCHIVE_BASE.replace("//", "//customer-") if api_key else ARCHIVE_BASE)
    return Request(f"{host.rstrip('/')}/v1/archive", params, {"Accept": "application/json"}, NAME)


def call_weight(variables: int, members: int, days: float, places: int = 1) -> float:
    """How many calls of the provider's allowance one request counts as: max(1, V/10, V/10 x days/14) a place.

    V is the number of variables times the members of all models asked.

    References
    ----------
    Open-Meteo server source, ForecastapiController.swift and ForecastApiResult.swift.
    """
    tenths = variables * members / 10.0
    return places * max(1.0, tenths, tenths * days / 14.0)


def _place(latitude: float, longitude: float) -> dict[str, str]:
    return {
        "latitude": latitude_text(latitude),
        "longitude": longitude_text(longitude),
        "timezone": "GMT",
        "timeformat": "iso8601",
        "temperature_unit": "celsius",
        "wind_speed_unit": "ms",
        "precipitation_unit": "mm",
    }


def _in_north_america(latitude: float, longitude: float) -> bool:
    return 15.0 <= latitude <= 72.0 and -170.0 <= longitude <= -50.0
