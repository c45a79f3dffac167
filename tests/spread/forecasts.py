"""Small invented forecasts for the tests of members."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from advisor.forecast import Field, Forecast, Provenance, Reason

START = np.datetime64("2026-09-20T00", "h")
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
ISSUED = datetime(2026, 9, 21, 6, tzinfo=UTC)
HOURS = 200


def field(values, first=None, last=None) -> Field:
    """A field (site, member, hour) from (hour,) or (member, hour)."""
    values = np.array(values, dtype=float)
    values = values[None, None] if values.ndim == 1 else values[None]
    reason = np.where(np.isnan(values).all(axis=1, keepdims=True), Reason.NULL, Reason.KNOWN).astype(np.uint8)
    blocks = [
        None if bound is None else np.asarray(bound, dtype=np.int32)[None, None] for bound in (first, last)
    ]
    return Field(values, reason, *blocks)


def blocks(hours: int, length: int) -> tuple[np.ndarray, np.ndarray]:
    """First and last hour of the block of each hour, blocks of one length from the start of the axis."""
    first = np.arange(hours) // length * length
    return first, first + length - 1


def day_and_night(mean: float, swing: float, hours: int = HOURS) -> np.ndarray:
    return mean + swing * np.sin((np.arange(hours) - 14) / 24 * 2 * np.pi)


def plain(hours: int = HOURS, **fields: Field | None) -> Forecast:
    """A source without members: mild, breezy and dry; `fields` replace, add, or with None take away."""
    made = {
        "air_temperature": field(day_and_night(15.0, 6.0, hours)),
        "dew_point": field(np.full(hours, 8.0)),
        "relative_humidity": field(np.full(hours, 60.0)),
        "wind_speed_10m": field(3.0 + day_and_night(0.0, 1.0, hours)),
        "wind_gust": field(6.0 + day_and_night(0.0, 1.5, hours)),
        "wind_from_direction": field(np.full(hours, 350.0)),
        "cloud_cover": field(np.full(hours, 40.0)),
        "precipitation": field(np.zeros(hours)),
        "precipitation_probability": field(np.full(hours, 20.0), *blocks(hours, 6)),
        "shortwave_radiation": field(np.full(hours, 300.0)),
        "soil_temperature_5cm": field(np.full(hours, 16.0)),
    }
    made.update(fields)
    made = {name: one for name, one in made.items() if one is not None}
    provenance = Provenance("test-source", issued_at=ISSUED, latitude=41.6, longitude=-93.6)
    return Forecast(START, hours, made, provenance, np.ones(hours, dtype=int))


def ensemble(
    members: int = 10, hours: int = HOURS, source: str = "test-ensemble", seed: int = 5, **fields
) -> Forecast:
    """A source with members of its own."""
    random = np.random.default_rng(seed)
    lead = np.linspace(0.2, 1.5, hours)
    made = {
        "air_temperature": field(
            day_and_night(15.0, 6.0, hours) + lead * random.standard_normal((members, hours))
        ),
        "wind_speed_10m": field((1.7 + 0.2 * random.standard_normal((members, hours))) ** 2),
        "precipitation": field(np.where(random.random((members, hours)) < 0.05, 0.6, 0.0)),
    }
    made.update(fields)
    made = {name: one for name, one in made.items() if one is not None}
    provenance = Provenance(source, issued_at=ISSUED, spread="ensemble", attribution=source)
    return Forecast(START, hours, made, provenance, np.full(hours, members))


def at(forecast: Forecast, text: str) -> int:
    return forecast.index(np.datetime64(text))
