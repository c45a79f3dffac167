"""Providers of weather: recognising an answer, reading it, and checking that it is of the right place.

Nothing here opens a socket; `advisor.transport` asks, and hands the bytes over.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from advisor.errors import WeatherError, did_you_mean
from advisor.forecast import Forecast
from advisor.sources import metno, nws, openmeteo
from advisor.sources.openmeteo_keys import within_horizon
from advisor.sources.reading import Document, read_document
from advisor.sources.request import Request

EARTH_RADIUS_KM = 6371.0088


@dataclass(frozen=True, slots=True)
class Source:
    """A provider and what using it means.

    Attributes
    ----------
    age_limit_hours : float
        A forecast older than this is stale. `age_counts_from` says from when.
    place_limit_km : float
        How far the place of an answer may lie from the site.
    commercial_restricted : bool
        True where the free service is for non-commercial use only.
    first_request : callable (latitude, longitude, base=None) -> Request
    next_request : callable (Document, base=None) -> Request or None
        What to ask after an answer; None when that answer is the forecast.
    """

    name: str
    title: str
    licence: str
    attribution: str
    terms: str
    commercial_restricted: bool
    age_limit_hours: float
    age_counts_from: str
    place_limit_km: float
    base: str
    variables: tuple[str, ...]
    first_request: Callable[..., Request]
    next_request: Callable[..., Request | None]
    read: Callable[..., Forecast]
    is_answer: Callable[[Any], bool]
    #: how long an answer that only leads to the forecast's address is used again without asking [h]
    lead_hours: float = 0.0
    #: what it has beside forecasts: "warnings", "observations", "ensembles"
    offers: tuple[str, ...] = ()
    #: what every forecast holds that is asked of it, and what something else takes the place of where a source has it
    #: not (an estimate, another variable, what the person measured): a forecast without it has lost it
    always: tuple[str, ...] = ()


def _nothing_more(document: Document, *, base: str | None = None) -> Request | None:
    return None


def _after_points(document: Document, *, base: str | None = None) -> Request | None:
    return nws.forecast_request(document, base=base) if nws.kind_of(document.data) == "points" else None


def _carried(mapping: dict[str, str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(mapping.values()))


SOURCES: dict[str, Source] = {
    nws.NAME: Source(
        nws.NAME, nws.TITLE, nws.LICENCE, nws.ATTRIBUTION,
        terms="free for any use; the United States only",
        commercial_restricted=False,
        # Offices update every few hours; 18 h is what users of the service found to tell stale copies from
        # slow offices.
        age_limit_hours=18.0, age_counts_from="issue",
        # A cell is 2.5 km wide.
        place_limit_km=5.0,
        base=nws.BASE, variables=_carried(nws.VARIABLE_MAP),
        first_request=nws.points_request, next_request=_after_points, read=nws.read, is_answer=nws.is_answer,
        # Offices redefine their grids without notice, which a 404 tells; a day is far below the week that is advised.
        lead_hours=24.0, offers=("warnings", "observations"),
        # filled in each of ten recorded answers of nine offices
        always=("wind_gust", "precipitation_probability", "relative_humidity", "dew_point"),
    ),
    openmeteo.NAME: Source(
        openmeteo.NAME, openmeteo.TITLE, openmeteo.LICENCE, openmeteo.ATTRIBUTION,
        terms="free for non-commercial use, with credit; paid work needs its paid service",
        commercial_restricted=True,
        # The answer does not say when it was issued, so only the time of asking counts. Common practice, no
        # source.
        age_limit_hours=12.0, age_counts_from="fetch",
        place_limit_km=25.0,
        base=openmeteo.BASE, variables=_carried(openmeteo.VARIABLE_MAP),
        first_request=openmeteo.forecast_request, next_request=_nothing_more,
        read=openmeteo.read, is_answer=openmeteo.is_answer, offers=("ensembles",),
        always=(
            "wind_gust", "precipitation_probability", "relative_humidity", "dew_point", "shortwave_radiation",
            "soil_temperature_5cm",
        ),
    ),
    metno.NAME: Source(
        metno.NAME, metno.TITLE, metno.LICENCE, metno.ATTRIBUTION,
        terms="free for any use, with credit and a contact in each request",
        commercial_restricted=False,
        # Four issues a day outside the Nordic countries, and a fresh answer was already 10.2 h old (London
        # 2020-07-20).
        age_limit_hours=18.0, age_counts_from="issue",
        place_limit_km=5.0,
        base=metno.BASE, variables=_carried(metno.VARIABLE_MAP),
        first_request=metno.forecast_request, next_request=_nothing_more,
        read=metno.read, is_answer=metno.is_answer,
        # gusts and chances only in and around the Nordic countries
        always=("relative_humidity", "dew_point"),
    ),
}  # fmt: skip


def source(name: str) -> Source:
    """The source of this name.

    Raises
    ------
    WeatherError
        When there is none.
    """
    if name not in SOURCES:
        raise WeatherError(f'"{name}" is not a weather source', hint=did_you_mean(name, SOURCES))
    return SOURCES[name]


def recognise(body: bytes) -> str | None:
    """Name of the provider whose answer this is, its error reports included; None when it is nobody's."""
    try:
        return _provider(read_document(body).data)
    except WeatherError:
        return None


