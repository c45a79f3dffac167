"""What a mutation leaves behind, and what mutations share: hours to change, plausible bounds, sizes of a change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from advisor.clock import to_numpy

from .cells import Answer, Cell
from .scenes import ASKED_AGO, Scene


@dataclass(frozen=True, slots=True)
class Change:
    """A changed answer.

    Attributes
    ----------
    oracle : str
        "a", "b", "c" or "d".
    kind : str
        One of `KINDS`.
    says : str
        What was done, with its parameters.
    body : bytes
    rules : tuple of str
        (c) The rules to which the change does harm.
    asked_hours_ago : float
        When the answer is said to have been asked for.
    variable : str
        (c) and (d) The one that was changed; empty where periods were.
    """

    oracle: str
    kind: str
    says: str
    body: bytes
    rules: tuple[str, ...] = ()
    asked_hours_ago: float = ASKED_AGO
    variable: str = ""


#: makes a change of a scene's answer; None where the provider has nothing that could be changed so
Mutation = Callable[[np.random.Generator, Scene, Answer], Change | None]

KINDS = (
    "delete", "null", "shift", "scale", "stick", "swap units", "reorder", "duplicate", "truncate", "future", "past",
    "other place", "contradict",
)  # fmt: skip

#: lowest and highest value that a change may lead to and still be believed: weather that has been measured somewhere
PLAUSIBLE = {
    "air_temperature": (-45.0, 50.0),
    "dew_point": (-50.0, 33.0),
    "relative_humidity": (2.0, 100.0),
    "wind_speed_10m": (0.0, 50.0),
    "wind_from_direction": (0.0, 360.0),
    "wind_gust": (0.0, 80.0),
    "precipitation": (0.0, 100.0),
    "precipitation_probability": (0.0, 100.0),
    "cloud_cover": (0.0, 100.0),
    "shortwave_radiation": (0.0, 1200.0),
    "soil_temperature_5cm": (-20.0, 45.0),
}
#: largest shift that is drawn, by variable
LARGEST_SHIFT = {
    "air_temperature": 14.0, "dew_point": 10.0, "relative_humidity": 50.0, "wind_speed_10m": 8.0, "wind_gust": 10.0,
    "precipitation": 8.0, "precipitation_probability": 80.0, "cloud_cover": 90.0, "soil_temperature_5cm": 10.0,
    "wind_from_direction": 170.0,
}  # fmt: skip


def now_hour(scene: Scene) -> int:
    """The present hour, in hours since 1970."""
    return int(to_numpy(scene.now, "h").astype("int64"))


def some_hours(random: np.random.Generator, scene: Scene, longest: int = 48) -> tuple[int, int]:
    """[first, stop) of a run of hours, mostly still to come."""
    first = now_hour(scene) + int(random.integers(-12, 56))
    return first, first + int(random.integers(1, longest + 1))


def within(cells: list[Cell], first: int, stop: int) -> list[Cell]:
    """Those that touch the hours [first, stop)."""
    return [cell for cell in cells if cell.hour < stop and cell.hour + cell.length > first]


def a_variable(random: np.random.Generator, answer: Answer, among=None) -> str | None:
    """One of the variables that the provider states."""
    names = [name for name in answer.names if among is None or name in among]
    return str(random.choice(names)) if names else None


def clock(hour: int) -> str:
    """An hour since 1970 as text."""
    return str(np.datetime64(hour, "h"))
