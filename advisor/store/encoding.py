"""How values are written into the ledger: instants as UTC text to the second, all else as plain JSON."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping, Set
from datetime import UTC, date, datetime, time

import numpy as np

from advisor.clock import iso
from advisor.errors import StoreError


def stamp(instant: datetime | None) -> str | None:
    """UTC text ending in Z, to the second; None stays None.

    Raises
    ------
    ValueError
        When the instant names no zone: a naive time in the ledger could mean anything.
    """
    if instant is None:
        return None
    if instant.tzinfo is None:
        raise ValueError(f"{instant!r} names no time zone")
    return iso(instant)


def instant(text: str | None) -> datetime | None:
    """What `stamp` wrote, as an aware UTC datetime; StoreError where it is not that any more."""
    return None if text is None else _read(text, lambda: datetime.fromisoformat(text).astimezone(UTC))


def day(text: str) -> date:
    """A date as it stands in the ledger; StoreError where it is none any more."""
    return _read(text, lambda: date.fromisoformat(text))


def to_json(value: object) -> str:
    """Canonical JSON: sorted keys, no spaces, NaN and infinities as null; same value, same text."""
    return json.dumps(
        plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def from_json(text: str | None) -> object:
    """What `to_json` wrote; StoreError where it is not that any more."""
    return None if text is None else _read(text, lambda: json.loads(text))


def _read(text: object, reading: Callable[[], object]):
    try:
        return reading()
    except (ValueError, TypeError, OverflowError, RecursionError) as error:
        raise StoreError(
            f"the database holds {str(text)[:40]!a}, which is not what this program writes",
            hint="look what is wrong, and go back to a backup: advisor records --verify, advisor doctor, "
            "advisor restore FILE",
        ) from error


def digest(*parts: object, length: int = 64) -> str:
    """SHA-256 of the parts as canonical JSON, its first `length` hex digits."""
    return hashlib.sha256(to_json(list(parts)).encode()).hexdigest()[:length]


def plain(value: object) -> object:
    """A value made of dict, list, str, int, float, bool and None only.

    Numbers that are not finite become None: a null is read as unknown, a NaN in JSON is read as an error.
    """
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime):
        return stamp(value)
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, np.datetime64):
        return iso(value.astype("datetime64[s]"))
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, np.ndarray):
        if value.dtype.kind == "M":
            return [plain(part) for part in value]
        return plain(value.tolist())
    if isinstance(value, Mapping):
        return {str(key): plain(part) for key, part in value.items()}
    if isinstance(value, Set):
        return sorted((plain(part) for part in value), key=str)
    if isinstance(value, (list, tuple)):
        return [plain(part) for part in value]
    raise TypeError(f"{type(value).__name__} cannot be written as JSON")
