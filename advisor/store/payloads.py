"""The answers of weather services as they came, the evidence of every verdict. Same bytes are kept once."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from advisor.errors import Problem, StoreError
from advisor.store.database import Store
from advisor.store.encoding import from_json, instant, stamp, to_json
from advisor.store.masking import SECRET_HEADERS, masked

_COLUMNS = "id, source, site, url, status, headers, fetched_at, confirmed_at, payloads.sha256, compressed"
_FROM = "FROM payloads JOIN payload_bodies ON payload_bodies.sha256 = payloads.sha256"


@dataclass(frozen=True, slots=True)
class Payload:
    """One answer. `confirmed_at` is when the service last said that it still stands."""

    id: int
    source: str
    site: str
    url: str
    status: int
    headers: Mapping[str, str]
    fetched_at: datetime
    confirmed_at: datetime
    sha256: str
    body: bytes = field(repr=False)


def add(
    store: Store,
    *,
    source: str,
    site: str,
    url: str,
    body: bytes,
    fetched_at: datetime,
    status: int = 200,
    headers: Mapping[str, str] | None = None,
) -> Payload:
    """Keep an answer. Keys and passwords in the address, cookies and credentials in the headers are left out.

    Parameters
    ----------
    source, site : str
        The provider's name and the site's key, by which the newest answer is found again.
    headers : mapping
        Headers of the answer; their names are kept in small letters.
    """
    sha256 = hashlib.sha256(body).hexdigest()
    kept = {
        name.lower(): value for name, value in (headers or {}).items() if name.lower() not in SECRET_HEADERS
    }
    with store.write() as connection:
        known = connection.execute(
            "SELECT compressed FROM payload_bodies WHERE sha256 = ?", (sha256,)
        ).fetchone()
        if known is None or not _whole(known["compressed"], sha256):
            # the same bytes once more heal what is damaged
            connection.execute(
                "INSERT INTO payload_bodies (sha256, size, compressed) VALUES (?, ?, ?) "
                "ON CONFLICT (sha256) DO UPDATE SET compressed = excluded.compressed, size = excluded.size",
                (sha256, len(body), zlib.compress(body, 6)),
            )
        moment = stamp(fetched_at)
        row_id = connection.execute(
            "INSERT INTO payloads (source, site, url, status, headers, fetched_at, confirmed_at, sha256) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            (source, site, masked(url), status, to_json(kept), moment, moment, sha256),
        ).lastrowid
    return Payload(
        row_id, source, site, masked(url), status, kept, instant(moment), instant(moment), sha256, bytes(body)
    )


def confirm(store: Store, payload_id: int, at: datetime) -> None:
    """The service answered that this payload still stands (304); what it was fetched from does not change."""
    with store.write() as connection:
        changed = connection.execute(
            "UPDATE payloads SET confirmed_at = max(confirmed_at, ?) WHERE id = ?", (stamp(at), payload_id)
        ).rowcount
    if changed != 1:
        raise StoreError(f"there is no payload {payload_id}", where=str(store.path))


def newest(store: Store, source: str, site: str, *, until: datetime | None = None) -> Payload | None:
    """The latest good answer (status 2xx) of a source for a site, fetched no later than `until`."""
    with store.read() as connection:
        row = connection.execute(
            f"SELECT {_COLUMNS} {_FROM} WHERE source = ? AND site = ? AND status BETWEEN 200 AND 299 "
            "AND (?3 IS NULL OR fetched_at <= ?3) ORDER BY fetched_at DESC, id DESC LIMIT 1",
            (source, site, stamp(until)),
        ).fetchone()
    return None if row is None else _payload(store, row)


def newest_at(store: Store, site: str, url: str) -> Payload | None:
    """The latest good answer that came from an address for a site; one marked as poor or refused is none."""
    with store.read() as connection:
        row = connection.execute(
            f"SELECT {_COLUMNS} {_FROM} WHERE site = ? AND url = ? AND status BETWEEN 200 AND 299 "
            "AND source NOT LIKE '%:poor' AND source NOT LIKE '%:refused' "
            "ORDER BY fetched_at DESC, id DESC LIMIT 1",
            (site, masked(url)),
        ).fetchone()
    return None if row is None else _payload(store, row)


def between(store: Store, source: str, site: str, since: datetime, until: datetime) -> list[Payload]:
    """Good answers fetched in [since, until), oldest first: the kept forecasts that scores come from."""
    with store.read() as connection:
        rows = connection.execute(
            f"SELECT {_COLUMNS} {_FROM} WHERE source = ? AND site = ? AND status BETWEEN 200 AND 299 "
            "AND fetched_at >= ? AND fetched_at < ? ORDER BY fetched_at, id",
            (source, site, stamp(since), stamp(until)),
        ).fetchall()
    return [_payload(store, row) for row in rows]


def arrivals(store: Store, source: str, site: str, since: datetime, until: datetime) -> list[tuple[datetime, str]]:
    """When good answers were fetched in [since, until), oldest first, and the hashes of their bytes, which are not
    read."""
    with store.read() as connection:
        rows = connection.execute(
            "SELECT fetched_at, sha256 FROM payloads WHERE source = ? AND site = ? AND status BETWEEN 200 AND 299 "
            "AND fetched_at >= ? AND fetched_at < ? ORDER BY fetched_at, id",
            (source, site, stamp(since), stamp(until)),
        ).fetchall()
    return [(instant(row["fetched_at"]), row["sha256"]) for row in rows]


def body(store: Store, sha256: str) -> bytes | None:
    """The bytes with this hash, checked; None when they are not kept."""
    with store.read() as connection:
        row = connection.execute(
            "SELECT compressed FROM payload_bodies WHERE sha256 = ?", (sha256,)
        ).fetchone()
    return None if row is None else _checked(store, sha256, row["compressed"])


def prune(store: Store, before: datetime, *, keep: Iterable[str] = ()) -> int:
    """Remove answers fetched before an instant; how many.

    The newest good answer of each source and site, the bytes that a notice names and those in `keep` stay.
    """
    keep = set(keep)
    with store.write() as connection:
        rows = connection.execute(
            """
            SELECT id, sha256 FROM payloads AS old
            WHERE fetched_at < ?
              AND sha256 NOT IN (SELECT sha256 FROM notice_payloads)
              AND id <> coalesce((
                SELECT id FROM payloads AS other
                WHERE other.source = old.source AND other.site = old.site AND other.status BETWEEN 200 AND 299
                ORDER BY fetched_at DESC, id DESC LIMIT 1), -1)
            """,
            (stamp(before),),
        ).fetchall()
        gone = [(row["id"],) for row in rows if row["sha256"] not in keep]
        connection.executemany("DELETE FROM payloads WHERE id = ?", gone)
        connection.execute("DELETE FROM payload_bodies WHERE sha256 NOT IN (SELECT sha256 FROM payloads)")
    return len(gone)


def check(store: Store) -> tuple[Problem, ...]:
    """Every kept body against its hash; empty when all are whole."""
    problems = []
    with store.read() as connection:
        hashes = [row[0] for row in connection.execute("SELECT sha256 FROM payload_bodies")]
    for sha256 in hashes:
        try:
            body(store, sha256)
        except StoreError as error:
            problems += error.problems
    return tuple(problems)


def _payload(store: Store, row) -> Payload:
    return Payload(
        row["id"],
        row["source"],
        row["site"],
        row["url"],
        row["status"],
        from_json(row["headers"]),
        instant(row["fetched_at"]),
        instant(row["confirmed_at"]),
        row["sha256"],
        _checked(store, row["sha256"], row["compressed"]),
    )


def _whole(compressed: bytes, sha256: str) -> bool:
    try:
        return hashlib.sha256(zlib.decompress(compressed)).hexdigest() == sha256
    except zlib.error:
        return False


def _checked(store: Store, sha256: str, compressed: bytes) -> bytes:
    try:
        found = zlib.decompress(compressed)
    except zlib.error:
        found = None
    if found is None or hashlib.sha256(found).hexdigest() != sha256:
        raise StoreError(
            f"the stored payload {sha256[:12]} is damaged",
            where=str(store.path),
            hint="look whether all is whole: advisor doctor; the next pull fetches new weather",
        )
    return found
