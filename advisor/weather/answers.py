"""Kept answers and what they are for, and the note that each pull leaves of what came of it.

A pull's note is kept like an answer, under the name `PULL`. It names, for each part of the weather, the answer that
counts from then on, by hash and times; and what failed. A part whose pull failed keeps the answer it had.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from advisor.errors import StoreError
from advisor.model import Site
from advisor.store import Store, payloads
from advisor.store.encoding import instant, stamp
from advisor.store.payloads import Payload

Role = Literal["forecast", "poor", "cross-check", "ensemble", "warnings", "observations"]

#: names under which notes of pulls and reports of stations are kept
PULL, REPORTS = "pull", "nws-observations"
_FORMAT = 1


def site_key(site: Site) -> str:
    """By which a site's answers are found again: its coordinates, as they are asked for."""
    return site.key


def poor(source: str) -> str:
    """The name under which an answer is kept that can be read and is of little use, so that it hides no better one."""
    return f"{source}:poor"


def refused(source: str) -> str:
    """The name under which an answer is kept that cannot be read or is of another place: evidence, never used."""
    return f"{source}:refused"


@dataclass(frozen=True, slots=True)
class Kept:
    """One answer as evidence: what it is for, its bytes by hash, and when it came.

    `confirmed_at` is when the provider last vouched for it, as it stood when the answer was used. `remark` is what a
    person should know although it can be used.
    """

    role: Role
    source: str
    sha256: str
    fetched_at: datetime
    confirmed_at: datetime
    url: str = ""
    body: bytes = field(default=b"", repr=False, compare=False)
    remark: str = ""

    @classmethod
    def of(cls, role: Role, source: str, payload: Payload, remark: str = "") -> Kept:
        return cls(role, source, payload.sha256, payload.fetched_at, payload.confirmed_at, payload.url, payload.body,
                   remark)  # fmt: skip

    def plain(self) -> dict[str, Any]:
        return {"role": self.role, "source": self.source, "sha256": self.sha256, "url": self.url,
                "fetched_at": stamp(self.fetched_at), "confirmed_at": stamp(self.confirmed_at),
                "remark": self.remark}  # fmt: skip

    @classmethod
    def read(cls, plain: Mapping[str, Any], body: bytes = b"") -> Kept:
        return cls(plain["role"], plain["source"], plain["sha256"], instant(plain["fetched_at"]),
                   instant(plain["confirmed_at"]), plain["url"], body, plain.get("remark", ""))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Failure:
    """What could not be had: `says` names the provider and the fault."""

    role: Role
    source: str
    says: str


@dataclass(frozen=True, slots=True)
class Answers:
    """Everything that a household's weather is made of.

    Attributes
    ----------
    kept : tuple of Kept
        At most one forecast, poor answer, cross-check and list of warnings; an ensemble answer a model.
    failures : tuple of Failure
        Of the last pull.
    past : bytes
        Past weather as `advisor.weather.past` writes it; empty where nothing is known beside the forecast's own.
    """

    kept: tuple[Kept, ...] = ()
    failures: tuple[Failure, ...] = ()
    past: bytes = b""

    def all(self, role: Role) -> tuple[Kept, ...]:
        return tuple(one for one in self.kept if one.role == role)

    def one(self, role: Role) -> Kept | None:
        return next(iter(self.all(role)), None)

    def failed(self, *roles: Role) -> tuple[Failure, ...]:
        return tuple(one for one in self.failures if one.role in roles)


def write_note(store: Store, key: str, answers: Answers, now: datetime) -> None:
    """Keep what came of a pull."""
    failures = [{"role": one.role, "source": one.source, "says": one.says} for one in answers.failures]
    plain = {"format": _FORMAT, "kept": [one.plain() for one in answers.kept], "failures": failures}
    body = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    payloads.add(store, source=PULL, site=key, url=PULL, body=body, fetched_at=now)


def read_note(store: Store, key: str, until: datetime | None = None) -> Answers | None:
    """What the last pull at `until` left, with the bytes of its answers; None where there was none.

    An answer whose bytes are gone or damaged is left out.
    """
    try:
        note = payloads.newest(store, PULL, key, until=until)
    except StoreError:
        return None
    if note is None:
        return None
    plain = json.loads(note.body)
    if plain.get("format") != _FORMAT:
        return None
    kept = (_with_body(store, one) for one in plain["kept"])
    failures = tuple(Failure(one["role"], one["source"], one["says"]) for one in plain["failures"])
    return Answers(tuple(one for one in kept if one is not None), failures)


def newest_of(
    store: Store, key: str, sources: Iterable[str], until: datetime | None = None
) -> tuple[str, Payload] | None:
    """The source whose newest good answer was vouched for last, and that answer; damaged bytes are none."""
    found: list[tuple[str, Payload]] = []
    for name in sources:
        try:
            payload = payloads.newest(store, name, key, until=until)
        except StoreError:
            continue
        if payload is not None:
            found.append((name, payload))
    return max(found, key=lambda pair: pair[1].confirmed_at) if found else None


def _with_body(store: Store, plain: Mapping[str, Any]) -> Kept | None:
    try:
        body = payloads.body(store, plain["sha256"])
    except StoreError:
        return None
    return None if body is None else Kept.read(plain, body)
