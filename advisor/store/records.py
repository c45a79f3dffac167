"""What was applied. Rows are only ever added: a correction is a new row that names the row it corrects. Each row gets
its link in the chain of the records (`chain`) in the transaction that writes it.

Each transaction waits for the disk (a few milliseconds, a few times a year): a record that a power cut takes
back would make the season's total too low and the next pass too early.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from advisor.errors import StoreError
from advisor.model import Record
from advisor.store import chain
from advisor.store.database import Store
from advisor.store.encoding import digest, from_json, instant, stamp, to_json

_SELECT = "SELECT records.*, record_links.hash AS link FROM records LEFT JOIN record_links USING (row)"
_IS_LATEST = "NOT EXISTS (SELECT 1 FROM records AS later WHERE later.corrects = records.id)"


@dataclass(frozen=True, slots=True)
class Entry:
    """A row of the ledger: the record with when it was written, what it corrects and what else was noted.

    A `withdrawn` entry says that the row it corrects never happened.
    """

    record: Record
    written_at: datetime
    corrects: str | None = None
    withdrawn: bool = False
    extra: Mapping[str, object] = field(default_factory=dict)
    #: its link in the chain of the records, see `advisor.store.chain`
    link: str | None = None


def add(
    store: Store,
    record: Record,
    *,
    written_at: datetime,
    extra: Mapping[str, object] | None = None,
    corrects: str | None = None,
    withdrawn: bool = False,
) -> Record:
    """Write a record; the record with its id.

    The id is the record's own, or one made of what it says, so that the same deed written twice is one row.

    Parameters
    ----------
    record : Record
        What was applied; amounts that are not finite numbers are kept as unknown.
    extra : mapping, optional
        Anything else worth keeping, such as the readings of the start card.
    corrects : str, optional
        Id of the row that this one replaces. A row is corrected once; the next correction names the
        correction.

    Raises
    ------
    StoreError
        When the id is taken by another record, or the row to correct is unknown or has been corrected
        already.
    """
    record = replace(record, amount=_finite(record.amount), size=_finite(record.size))
    if withdrawn and corrects is None:
        raise StoreError("a withdrawal must name the record that it withdraws", where=str(store.path))
    content = _content(record, extra or {}, corrects, withdrawn)
    record = replace(record, id=record.id or "r-" + digest(content, length=12))
    with store.write(durable=True) as connection:
        present = find(store, record.id)
        if present is not None:
            if _content(present.record, present.extra, present.corrects, present.withdrawn) == content:
                return present.record
            raise StoreError(
                f'the record "{record.id}" exists already and says something else',
                where=str(store.path),
                hint="a record is never changed: write a correction that names it",
            )
        if corrects is not None:
            _check_correctable(store, corrects)
        connection.execute(
            "INSERT INTO records (id, written_at, corrects, withdrawn, area, treatment, product, "
            "active_ingredients, started_at, ended_at, amount, size, who, note, extra) "
            "VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)",
            (
                record.id,
                stamp(written_at),
                corrects,
                int(withdrawn),
                record.area,
                record.treatment,
                record.product,
                to_json(list(record.active_ingredients)),
                stamp(record.started_at),
                stamp(record.ended_at),
                record.amount,
                record.size,
                record.who,
                record.note,
                to_json(extra or {}),
            ),
        )
        chain.extend(connection, record.id)
    return record


def correct(
    store: Store,
    record_id: str,
    record: Record,
    *,
    written_at: datetime,
    extra: Mapping[str, object] | None = None,
) -> Record:
    """Write what the record should have said; the new row keeps an id of its own."""
    return add(store, replace(record, id=""), written_at=written_at, extra=extra, corrects=record_id)


def withdraw(store: Store, record_id: str, *, written_at: datetime, reason: str) -> Record:
    """Say that a recorded pass never happened. The row stays and is shown, but counts no more."""
    present = find(store, record_id)
    if present is None:
        raise _unknown(store, record_id)
    record = replace(present.record, id="", note=reason)
    return add(store, record, written_at=written_at, extra=present.extra, corrects=record_id, withdrawn=True)


def current(store: Store, *, area: str | None = None, treatment: str | None = None) -> list[Record]:
    """The records that count, oldest deed first: corrected rows replaced, withdrawn ones left out."""
    return [entry.record for entry in current_entries(store, area=area, treatment=treatment)]


def current_entries(store: Store, *, area: str | None = None, treatment: str | None = None) -> list[Entry]:
    with store.read() as connection:
        rows = connection.execute(
            f"{_SELECT} WHERE {_IS_LATEST} AND withdrawn = 0 AND (?1 IS NULL OR area = ?1) "
            "AND (?2 IS NULL OR treatment = ?2) ORDER BY started_at, row",
            (area, treatment),
        ).fetchall()
    return [_entry(row) for row in rows]


def history(store: Store) -> list[Entry]:
    """Every row in the order of writing, corrected and withdrawn ones too."""
    with store.read() as connection:
        rows = connection.execute(f"{_SELECT} ORDER BY row").fetchall()
    return [_entry(row) for row in rows]


def find(store: Store, record_id: str) -> Entry | None:
    with store.read() as connection:
        row = connection.execute(f"{_SELECT} WHERE id = ?", (record_id,)).fetchone()
    return None if row is None else _entry(row)


def _check_correctable(store: Store, record_id: str) -> None:
    with store.read() as connection:
        row = connection.execute(
            "SELECT later.id AS later, later.withdrawn AS withdrawn FROM records "
            "LEFT JOIN records AS later ON later.corrects = records.id WHERE records.id = ?",
            (record_id,),
        ).fetchone()
    if row is None:
        raise _unknown(store, record_id)
    if row["later"] is not None:
        deed = "withdrawn" if row["withdrawn"] else "corrected"
        raise StoreError(
            f'the record "{record_id}" has been {deed} already by "{row["later"]}"',
            where=str(store.path),
            hint=f'correct "{row["later"]}" instead',
        )


def _unknown(store: Store, record_id: str) -> StoreError:
    return StoreError(
        f'there is no record "{record_id}"', where=str(store.path), hint="list the records to see their ids"
    )


def _content(record: Record, extra: Mapping[str, object], corrects: str | None, withdrawn: bool) -> str:
    """Everything that the row says, without its id and the time of writing."""
    return to_json(
        [
            record.area,
            record.treatment,
            record.product,
            list(record.active_ingredients),
            stamp(record.started_at),
            stamp(record.ended_at),
            None if record.amount is None else float(record.amount),
            None if record.size is None else float(record.size),
            record.who,
            record.note,
            extra,
            corrects,
            withdrawn,
        ]
    )


def _finite(number: float | None) -> float | None:
    return None if number is None or not math.isfinite(number) else float(number)


def _entry(row) -> Entry:
    record = Record(
        area=row["area"],
        treatment=row["treatment"],
        product=row["product"],
        active_ingredients=tuple(from_json(row["active_ingredients"])),
        started_at=instant(row["started_at"]),
        ended_at=instant(row["ended_at"]),
        amount=row["amount"],
        size=row["size"],
        who=row["who"],
        note=row["note"],
        id=row["id"],
    )
    return Entry(
        record, instant(row["written_at"]), row["corrects"], bool(row["withdrawn"]), from_json(row["extra"]),
        row["link"],
    )  # fmt: skip
