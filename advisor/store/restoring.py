"""Going back to a backup: looked at first, made ready beside the ledger, and put in its place at once.

| | how |
|---|---|
| the backup is damaged, foreign or newer | refused; nothing is touched |
| the ledger holds records or choices that the backup does not | refused by name, unless they are given up |
| the present ledger | kept aside as a whole copy; a damaged one as the bytes that it is |
| the ledger can be read | the backup's pages go into it in one transaction, while no other program has it open |
| it cannot | its file is replaced by name, in one step |
| what was told since the backup | is carried over, so that nobody is told twice |
| the ledger is of a newer version | only where all in it is given up; kept aside as the bytes that it is |
| what waited in the backup, where the present ledger cannot say whether it went out | is never sent: 'uncertain' |
"""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from advisor.errors import Busy, StoreError
from advisor.store import copies
from advisor.store import migrations as steps
from advisor.store.chain import any_text, shown
from advisor.store.database import Store
from advisor.store.encoding import stamp
from advisor.store.faults import file_explained, is_damage
from advisor.store.locking import FileLock

#: marks that say what was told; those of pulls and of what was learned belong to the answers in the ledger
TOLD_MARKS = ("notice:", "changed:")
#: rows that people wrote, and what one of them is called
_WRITTEN = (("records", "record"), ("plans", "choice"), ("measurements", "measurement"))
_UNKNOWN = "restored from a backup; whether it was sent since is not known"


@dataclass(frozen=True, slots=True)
class Restored:
    """What was done: the ledger as it now is, where the one before is kept, how many notices were carried over, and
    what was given up."""

    ledger: copies.Examined
    kept_as: Path | None
    carried_over: int
    given_up: tuple[str, ...]
    #: the ledger before could not be read, so what was told since the backup is not known
    blind: bool


def restore(
    backup: Path, database: Path, now: datetime, *, give_up_newer: bool = False, even_if_changed: bool = False
) -> Restored:
    """Put a backup in the ledger's place. The caller holds the lock of the service.

    Parameters
    ----------
    give_up_newer : bool
        Also where the present ledger holds records, choices or measurements that the backup does not.
    even_if_changed : bool
        Also where the chain of the backup's records does not fit; never where its file is damaged.

    Raises
    ------
    StoreError
        When the backup cannot be used, something would be given up, or the disk does not allow it.
    Busy
        When notices are being delivered.
    """
    found = copies.examine(backup)
    if database.exists() and backup.samefile(database):
        raise StoreError(
            "this is the ledger itself, not a backup of it", where=str(backup), hint="name a backup"
        )
    if found.problems:
        raise StoreError(f"the backup cannot be used: {found.problems[0].what}", where=str(backup),
                         hint="nothing was changed; use another backup")  # fmt: skip
    if found.breaks and not even_if_changed:
        one = found.breaks[0]
        raise StoreError(f'the records of the backup do not fit their chain: record "{one.id}" (row {one.row}): '
                         f"{one.what}", where=str(backup),
                         hint="nothing was changed; use another backup, or add --even-if-changed")  # fmt: skip
    lock = FileLock(database.with_name(database.name + "-delivery.lock"))
    with file_explained(lock.path):
        taken = lock.acquire()
    if not taken:
        raise Busy("notices are being delivered", where=str(lock.path), hint="wait a moment and try again")
    try:
        with file_explained(database):
            return _restore(backup, database, now, give_up_newer)
    finally:
        lock.release()


def _restore(backup: Path, database: Path, now: datetime, give_up_newer: bool) -> Restored:
    state = _state(database)
    ready = database.with_name(database.name + ".restoring")
    _remove(ready)
    try:
        if state == "whole":
            kept, newer, carried = _exchange(backup, database, ready, now, give_up_newer)
        else:
            newer = ("all that this version cannot read",) if state == "newer" else ()
            _refuse_to_give_up(newer, database, give_up_newer)
            copies.write(backup, ready)
            carried = _prepare(ready, None, now)
            kept = None if state == "missing" else _keep_bytes(database, _aside(database, now))
            # What cannot be read must not be read together with the pages that take its place.
            for end in ("-wal", "-shm"):
                database.with_name(database.name + end).unlink(missing_ok=True)
            ready.replace(database)
            copies.sync_folder(database.parent)
    finally:
        _remove(ready)
    result = copies.examine(database)
    if result.problems:
        raise StoreError(f"the ledger is not whole after the restore: {result.problems[0].what}",
                         where=str(database), hint="check the disk; the backup is as it was")  # fmt: skip
    return Restored(result, kept, carried, newer, state in ("damaged", "newer"))


def _exchange(
    backup: Path, database: Path, ready: Path, now: datetime, give_up_newer: bool
) -> tuple[Path, tuple[str, ...], int]:
    """(where the ledger before is kept, what was given up, how many notices were carried over). Nobody else reads or
    writes meanwhile, so that no record comes in between the look at what is there and the exchange."""
    with closing(_alone(database)) as alone:
        kept = copies.write(database, _aside(database, now), through=alone).path
        newer = _newer(backup, kept)
        try:
            _refuse_to_give_up(newer, database, give_up_newer)
        except StoreError:
            kept.unlink()
            raise
        copies.write(backup, ready)
        carried = _prepare(ready, kept, now)
        with closing(sqlite3.connect(ready, isolation_level=None)) as source:
            copies.copy_pages(source, alone)
    return kept, newer, carried


def _alone(database: Path) -> sqlite3.Connection:
    """A connection beside which there is no other, to its end."""
    connection = sqlite3.connect(database, timeout=copies.PATIENCE, isolation_level=None)
    try:
        connection.row_factory = sqlite3.Row
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("BEGIN EXCLUSIVE")
        connection.execute("COMMIT")
    except BaseException:
        connection.close()
        raise
    return connection


