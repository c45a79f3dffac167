"""Copies of a ledger: made while others read and write it, looked at before they count, in place whole or not at
all."""

from __future__ import annotations

import filecmp
import glob
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path

from advisor.errors import Problem, StoreError
from advisor.store import chain
from advisor.store import migrations as steps
from advisor.store.faults import explain, file_explained, is_damage

#: how long a copy waits for the ledger [s]
PATIENCE = 5.0
_OTHER = "take another backup; keep this file, since what can be read of it may be of use"


@dataclass(frozen=True, slots=True)
class Examined:
    """What a ledger's file holds. `problems` are damage; `chain` is None where records have no links yet."""

    path: Path
    version: int
    records: int
    chain: chain.Chain | None
    problems: tuple[Problem, ...] = ()

    @property
    def breaks(self) -> tuple[chain.Break, ...]:
        return () if self.chain is None else self.chain.breaks


def examine(path: Path) -> Examined:
    """Look at a ledger's file without changing it: pages, references, whose it is, version, chain of the records.

    Raises
    ------
    StoreError
        When there is no ledger to look at: no file, another program's, newer than this program.
    """
    if not path.is_file():
        raise StoreError("there is no such file", where=str(path), hint="check the path")
    with file_explained(path), reading(path) as connection:
        return _examined(connection, path)


