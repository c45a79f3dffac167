"""An older ledger becomes a present one: a backup first, then all steps in one transaction, as the only writer."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from pathlib import Path

from advisor.errors import StoreError
from advisor.store import copies
from advisor.store import migrations as steps
from advisor.store.faults import explain
from advisor.store.migrations import Migration

_REPORT = "it is as it was before; use the earlier version of this program and report this"
#: faults that lie with the disk or another program, not with a step
_OUTSIDE = ("SQLITE_FULL", "SQLITE_IOERR", "SQLITE_BUSY", "SQLITE_READONLY", "SQLITE_CANTOPEN")


def bring_up_to_date(connection: sqlite3.Connection, path: Path, migrations: Sequence[Migration]) -> None:
    """Apply what the file has not seen. Processes that start together do it once.

    Raises
    ------
    StoreError
        When the file is newer than this program or not ours, no backup can be made of it, or a step fails; it is as it
        was before then.
    """
    known = len(migrations)
    steps.refuse_foreign(connection, path, known)
    if steps.version_of(connection) == known:
        return
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("BEGIN IMMEDIATE")
    try:
        # somebody else may have done it meanwhile
        steps.refuse_foreign(connection, path, known)
        if not steps.is_empty(connection) and steps.version_of(connection) < known:
            copies.keep_before(path, steps.version_of(connection))
        steps.apply_steps(connection, migrations)
        connection.execute("COMMIT")
    except BaseException as error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        if isinstance(error, sqlite3.Error):
            outside = (getattr(error, "sqlite_errorname", None) or "").startswith(_OUTSIDE)
            found = explain(error, path)
            raise _refused(found.what, path, found.hint if outside else _REPORT) from error
        if isinstance(error, StoreError):
            raise _refused(error.what, error.where or path, error.hint) from error
        raise
    finally:
        connection.execute("PRAGMA synchronous = NORMAL")


def _refused(why: str, where: Path | str, hint: str) -> StoreError:
    return StoreError(f"the database could not be brought up to date ({why})", where=str(where), hint=hint)
