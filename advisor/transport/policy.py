"""What to do about a request, given what was kept and the time. Pure: nothing is sent, no clock is read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from advisor.sources.reading import http_date

#: how long an answer without cache headers is taken for fresh [h], and the longest that any header is
#: believed [h]
PLAIN_LIFETIME = 0.5
LONGEST_LIFETIME = 24.0


@dataclass(frozen=True, slots=True)
class Archived:
    """An answer as it was kept; header names in lower case."""

    body: bytes
    fetched_at: datetime
    url: str
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Decision:
    """What to do about a request: `action` is "use", "revalidate" or "ask"; `headers` make the question
    conditional."""

    action: Literal["use", "revalidate", "ask"]
    headers: Mapping[str, str] = field(default_factory=dict)
    fresh_until: datetime | None = None


def lifetime(headers: Mapping[str, str]) -> timedelta | None:
    """How long an answer counts as fresh by its headers; None where they do not say.

    Expires is measured from the provider's own Date, so that a wrong clock here does no harm.
    """
    cache = {name: value for name, _, value in _directives(headers.get("cache-control", ""))}
    if "no-store" in cache or "no-cache" in cache:
        return timedelta(0)
    seconds: float | None = None
    if cache.get("max-age", "").isdigit():
        age = headers.get("age", "0")
        seconds = float(cache["max-age"]) - (float(age) if age.isdigit() else 0.0)
    elif "expires" in headers:
        expires, dated = http_date(headers["expires"]), http_date(headers.get("date"))
        if expires is None:
            return timedelta(0)  # "Expires: 0" and the like mean already expired
        if dated is not None:
            seconds = (expires - dated).total_seconds()
    if seconds is None:
        return None
    return timedelta(seconds=min(max(seconds, 0.0), LONGEST_LIFETIME * 3600.0))


def _directives(text: str) -> list[tuple[str, str, str]]:
    return [part.strip().lower().partition("=") for part in text.split(",") if part.strip()]


def decide(
    previous: Archived | None, url: str, now: datetime, *, force: bool = False, at_least: float = 0.0
) -> Decision:
    """Whether to use what was kept, to ask whether it changed, or to ask anew.

    Parameters
    ----------
    url : str
        Address as shown; an answer of another address is of no use.
    force : bool
        Ask even if the kept answer is fresh.
    at_least : float
        The answer is fresh for so long whatever its headers say [h]: for what changes by the week.
    """
    if previous is None or previous.url != url or previous.status not in (200, 203):
        return Decision("ask")
    age = now - previous.fetched_at
    stated = lifetime(previous.headers)
    fresh_for = timedelta(hours=PLAIN_LIFETIME) if stated is None else stated
    fresh_for = max(fresh_for, timedelta(hours=at_least))
    until = previous.fetched_at + fresh_for
    # An answer from the future was kept under a wrong clock: its freshness means nothing.
    if not force and timedelta(0) <= age < fresh_for:
        return Decision("use", fresh_until=until)
    conditions = {}
    if "etag" in previous.headers:
        conditions["If-None-Match"] = previous.headers["etag"]
    if "last-modified" in previous.headers:
        conditions["If-Modified-Since"] = previous.headers["last-modified"]
    return Decision("revalidate" if conditions else "ask", conditions, until)


def retry_after_seconds(text: str | None, now: datetime) -> float:
    """Seconds that a Retry-After header asks to wait; 0 where it is none."""
    if not text:
        return 0.0
    if re.fullmatch(r"\s*\d{1,9}\s*", text):
        return float(text)
    until = http_date(text)
    return 0.0 if until is None else max(0.0, (until - now).total_seconds())