def write(
    source: Path, target: Path, *, overwrite: bool = False, through: sqlite3.Connection | None = None
) -> Examined:
    """Copy a ledger, also one that is in use; the copy is examined before it gets its name.

    Parameters
    ----------
    through : sqlite3.Connection, optional
        Read the source through this connection, which is not closed.

    Records whose chain does not fit are copied all the same, and found in `breaks`: the copy is evidence.

    Raises
    ------
    StoreError
        When the target exists and may not be overwritten, the ledger is damaged, or the disk does not allow it.
        Nothing is left behind then.
    """
    if target.exists() and not overwrite:
        raise StoreError("the backup's file exists already", where=str(target), hint="name another file")
    with file_explained(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        unfinished = _unfinished(target)
        try:
            found = _copy(source, unfinished, target, through)
            _put_in_place(unfinished, target, overwrite)
        finally:
            _remove(unfinished)
    return found


def keep_before(path: Path, version: int) -> Path:
    """Back a ledger up before it is changed, beside it; a backup that is the same to the byte is not made again."""
    _sweep(path.parent, f"{glob.escape(path.name)}.v*")
    present = sorted(
        path.parent.glob(f"{glob.escape(path.name)}.v{version}*.bak"), key=lambda one: one.stat().st_mtime_ns
    )
    name, number = path.with_name(f"{path.name}.v{version}.bak"), 2
    while name.exists():
        name = path.with_name(f"{path.name}.v{version}-{number}.bak")
        number += 1
    made = write(path, name).path
    if present and filecmp.cmp(present[-1], made, shallow=False):
        made.unlink()
        return present[-1]
    return made


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection to a file for looking only; a log beside it is read with it, and none is made."""
    frozen = "" if path.with_name(path.name + "-wal").exists() else "&immutable=1"
    address = f"{path.absolute().as_uri()}?mode=ro{frozen}"
    with closing(sqlite3.connect(address, timeout=PATIENCE, uri=True, isolation_level=None)) as connection:
        connection.row_factory = sqlite3.Row
        yield connection


def copy_pages(source: sqlite3.Connection, target: sqlite3.Connection, patience: float = PATIENCE) -> None:
    """Copy a whole database, in one step that others cannot come between; wait for a lock, but not for ever."""
    deadline = time.monotonic() + patience

    def waiting(status: int, remaining: int, total: int) -> None:
        if status != sqlite3.SQLITE_DONE and time.monotonic() > deadline:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode, error.sqlite_errorname = sqlite3.SQLITE_BUSY, "SQLITE_BUSY"
            raise error

    source.backup(target, progress=waiting, sleep=0.05)


def sync_folder(folder: Path) -> None:
    """Have the disk keep the names in a folder, where the system can."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def sync_file(path: Path) -> None:
    """Wait until the disk has a file."""
    descriptor = os.open(path, os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _copy(source: Path, unfinished: Path, target: Path, through: sqlite3.Connection | None) -> Examined:
    with closing(sqlite3.connect(unfinished, isolation_level=None)) as copy:
        copy.row_factory = sqlite3.Row
        # The file gets its name when it is whole: a journal of its own would only cost time.
        copy.execute("PRAGMA journal_mode = OFF")
        copy.execute("PRAGMA synchronous = OFF")
        with nullcontext(through) if through else closing(_opened(source)) as original:
            try:
                steps.refuse_foreign(original, source, len(steps.MIGRATIONS))
                copy_pages(original, copy)
            except sqlite3.Error as error:
                at = target if _of_target(error) else source
                raise explain(error, at) from error
        copy.execute("PRAGMA journal_mode = DELETE")
        found = _examined(copy, target)
    if found.problems:
        raise StoreError(
            f"{found.problems[0].what}; no backup was made of it",
            where=str(source),
            hint="keep the file and its copy, and go back to the newest good backup: advisor restore FILE",
        )
    sync_file(unfinished)
    return found


def _opened(path: Path) -> sqlite3.Connection:
    """A connection that takes its turn with writers and reads their log; in a folder that cannot be written to, one
    that takes the file as it lies."""
    if not path.is_file():
        raise StoreError(
            "there is no database to copy", where=str(path), hint="nothing was written there yet"
        )
    address = path.absolute().as_uri()
    connection = sqlite3.connect(f"{address}?mode=rw", timeout=PATIENCE, uri=True, isolation_level=None)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as error:
        connection.close()
        barred = (error.sqlite_errorname or "").startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY"))
        if not barred or path.with_name(path.name + "-wal").exists():
            raise explain(error, path) from error
        return sqlite3.connect(f"{address}?mode=ro&immutable=1", uri=True, isolation_level=None)
    except sqlite3.Error as error:
        connection.close()
        raise explain(error, path) from error
    return connection


def _examined(connection: sqlite3.Connection, path: Path) -> Examined:
    known = len(steps.MIGRATIONS)
    try:
        steps.refuse_foreign(connection, path, known)
        if steps.is_empty(connection):
            raise StoreError("the file holds no ledger: it is empty", where=str(path), hint=_OTHER)
        texts = [row[0] for row in connection.execute("PRAGMA integrity_check(20)")]
        loose = connection.execute("PRAGMA foreign_key_check").fetchall()
        problems = [f"the database is damaged: {text}" for text in texts if text != "ok"]
        problems += [f"row {row[1]} of table {row[0]} names a row of {row[2]} that is gone" for row in loose]
        version = steps.version_of(connection)
        linked = version >= steps.CHAINED_FROM
        found = chain.verify(connection) if linked and not problems else None
        count = 0 if problems else connection.execute("SELECT count(*) FROM records").fetchone()[0]
    except sqlite3.DatabaseError as error:
        if not is_damage(error):
            raise
        return Examined(path, 0, 0, None, (Problem(f"the database is damaged: {error}", str(path), _OTHER),))
    return Examined(path, version, count, found, tuple(Problem(text, str(path), _OTHER) for text in problems))


def _of_target(error: sqlite3.Error) -> bool:
    return (getattr(error, "sqlite_errorname", None) or "").startswith(("SQLITE_FULL", "SQLITE_IOERR_WRITE"))


def _unfinished(target: Path) -> Path:
    """A name of this process's own beside the target."""
    _sweep(target.parent, glob.escape(target.name))
    mine = target.with_name(f"{target.name}.{os.getpid()}.unfinished")
    _remove(mine)
    return mine


def _sweep(folder: Path, pattern: str) -> None:
    """Remove what processes that are no more left unfinished."""
    for left in folder.glob(f"{pattern}.*.unfinished*"):
        number = left.name.rpartition(".unfinished")[0].rpartition(".")[2]
        if number.isdigit() and not _lives(int(number)):
            left.unlink(missing_ok=True)


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _put_in_place(unfinished: Path, target: Path, overwrite: bool) -> None:
    if overwrite:
        unfinished.replace(target)
    else:
        try:
            os.link(unfinished, target)  # unlike a rename it never takes the place of another file
        except FileExistsError:
            raise StoreError(
                "the backup's file exists already", where=str(target), hint="name another file"
            ) from None
        except OSError:
            unfinished.rename(target)
    sync_folder(target.parent)


def _remove(path: Path) -> None:
    for end in ("-wal", "-shm", "-journal", ""):
        path.with_name(path.name + end).unlink(missing_ok=True)