def _refuse_to_give_up(newer: tuple[str, ...], database: Path, give_up_newer: bool) -> None:
    if newer and not give_up_newer:
        raise StoreError(
            f"the ledger holds what the backup does not: {_listed(newer)}",
            where=str(database),
            hint="nothing was changed; add --give-up-newer to go back all the same (the ledger is kept aside)",
        )


def _state(database: Path) -> Literal["missing", "whole", "damaged", "newer"]:
    """What lies in the ledger's place. What is another program's or in use is refused rather than taken for damaged."""
    if not database.exists() or database.stat().st_size == 0:
        return "missing"
    with copies.reading(database) as connection:
        try:
            if steps.is_empty(connection):
                return "missing"
            if steps.is_ours(connection) and steps.version_of(connection) > len(steps.MIGRATIONS):
                return "newer"
            steps.refuse_foreign(connection, database, len(steps.MIGRATIONS))
        except sqlite3.DatabaseError as error:
            if not is_damage(error):
                raise
            return "damaged"
    return "damaged" if copies.examine(database).problems else "whole"


def _newer(backup: Path, present: Path) -> tuple[str, ...]:
    """What people wrote that is in one and not in the other."""
    found = []
    with (
        Store.open_readonly(present) as ledger,
        Store.open_readonly(backup) as past,
        ledger.read() as now,
        past.read() as then,
        any_text(now),
        any_text(then),
    ):
        for table, word in _WRITTEN:
            known = {row[0] for row in then.execute(f"SELECT id FROM {table}")}
            rows = now.execute(f"SELECT id FROM {table} ORDER BY row").fetchall()
            found += [f"{word} {shown(row[0])}" for row in rows if row[0] not in known]
    return tuple(found)


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def _aside(database: Path, now: datetime) -> Path:
    """A free name for the ledger before."""
    name = f"{database.name}.before-restore-{now:%Y%m%dT%H%M%SZ}"
    target, number = database.with_name(f"{name}.bak"), 2
    while target.exists():
        target, number = database.with_name(f"{name}-{number}.bak"), number + 1
    return target


def _keep_bytes(database: Path, target: Path) -> Path:
    for end in ("-wal", ""):
        source = database.with_name(database.name + end)
        if source.exists():
            copy = target.with_name(target.name + end)
            shutil.copyfile(source, copy)
            copies.sync_file(copy)
    copies.sync_folder(target.parent)
    return target


def _prepare(ready: Path, present: Path | None, now: datetime) -> int:
    """Bring the copy up to date and carry over what was told since; how many notices."""
    with closing(sqlite3.connect(ready, isolation_level=None)) as connection:
        connection.row_factory = sqlite3.Row
        steps.migrate(connection)
        connection.execute("BEGIN IMMEDIATE")
        carried = 0
        if present is None:
            connection.execute("UPDATE outbox SET state = 'uncertain', settled_at = ?, last_error = ? "
                               "WHERE state IN ('waiting', 'claimed')", (stamp(now), _UNKNOWN))  # fmt: skip
        else:
            with Store.open_readonly(present) as store, store.read() as there, any_text(there):
                carried = _carry_over(there, connection)
        connection.execute("COMMIT")
    found = copies.examine(ready).problems
    if found:
        raise StoreError(f"the backup could not be made ready: {found[0].what}", where=str(ready),
                         hint="nothing was changed; use another backup")  # fmt: skip
    copies.sync_file(ready)
    return carried


def _carry_over(there: sqlite3.Connection, here: sqlite3.Connection) -> int:
    """What people were told, and how the deliveries stand, as the present ledger has it."""
    known = {row[0] for row in here.execute("SELECT id FROM notices")}
    notices = [row for row in _rows(there, "SELECT * FROM notices ORDER BY row") if row["id"] not in known]
    for row in notices:
        _insert(here, "notices", {name: value for name, value in row.items() if name != "row"})
    known.update(row["id"] for row in notices)
    for row in _rows(there, "SELECT * FROM notice_payloads"):
        if row["notice_id"] in known:
            _insert(here, "notice_payloads", row)
    for row in _rows(there, "SELECT * FROM outbox ORDER BY id"):
        row.pop("id")
        if row["notice_id"] in known:
            _set(here, "outbox", row, ("notice_id", "channel"))
    for row in _rows(there, "SELECT * FROM marks"):
        if row["key"].startswith(TOLD_MARKS):
            _set(here, "marks", row, ("key",))
    return len(notices)


def _rows(connection: sqlite3.Connection, query: str) -> list[dict]:
    """Rows of which every text is still text."""
    found = [dict(row) for row in connection.execute(query)]
    return [
        row for row in found if all(not isinstance(one, str) or one == shown(one) for one in row.values())
    ]


def _set(connection: sqlite3.Connection, table: str, row: dict, key: tuple[str, ...]) -> None:
    """The row in the place of the one with the same key, or added."""
    changes, same = ", ".join(f"{name} = ?" for name in row), " AND ".join(f"{name} = ?" for name in key)
    given = (*row.values(), *(row[name] for name in key))
    if not connection.execute(f"UPDATE {table} SET {changes} WHERE {same}", given).rowcount:
        _insert(connection, table, row)


def _insert(connection: sqlite3.Connection, table: str, row: dict) -> None:
    places = ", ".join("?" for _ in row)
    columns = ", ".join(row)
    connection.execute(f"INSERT OR IGNORE INTO {table} ({columns}) VALUES ({places})", tuple(row.values()))


def _remove(path: Path) -> None:
    for end in ("", "-journal", "-wal", "-shm"):
        path.with_name(path.name + end).unlink(missing_ok=True)
