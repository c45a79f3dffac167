"""Field types of the household's files: text as people write it in, plain values of SI out.

Everything here runs inside pydantic validators; `fault` makes what they raise: what is wrong, what to do.
"""

from __future__ import annotations

import math
import re
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, model_validator
from pydantic_core import PydanticCustomError

from advisor.errors import did_you_mean
from advisor.household import turf
from advisor.units import UnitError, example, parse, show

#: sixteen points of the compass, clockwise from north
COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
_LONG_POINTS = {"NORTH": "N", "EAST": "E", "SOUTH": "S", "WEST": "W"}


def fault(what: str, hint: str = "") -> PydanticCustomError:
    return PydanticCustomError("advisor", "{what}", {"what": what, "hint": hint})


class Table(BaseModel):
    """A table of a TOML file: unknown keys are faults, nothing is coerced, empty text counts as left out."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    @model_validator(mode="before")
    @classmethod
    def _drop_blank(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        return {
            key: value for key, value in data.items() if not (isinstance(value, str) and not value.strip())
        }


def quantity(
    dimension: str, low: float | None = None, high: float | None = None, *, above: float | None = None
) -> Any:
    """A field of text with a unit, read into the canonical unit, as its bounds are; `above` is exclusive."""
    advice = f"write text with a unit, such as {example(dimension)}"

    def read(value: Any) -> float:
        if isinstance(value, int | float) and not isinstance(value, bool):
            raise fault(f"{value} has no unit", advice)
        if not isinstance(value, str):
            raise fault(f"{printed(value)} is not a quantity", advice)
        try:
            number = parse(value, dimension)
        except UnitError as error:
            raise fault(unit_words(error), error.problems[0].hint or advice) from error
        within(number, dimension, low, high, above, value)
        return number

    return Annotated[float, BeforeValidator(read)]


def unit_words(error: UnitError) -> str:
    """What is wrong with a quantity; "a area" becomes "an area"."""
    return re.sub(r"\ba (?=(?:area|angle|irradiance)\b)", "an ", error.problems[0].what)


def within(
    number: float, dimension: str, low: float | None, high: float | None, above: float | None, written: object
) -> None:
    """Raise a fault when a number lies outside bounds that are plausible at all."""
    if above is not None and not number > above:
        raise fault(f'"{written}" must be more than {_bound(above, dimension)}')
    if low is not None and number < low:
        raise fault(
            f'"{written}" is not plausible: less than {_bound(low, dimension)}', "check number and unit"
        )
    if high is not None and number > high:
        raise fault(
            f'"{written}" is not plausible: more than {_bound(high, dimension)}', "check number and unit"
        )


def _bound(value: float, dimension: str) -> str:
    if value == 0.0 and dimension != "temperature":
        return "0"
    us, metric = show(value, dimension, "us"), show(value, dimension, "metric")
    return metric if us == metric else f"{metric} ({us})"


def printed(value: Any) -> str:
    """A value as it stands in a file."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else str(value)


def share(*, above: float | None = None) -> Any:
    """A fraction from 0 to 1, as a plain number or as "60 percent"."""

    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float | str):
            raise fault(f"{printed(value)} is not a share", 'write 0.6 or "60 percent"')
        if isinstance(value, str):
            try:
                number = (
                    parse(value, "percent") / 100.0
                    if re.search(r"%|percent|pct", value)
                    else parse(value, "fraction")
                )
            except UnitError as error:
                raise fault(unit_words(error), 'write 0.6 or "60 percent"') from error
        else:
            number = float(value)
        if not 0.0 <= number <= 1.0 or not math.isfinite(number) or (above is not None and number <= above):
            raise fault(f"{printed(value)} is not between 0 and 1", 'write 0.6 or "60 percent"')
        return number

    return Annotated[float, BeforeValidator(read)]


def number(what: str, low: float, high: float, hint: str = "") -> Any:
    """A plain number within bounds, inclusive; for coordinates and costs."""

    def read(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise fault(f"{printed(value)} is not a number", hint or f"write a plain number for the {what}")
        if not low <= value <= high:
            raise fault(f"{what} {value} is outside {low:g} to {high:g}", hint)
        return float(value)

    return Annotated[float, BeforeValidator(read)]


def whole(low: int, high: int) -> Any:
    """A whole number, bare or as text."""

    def read(value: Any) -> int:
        text = value.strip() if isinstance(value, str) else value
        if isinstance(text, str) and re.fullmatch(r"\d{1,18}", text):
            text = int(text)
        if isinstance(text, bool) or not isinstance(text, int):
            raise fault(f"{printed(value)} is not a whole number", f"write a number such as {max(low, 2)}")
        if not low <= text <= high:
            raise fault(f"{value} is outside {low} to {high}")
        return text

    return Annotated[int, BeforeValidator(read)]


def choice(*known: str, what: str) -> Any:
    """One of a list of words, with a guess at what was meant; case and spaces for hyphens are forgiven."""

    def read(value: Any) -> str:
        if not isinstance(value, str):
            raise fault(f"{printed(value)} is not a {what}", "known: " + ", ".join(known))
        word = value.strip().casefold()
        for one in known:
            if one.casefold() in (word, word.replace(" ", "-"), word.replace("-", " ")):
                return one
        raise fault(f'"{value}" is not a {what} that is known here', did_you_mean(word, known))

    return Annotated[str, BeforeValidator(read)]


def _read_turf(value: Any) -> str:
    if not isinstance(value, str):
        raise fault(f"{printed(value)} is not a turf species")
    name = turf.canonical_name(value)
    if name is None:
        raise fault(f'"{value}" is not a turf species that is known here', turf.suggestion(value))
    return name


def _read_bearing(value: Any) -> float:
    if isinstance(value, str):
        word = re.sub(r"[\s-]", "", value).upper()
        for long, short in _LONG_POINTS.items():
            word = word.replace(long, short)
        if word in COMPASS:
            return COMPASS.index(word) * 22.5
        if re.fullmatch(r"[A-Za-z\s-]+", value):
            raise fault(
                f'"{value}" is not a bearing', 'write "90 deg" or a point of the compass such as "E" or "SSW"'
            )
        try:
            degrees = parse(value, "angle")
        except UnitError as error:
            raise fault(unit_words(error), 'write "90 deg" or "E"') from error
        if not 0.0 <= degrees <= 360.0:
            raise fault(f'"{value}" is outside 0 to 360 deg')
        return degrees % 360.0
    raise fault(f"{printed(value)} is not a bearing", 'write text such as "90 deg" or "E"')


def _read_id(value: Any) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"[a-z0-9][a-z0-9_-]*", value):
        raise fault(
            f"{printed(value)} cannot be an id",
            'use small letters, digits and hyphens, such as "back" or "side-strip"',
        )
    return value


def _read_words(value: Any) -> str:
    """Text, or a list of texts that reads as one."""
    if isinstance(value, str):
        return value
    if isinstance(value, list) and value and all(isinstance(one, str) for one in value):
        return ", ".join(value)
    raise fault(f"{printed(value)} is neither text nor a list of texts")


Text = Annotated[str, BeforeValidator(lambda value: _need_text(value))]
Id = Annotated[str, BeforeValidator(_read_id)]
Words = Annotated[str, BeforeValidator(_read_words)]
Turf = Annotated[str, BeforeValidator(_read_turf)]
Bearing = Annotated[float, BeforeValidator(_read_bearing)]


def _need_text(value: Any) -> str:
    if not isinstance(value, str):
        raise fault(f"{printed(value)} is not text", "put it in quotes")
    return value.strip()