def _provider(data: Any) -> str | None:
    return next((name for name in ("met-norway", "nws", "open-meteo") if SOURCES[name].is_answer(data)), None)


def read_answer(
    body: bytes,
    *,
    fetched_at: datetime | None = None,
    latitude: float | None = None,
    longitude: float | None = None,
) -> Forecast:
    """Read the bytes of any provider's answer.

    Parameters
    ----------
    fetched_at : datetime, optional
        When it was asked. A recorded answer that kept its own date needs none.
    latitude, longitude : float, optional
        The site; when given, the answer must be of that place.

    Raises
    ------
    WeatherError
        When it cannot be read, is no forecast, or is of another place.
    """
    document = read_document(body)
    name = _provider(document.data)
    if document.status is not None and not 200 <= document.status < 300 and name is None:
        raise WeatherError(f"the recorded answer is an error, status {document.status}", hint="ask again")
    if name is None:
        raise WeatherError(
            "this is JSON, but not of a weather source that is known here",
            hint="known: " + ", ".join(SOURCES),
        )
    forecast = SOURCES[name].read(document, fetched_at or document.fetched_at)
    digest = hashlib.sha256(body).hexdigest()
    credit = _credit(document.data, forecast.provenance.attribution)
    forecast = replace(forecast, provenance=replace(forecast.provenance, sha256=digest, attribution=credit))
    if latitude is not None and longitude is not None:
        check_place(forecast, latitude, longitude)
    return forecast


def read_models(body: bytes, *, fetched_at: datetime | None = None) -> tuple[Forecast, ...]:
    """An ensemble answer of several models as one forecast a model, named after it; any other answer as the one it is.

    Raises
    ------
    WeatherError
        As `read_answer`.
    """
    whole = read_answer(body, fetched_at=fetched_at)
    if whole.provenance.source != openmeteo.NAME or whole.provenance.spread != "ensemble":
        return (whole,)
    document = read_document(body)
    parts = openmeteo.models_apart(document)
    if not parts:
        return (whole,)
    about = whole.provenance
    found = []
    for model, part in parts.items():
        one = openmeteo.read(part, about.fetched_at)
        origin = replace(one.provenance, source=f"{openmeteo.NAME} {model}", sha256=about.sha256,
                         attribution=about.attribution)  # fmt: skip
        found.append(within_horizon(replace(one, provenance=origin), model))
    return tuple(found)


def _credit(data: Any, provider: str) -> str:
    """The provider's credit line, unless the answer says that it was invented in the provider's shape."""
    remark = data.get("remark") if isinstance(data, dict) else None
    return "invented weather" if isinstance(remark, str) and remark.startswith("Invented") else provider


def distance_km(latitude_1: float, longitude_1: float, latitude_2: float, longitude_2: float) -> float:
    """Great-circle distance [km] on a sphere, haversine formula.

    References
    ----------
    R. W. Sinnott, Virtues of the Haversine, Sky and Telescope 68(2), 1984, p. 159. Mean radius 6371.0088 km
    (IUGG).
    """
    phi_1, phi_2 = math.radians(latitude_1), math.radians(latitude_2)
    half_phi, half_lambda = (phi_2 - phi_1) / 2.0, math.radians(longitude_2 - longitude_1) / 2.0
    chord = math.sin(half_phi) ** 2 + math.cos(phi_1) * math.cos(phi_2) * math.sin(half_lambda) ** 2
    return 2.0 * EARTH_RADIUS_KM * math.asin(math.sqrt(min(1.0, chord)))


def place_of(forecast: Forecast) -> tuple[float | None, float | None, float | None]:
    """Latitude, longitude and elevation [m] that an answer is of; None where it does not say."""
    where = forecast.provenance
    return where.latitude, where.longitude, where.elevation


def check_place(forecast: Forecast, latitude: float, longitude: float) -> float:
    """The distance [km] between an answer's place and the site.

    Open-Meteo and MET Norway answer for a cell of their model, which may lie several kilometres off; a cell
    of the National Weather Service is 2.5 km wide. The limits stand in `SOURCES`.

    Raises
    ------
    WeatherError
        When it is farther than the source's limit, or the answer does not say where it is.
    """
    provider = SOURCES[forecast.provenance.source]
    there = forecast.provenance
    if there.latitude is None or there.longitude is None:
        raise WeatherError(
            f"the {provider.title} answer does not say which place it is of",
            hint="ask again for the site's coordinates",
        )
    off = distance_km(latitude, longitude, there.latitude, there.longitude)
    if not off <= provider.place_limit_km:
        raise WeatherError(
            f"the {provider.title} answer is of {there.latitude:.4f}, {there.longitude:.4f}, "
            f"{off:,.0f} km from the site at {latitude:.4f}, {longitude:.4f}",
            hint=f"an answer may be at most {provider.place_limit_km:g} km off; ask again for the site",
        )
    return off
