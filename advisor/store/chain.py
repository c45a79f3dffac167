"""The chain of the records: each record has a link, a hash over all that its row holds and over the link before.

What is hashed, so that anybody can work it out again (form "advisor.record/1"): SHA-256 of the UTF-8 bytes of a
JSON array without spaces, ["advisor.record/1", link before, row, id, written_at, corrects, withdrawn, area,
treatment, product, active_ingredients, started_at, ended_at, amount, size, who, note, extra], the values as the
database holds them: text as text (lists and `extra` are JSON text there), numbers in the shortest form that reads
back as the same float, null where nothing is stored; characters outside ASCII stand as they are. The link before
the first is 64 zeros. Corrections and withdrawals are records and have links like the others.

| somebody ... | the chain shows it |
|---|---|
| changes, removes, adds or reorders records in the file, and leaves the links | yes, with the record |
| removes the newest records with their links, or works all links out anew | only against a head kept elsewhere |
| wrote a false record in the ordinary way | no: a chain keeps what was written, true or not |
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

FORM = "advisor.record/1"
#: stands before the first link
BEGINNING = "0" * 64
FIELDS = (
    "row", "id", "written_at", "corrects", "withdrawn", "area", "treatment", "product", "active_ingredients",
    "started_at", "ended_at", "amount", "size", "who", "note", "extra",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Break:
    """A record that does not fit: its row and id (empty where the record itself is gone), and what is wrong."""

    row: int
    id: str
    what: str


@dataclass(frozen=True, slots=True)
class Chain:
    """What verifying found: the links in their order, oldest first, and the breaks."""

    records: int
    links: tuple[str, ...]
    breaks: tuple[Break, ...]

    @property
    def head(self) -> str:
        """The newest link, which stands for all records before it."""
        return self.links[-1] if self.links else BEGINNING

    def since(self, head: str) -> int | None:
        """How many records were added since `head` was the newest link; None where it is none of the links."""
        if head == BEGINNING:
            return len(self.links)
        return len(self.links) - 1 - self.links.index(head) if head in self.links else None


def link(before: str, row: Mapping[str, object]) -> str:
    """The link of a record.

    Parameters
    ----------
    before : str
        The link of the record before it, or `BEGINNING`.
    row : mapping
        Its row as the database holds it, by `FIELDS`.
    """
    told = json.dumps(
        [FORM, before, *(row[name] for name in FIELDS)], separators=(",", ":"), ensure_ascii=False
    )
    return hashlib.sha256(told.encode("utf-8", "surrogatepass")).hexdigest()


def extend(connection: sqlite3.Connection, record_id: str) -> str:
    """Add the link of a record that was just written, in the same transaction; the link."""
    row = _rows(connection, "WHERE id = ?", record_id)[0]
    found = connection.execute("SELECT hash FROM record_links ORDER BY row DESC LIMIT 1").fetchone()
    made = link(found[0] if found else BEGINNING, row)
    connection.execute(
        "INSERT INTO record_links (row, form, hash) VALUES (?, ?, ?)", (row["row"], FORM, made)
    )
    return made


def chain_all(connection: sqlite3.Connection) -> None:
    """Give every record of an older ledger its link, in the order in which they were written."""
    before = BEGINNING
    for row in _rows(connection):
        before = link(before, row)
        connection.execute(
            "INSERT INTO record_links (row, form, hash) VALUES (?, ?, ?)", (row["row"], FORM, before)
        )


def verify(connection: sqlite3.Connection) -> Chain:
    """Work every link out anew. Each record is held against the link that stands before it, so that one broken
    record does not make all later ones look broken."""
    with any_text(connection):
        return _verified(connection)


def _verified(connection: sqlite3.Connection) -> Chain:
    rows = {row["row"]: row for row in _rows(connection)}
    links = {
        row[0]: (row[1], row[2]) for row in connection.execute("SELECT row, form, hash FROM record_links")
    }
    before, standing, breaks = BEGINNING, [], []
    for number in sorted(rows.keys() | links.keys()):
        row, (form, stated) = rows.get(number), links.get(number, ("", ""))
        wrong = _wrong(row, form, stated, before)
        if wrong:
            breaks.append(Break(number, "" if row is None else shown(row["id"]), wrong))
        if stated:
            standing.append(shown(stated))
            before = stated
    return Chain(len(rows), tuple(standing), tuple(breaks))


@contextmanager
def any_text(connection: sqlite3.Connection) -> Iterator[None]:
    """Read damaged text too: it fits no link, but it must not keep from looking at the other records."""
    before = connection.text_factory
    connection.text_factory = lambda text: text.decode("utf-8", "surrogateescape")
    try:
        yield
    finally:
        connection.text_factory = before


def shown(value: object) -> str:
    """Text that can be printed, whatever was read."""
    return str(value).encode("utf-8", "backslashreplace").decode()


def _wrong(row: Mapping[str, object] | None, form: str, stated: str, before: str) -> str:
    if row is None:
        return "the record is gone, and only its link is left"
    if not stated:
        return "it has no link: something else than this program put it there, or removed its link"
    if form != FORM:
        return f'its link has the form "{shown(form)}", which this program does not know'
    if link(before, row) != stated:
        return "it is not what was written, or a record before it was removed together with its link"
    return ""


def _rows(connection: sqlite3.Connection, where: str = "", *given: object) -> list[dict[str, object]]:
    found: Iterable = connection.execute(
        f"SELECT {', '.join(FIELDS)} FROM records {where} ORDER BY row", given
    )
    return [dict(zip(FIELDS, row, strict=True)) for row in found]
