"""Turns what the database engine says into what happened, why, and what to do next."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from advisor.errors import StoreError

# engine's error name (its beginning) -> what happened, what to do
_FAULTS: tuple[tuple[str, str, str], ...] = (
    (
        "SQLITE_BUSY",
        "the database is locked by another program",
        "wait a moment and try again; if it stays locked, end the program that has the file open",
    ),
    ("SQLITE_LOCKED", "the database is locked by this program", "try again"),
    (
        "SQLITE_READONLY",
        "the database cannot be written",
        "give this user write permission on the file and its folder, or name another folder for the data",
    ),
    (
        "SQLITE_CORRUPT",
        "the database is damaged",
        "keep the file, and go back to the newest backup: advisor restore FILE (backups end in .bak or lie in "
        "backups/)",
    ),
    (
        "SQLITE_NOTADB",
        "the file is not a database, or its beginning is damaged",
        "check the path; otherwise keep the file and go back to the newest backup: advisor restore FILE (backups end "
        "in .bak or lie in backups/)",
    ),
    ("SQLITE_FULL", "the disk is full", "free some space and try again; nothing was half written"),
    (
        "SQLITE_CANTOPEN",
        "the database cannot be opened",
        "check that the folder exists, that the path is a file and that this user may read and write both",
    ),
    (
        "SQLITE_PERM",
        "the database may not be opened by this user",
        "check the permissions of the file and its folder",
    ),
    (
        "SQLITE_AUTH",
        "the database may not be opened by this user",
        "check the permissions of the file and its folder",
    ),
    (
        "SQLITE_IOERR",
        "the disk failed while the database was read or written",
        "check the disk and its free space, then look whether all is whole: advisor doctor",
    ),
    ("SQLITE_PROTOCOL", "the database is locked by another program", "wait a moment and try again"),
    ("SQLITE_TOOBIG", "the value is too big for the database", "store less in one piece"),
)


def explain(error: sqlite3.Error, path: Path | str) -> StoreError:
    """The StoreError of an engine error, with the file and what to do."""
    name = _name(error)
    for beginning, what, hint in _FAULTS:
        if name.startswith(beginning):
            return StoreError(f"{what} ({error})", where=str(path), hint=hint)
    if name.startswith("SQLITE_CONSTRAINT"):
        return StoreError(str(error), where=str(path), hint="nothing was written")
    return StoreError(
        f"the database refused: {error}",
        where=str(path),
        hint="look whether all is whole: advisor doctor; if it is, this is a bug",
    )


def is_damage(error: sqlite3.Error) -> bool:
    """Whether the engine says that the file itself is wrong."""
    return _name(error).startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB"))


def _name(error: sqlite3.Error) -> str:
    """The engine's name for an error. Text that is no text is found by the language's own library, which has none."""
    if str(error).startswith("Could not decode to UTF-8"):
        return "SQLITE_CORRUPT"
    return getattr(error, "sqlite_errorname", None) or ""


@contextmanager
def explained(path: Path | str) -> Iterator[None]:
    """Raise StoreError instead of the engine's errors."""
    try:
        yield
    except sqlite3.Error as error:
        raise explain(error, path) from error


@contextmanager
def file_explained(path: Path | str) -> Iterator[None]:
    """Raise StoreError instead of the engine's and the file system's errors."""
    try:
        with explained(path):
            yield
    except OSError as error:
        raise StoreError(
            f"the database's file cannot be used ({error.strerror or error})",
            where=str(error.filename or path),
            hint="check that the folder exists and that this user may write there",
        ) from error
