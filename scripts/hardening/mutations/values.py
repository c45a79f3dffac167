"""(c) and (d) Changes of values that can be believed: to the harm of a rule, or in its favour.

`HARM` names for every rule of the weather the variable that it measures and the way that does it harm. A rule that
rests on several variables in opposite senses stands there only with the one that is its own: the gust at 2 m falls when
the mean wind alone rises, and more cloud mixes the night but not the day.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .cells import Answer, Cell
from .change import LARGEST_SHIFT, PLAUSIBLE, Change, clock, now_hour, some_hours, within
from .scenes import BEARINGS, Scene

UP, DOWN = 1, -1
HARM: tuple[tuple[str, int, tuple[str, ...]], ...] = (
    ("wind_speed_10m", UP, ("wind-strong",)),
    ("wind_speed_10m", DOWN, ("wind-calm", "inversion")),
    ("wind_gust", UP, ("gusts",)),
    ("air_temperature", DOWN, ("air-cold", "frost", "nights", "nights-autumn", "growth-warm", "growth-autumn")),
    ("air_temperature", UP, ("air-hot", "vapour", "evaporation")),
    ("relative_humidity", DOWN, ("evaporation",)),
    ("relative_humidity", UP, ("leaves-wet", "leaves-drying")),
    ("dew_point", UP, ("leaves-wet", "leaves-drying")),
    ("precipitation", UP, ("rain-during", "rainfast", "runoff", "runoff-two-days", "runoff-curve", "waterlogged",
                           "leaves-wet", "leaves-drying")),
    ("precipitation", DOWN, ("watered-in", "moisture-stress")),
    ("precipitation_probability", UP, ("rain-chance",)),
    ("cloud_cover", DOWN, ("inversion",)),
    ("soil_temperature_5cm", UP, ("soil-temperature",)),
)  # fmt: skip
#: labels of units that make less or more of a number, by provider: (variable, unit, way)
OTHER_UNITS = {
    "open-meteo": (("wind_speed_10m", "km/h", DOWN), ("wind_speed_10m", "kn", DOWN), ("wind_gust", "mp/h", DOWN),
                   ("air_temperature", "°F", DOWN), ("dew_point", "°F", DOWN), ("precipitation", "inch", UP),
                   ("precipitation", "cm", UP), ("soil_temperature_5cm", "°F", DOWN)),
    "nws": (("wind_speed_10m", "wmoUnit:m_s-1", UP), ("wind_speed_10m", "wmoUnit:kt", UP),
            ("wind_gust", "wmoUnit:m_s-1", UP), ("air_temperature", "wmoUnit:degF", DOWN),
            ("dew_point", "wmoUnit:degF", DOWN)),
    "met-norway": (("wind_speed_10m", "km/h", DOWN), ("wind_speed_10m", "knots", DOWN),
                   ("air_temperature", "fahrenheit", DOWN), ("precipitation", "cm", UP)),
}  # fmt: skip


def harmful(random: np.random.Generator, scene: Scene, answer: Answer) -> Change | None:
    """(c) A believable change that does harm to some rules."""
    if random.random() < 0.08:
        rule = str(random.choice(list(BEARINGS)))
        return _turned(random, scene, answer, rule, towards=True)
    stated = [one for one in HARM if one[0] in answer.names]
    name, way, rules = stated[random.integers(len(stated))]
    change = _moved(random, scene, answer, name, way)
    if name == "wind_speed_10m" and way == UP and "wind_gust" not in answer.names:
        rules = (*rules, "gusts")  # estimated from the mean wind
    return replace(change, oracle="c", rules=rules)


def favourable(random: np.random.Generator, scene: Scene, answer: Answer) -> Change | None:
    """(d) A believable change in favour of some rules."""
    chance = random.random()
    if chance < 0.06:
        return _turned(random, scene, answer, str(random.choice(list(BEARINGS))), towards=False)
    if chance < 0.3:
        return _rearranged(random, scene, answer)
    stated = [one for one in HARM if one[0] in answer.names]
    name, way, rules = stated[random.integers(len(stated))]
    return replace(_moved(random, scene, answer, name, -way), oracle="d", rules=rules)


def _moved(random: np.random.Generator, scene: Scene, answer: Answer, name: str, way: int) -> Change:
    """A variable higher or lower, in all hours or in some: shifted, scaled, or by the label of its unit."""
    units = [unit for one, unit, other in OTHER_UNITS[scene.provider] if one == name and other == way]
    if units and random.random() < 0.15:
        unit = str(random.choice(units))
        answer.set_unit(name, unit)
        return Change("", "swap units", f"{name} in {unit}", answer.bytes, variable=name)
    cells = answer.cells(name)
    span = "throughout"
    if random.random() < 0.4:
        first, stop = some_hours(random, scene)
        cells, span = within(cells, first, stop), f"from {clock(first)} for {stop - first} h"
    low, high = PLAUSIBLE[name]
    scaled = low == 0.0 and random.random() < 0.4
    by = (
        float(np.exp(way * random.uniform(0.02, 2.0)))
        if scaled
        else float(way * LARGEST_SHIFT[name] * random.random())
    )
    for cell in cells:
        if cell.value is None:
            continue
        each = cell.value / cell.length if name == "precipitation" else cell.value
        moved = each * by if scaled else each + by
        # what lay beyond what is believed before does not turn round
        moved = min(max(moved, min(low, each)), max(high, each))
        cell.put(moved * cell.length if name == "precipitation" else moved)
    says = f"{name} {'x' if scaled else '+'} {by:.4g} {span}"
    return Change("", "scale" if scaled else "shift", says, answer.bytes, variable=name)


def _turned(random: np.random.Generator, scene: Scene, answer: Answer, rule: str, *, towards: bool) -> Change:
    """The wind turned so that it blows more, or less, towards a neighbour."""
    blows_there = (BEARINGS[rule] + 180.0) % 360.0
    most = float(LARGEST_SHIFT["wind_from_direction"] * random.random())
    for cell in answer.cells("wind_from_direction"):
        off = (cell.value - blows_there + 180.0) % 360.0 - 180.0
        side = 1.0 if off >= 0.0 else -1.0
        off = side * (max(abs(off) - most, 0.0) if towards else min(abs(off) + most, 180.0))
        cell.put((blows_there + off) % 360.0)
    says = f"wind turned by up to {most:.0f} deg {'towards' if towards else 'away from'} {BEARINGS[rule]:.0f} deg"
    return Change(
        "c" if towards else "d", "shift", says, answer.bytes, (rule,), variable="wind_from_direction"
    )


def _rearranged(random: np.random.Generator, scene: Scene, answer: Answer) -> Change | None:
    """Believable values at the wrong hours: moved in time, exchanged, held, or one of them twice."""
    way = str(random.choice(["future", "past", "reorder", "stick", "duplicate"]))
    now = now_hour(scene)
    if way in ("future", "past"):
        # the present hour stays inside, so that nothing looks amiss
        most = {"nws": 5, "open-meteo": 140, "met-norway": 1}[scene.provider] if way == "future" else 40
        hours = int(random.integers(1, most + 1)) * (1 if way == "future" else -1)
        if random.random() < 0.5 and most >= 24:
            hours = 24 * (1 if way == "future" else -1)
        answer.move(hours)
        return Change("d", way, f"periods moved by {hours} h", answer.bytes)
    name = str(random.choice([one for one in answer.names if one in LARGEST_SHIFT]))
    cells = [cell for cell in answer.cells(name) if cell.hour >= now and cell.length == 1]
    if len(cells) < 30:
        return None
    at, count = int(random.integers(0, 12)), int(random.integers(2, 12))
    values = [cell.value for cell in cells]
    if way == "reorder":
        other = (
            at + count + int(random.integers(0, len(cells) - at - 2 * count + 1))
            if len(cells) > at + 2 * count
            else at
        )
        values[at : at + count], values[other : other + count] = (
            values[other : other + count],
            values[at : at + count],
        )
    elif way == "stick":
        values[at : at + count] = [values[at]] * count
    else:
        values[at + 1 :] = values[at:-1]
    for cell, value in zip(cells, values, strict=True):
        cell.put(float(value))
    return Change("d", way, f"{name}: {count} h from {clock(cells[at].hour)}", answer.bytes, variable=name)


def hourly(cells: list[Cell], share: bool) -> dict[int, float]:
    """Values by hour; amounts shared out over their block."""
    out: dict[int, float] = {}
    for cell in cells:
        value = cell.value
        if value is not None:
            for hour in range(cell.hour, cell.hour + cell.length):
                out[hour] = value / cell.length if share else value
    return out
