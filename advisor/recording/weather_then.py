"""The weather while a pass was made, from readings on the spot, else from what was observed, else from a forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

import numpy as np

from advisor.atmosphere.wind import wind_speed_2m
from advisor.clock import to_numpy
from advisor.forecast import Forecast
from advisor.recording.details import FORECAST, MEASURED, PAST_HOURS, WeatherThen

#: values of the hour in which the work began
_AT_START = ("wind_speed_10m", "wind_from_direction", "air_temperature", "relative_humidity", "cloud_cover")


def weather_then(
    readings: Mapping[str, float],
    forecast: Forecast | None,
    started_at: datetime,
    ended_at: datetime | None,
    seen_until: datetime | None = None,
    seen_as: str = PAST_HOURS,
) -> WeatherThen:
    """The weather of a pass; each value from the surest source that has it.

    Parameters
    ----------
    readings : mapping
        Measured on the spot, SI, by the names of `WeatherThen`.
    forecast : Forecast, optional
        With the hours of the work on its axis, after quality control; several members give their median.
    seen_until : datetime, optional
        Hours of the forecast that are over by then had happened when it was made; later ones were forecast.
    seen_as : str
        What hours that had happened count as, one of `WEATHER_FROM`.
    """
    values: dict[str, float] = {}
    source: dict[str, str] = {}
    said_by = ""
    if forecast is not None:
        ended_at = ended_at or started_at
        found = _of_forecast(forecast, started_at, ended_at)
        if found:
            over = seen_until is not None and ended_at <= seen_until
            values.update(found)
            source.update(dict.fromkeys(found, seen_as if over else FORECAST))
            provenance = forecast.provenance
            said_by = provenance.attribution or "; ".join(provenance.notes) or provenance.source
    measured = {name: float(value) for name, value in readings.items() if np.isfinite(value)}
    if "wind_speed_2m" in measured:
        # what another source says of 10 m is no reading of this wind
        values.pop("wind_speed_10m", None)
        source.pop("wind_speed_10m", None)
    values.update(measured)
    source.update(dict.fromkeys(measured, MEASURED))
    return replace(WeatherThen(), **values, source=source, said_by=said_by)


def _of_forecast(forecast: Forecast, started_at: datetime, ended_at: datetime) -> dict[str, float]:
    hour = forecast.index(to_numpy(started_at, "h"))
    if not 0 <= hour < forecast.hours:
        return {}
    last = min(max(forecast.index(to_numpy(ended_at, "h")), hour), forecast.hours - 1)
    found = {name: _known(_middle(forecast.values(name)[0, :, hour])) for name in _AT_START}
    found["wind_gust"] = _known(_middle(forecast.values("wind_gust")[0, :, hour : last + 1].max(axis=1)))
    found["precipitation"] = _known(
        _middle(forecast.values("precipitation")[0, :, hour : last + 1].sum(axis=1))
    )
    if found["wind_speed_10m"] is not None:
        found["wind_speed_2m"] = float(wind_speed_2m(found["wind_speed_10m"]))
    return {name: value for name, value in found.items() if value is not None}


def _middle(values: np.ndarray) -> float:
    """Median over members; NaN where any is unknown, since a median of what is left would be of other weather."""
    return float(np.median(values)) if len(values) else np.nan


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None
