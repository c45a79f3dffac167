"""From the bytes of an answer to plain values: JSON, recorded wrappers, numbers, instants, units.

Everything here refuses rather than guesses. A number is a number of JSON; text, booleans and infinities are
no values.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np

from advisor.clock import to_numpy
from advisor.errors import WeatherError
from advisor.units import conversion

#: an axis longer than this is a damaged answer, not a forecast
MOST_HOURS = 24 * 366 * 100


@dataclass(frozen=True, slots=True)
class Document:
    """The JSON of an answer, freed from a recorder's wrapper; `status` and `fetched_at` where the wrapper
    kept
    them."""

    data: Any
    status: int | None = None
    fetched_at: datetime | None = None
    address: str = ""


def read_document(body: bytes) -> Document:
    """Decode the bytes of an answer.

    Raises
    ------
    WeatherError
        When they are empty, a web page, cut off or otherwise no JSON.
    """
    data = _decode(body)
    if (
        isinstance(data, dict)
        and isinstance(data.get("http_interactions"), list)
        and data["http_interactions"]
    ):
        return _recorded_interaction(data["http_interactions"])
    if isinstance(data, dict) and "data" in data and {"status_code", "headers"} & data.keys():
        inner = data["data"]
        inner = _decode(inner) if isinstance(inner, str) else inner
        return Document(inner, _status(data.get("status_code")), _date_header(data.get("headers")))
    return Document(data)


def _recorded_interaction(interactions: list) -> Document:
    if len(interactions) > 1:
        raise WeatherError(
            f"the record holds {len(interactions)} answers, and only one can be read",
            hint="keep one request in the record",
        )
    first = interactions[0] if isinstance(interactions[0], dict) else {}
    response = first.get("response") if isinstance(first.get("response"), dict) else {}
    holder = response.get("body")
    text = holder.get("string") if isinstance(holder, dict) else holder
    if not isinstance(text, str):
        raise WeatherError("the record of a request holds no answer", hint="give the answer's own body")
    status = response.get("status")
    status = status.get("code") if isinstance(status, dict) else status
    request = first.get("request") if isinstance(first.get("request"), dict) else {}
    return Document(
        _decode(text),
        _status(status),
        _date_header(response.get("headers")),
        str(request.get("uri") or ""),
    )


def _decode(body: bytes | str) -> Any:
    text = (
        body.decode("utf-8-sig", errors="replace").strip()
        if isinstance(body, bytes | bytearray)
        else str(body)
    )
    if not text:
        raise WeatherError("the answer is empty", hint="ask again, or use the last answer that was kept")
    if text[0] == "<":
        title = re.search(r"<title[^>]*>(.*?)</title>", text[:4000], re.IGNORECASE | re.DOTALL)
        said = f', which says "{" ".join(title.group(1).split())[:120]}"' if title else ""
        raise WeatherError(
            f"the answer is a web page{said}, not weather data",
            hint="a proxy or the provider's gate answered in its place; wait a few minutes and ask again",
        )
    try:
        return json.loads(text, parse_constant=lambda _: None, object_pairs_hook=_without_doubles)
    except json.JSONDecodeError as error:
        if text[0] not in "{[":
            raise WeatherError(
                f'the answer is not JSON: it begins with "{text[:40].splitlines()[0]}"',
                hint="a saved answer must be the provider's own JSON",
            ) from error
        cut = error.pos >= len(text) - 1 or text[-1] not in "}]"
        what = "the answer is cut off" if cut else "the answer is not valid JSON"
        raise WeatherError(
            f"{what} (line {error.lineno}, column {error.colno}: {error.msg})",
            hint="the connection broke or the file is damaged; ask again",
        ) from error
    except (ValueError, RecursionError) as error:
        raise WeatherError(
            "the answer is JSON that no provider sends (nested too deep, or a number too long)",
            hint="the file is damaged or not a weather answer",
        ) from error


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A JSON object. One that names a member twice means two things, and which of them holds is not known."""
    found = dict(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        twice = next(name for name, _ in pairs if name in seen or seen.add(name))
        raise WeatherError(
            f'the answer holds "{twice[:40]}" twice in one place', hint="the file is damaged; ask again"
        )
    return found


def _status(value: Any) -> int | None:
    try:
        return int(value)
    except (TypeError, ValueError, OverflowError):
        return None


def _date_header(headers: Any) -> datetime | None:
    if not isinstance(headers, Mapping):
        return None
    for name, value in headers.items():
        if str(name).lower() == "date":
            return http_date(value[0] if isinstance(value, list) and value else value)
    return None


def http_date(text: Any) -> datetime | None:
    """A date of an HTTP header as a UTC datetime; None where it is none."""
    # loads sockets and all of mail, a fiftieth of an outlook's start-up: most answers are asked for no such date
    from email.utils import parsedate_to_datetime

    try:
        instant = parsedate_to_datetime(text)
        return instant.replace(tzinfo=UTC) if instant.tzinfo is None else instant.astimezone(UTC)
    except (TypeError, ValueError, IndexError, AttributeError, OverflowError):
        return None


def words(value: Any, most: int = 300) -> str:
    """Text of an answer on one line, as far as it may be told on; "" for anything but text and plain numbers."""
    if type(value) in (int, float) and abs(number(value)) < 1e15:
        value = f"{value:g}" if type(value) is float else str(value)
    return " ".join(value[: 4 * most].split())[:most] if isinstance(value, str) else ""


def number(value: Any) -> float:
    """A JSON number as a float, NaN for anything else."""
    if type(value) not in (int, float):
        return math.nan
    try:
        value = float(value)
    except OverflowError:
        return math.nan
    return value if math.isfinite(value) else math.nan


def numbers(values: Sequence[Any]) -> tuple[np.ndarray, int]:
    """Values of a JSON list as floats, NaN for null, and how many were neither a number nor null."""
    out = np.array([number(value) for value in values], dtype=float)
    wrong = sum(1 for value in values if value is not None and type(value) not in (int, float))
    return out, wrong


#: heights that a place on land can have [m]
_LOWEST, _HIGHEST = -450.0, 9000.0


def height(metres: Any) -> float | None:
    """An elevation [m] that a place can have; None for anything else."""
    value = number(metres)
    return value if _LOWEST <= value <= _HIGHEST else None


def point(geometry: Any) -> tuple[float | None, float | None, float | None]:
    """Latitude, longitude and elevation [m] of a GeoJSON point; None where it says none or an impossible one."""
    held = geometry.get("coordinates") if isinstance(geometry, dict) else None
    if not isinstance(held, list) or not 2 <= len(held) <= 3:
        return None, None, None
    longitude, latitude = number(held[0]), number(held[1])
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
        return None, None, None
    return latitude, longitude, height(held[2]) if len(held) == 3 else None


def instant(text: Any) -> np.datetime64:
    """An ISO 8601 instant with its offset as naive UTC datetime64[s]; NaT for anything else."""
    try:
        moment = datetime.fromisoformat(text)
        return np.datetime64("NaT", "s") if moment.tzinfo is None else to_numpy(moment)
    except (TypeError, ValueError, OverflowError):
        return np.datetime64("NaT", "s")


def moment(text: Any) -> datetime | None:
    """An ISO 8601 instant with its offset as an aware UTC datetime; None for anything else."""
    at = instant(text)
    return None if np.isnat(at) else at.item().replace(tzinfo=UTC)


def in_canonical_unit(
    values: np.ndarray, unit: Any, aliases: Mapping[str, str], dimension: str
) -> np.ndarray | None:
    """Values in a provider's unit as the canonical unit of a dimension; None where the unit is not known.

    Parameters
    ----------
    aliases : mapping of str to str
        The provider's spelling to the spelling of `advisor.units`. A unit that is not listed is never
        guessed.
    """
    spelled = aliases.get(unit) if isinstance(unit, str) else None
    if spelled is None:
        return None
    try:
        factor, offset = conversion(spelled, dimension)
    except ValueError:
        return None
    return values * factor + offset


def check_span(first: np.datetime64, last: np.datetime64, most_hours: int, provider: str) -> None:
    """Refuse an axis that no forecast has."""
    span = int((last - first) / np.timedelta64(1, "h"))
    if span > most_hours:
        raise WeatherError(
            f"the {provider} answer spans {span // 24} days, more than the {most_hours // 24} it can be",
            hint="one of its times is damaged",
        )
