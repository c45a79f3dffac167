"""One SQLite file, opened once a thread, written only in short immediate transactions.

A transaction that reads first and writes later fails at once when somebody else wrote in between, whatever
the timeout; `BEGIN IMMEDIATE` waits its turn instead. Write-ahead logging lets pages and commands read
meanwhile.
"""

from __future__ import annotations

import sqlite3
import threading
import time
import weakref
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from advisor.errors import Problem, StoreError
from advisor.store import chain, copies
from advisor.store import migrations as steps
from advisor.store.faults import explained, file_explained
from advisor.store.migrations import MIGRATIONS, Migration
from advisor.store.upgrading import bring_up_to_date

#: how long a writer waits for its turn [s]
BUSY_TIMEOUT = 5.0


class _Connection(sqlite3.Connection):
    """A connection that can be held weakly: it goes when its thread goes."""


class _Local(threading.local):
    connection: _Connection | None = None
    #: what the file looked like when a frozen connection was opened
    seen: object = None
    depth = 0
    #: how many reads are open: a view is not exchanged under them
    reading = 0
    #: the version of the file itself, where a reader sees it as if it were up to date
    on_disk: int | None = None


class Store:
    """The ledger. `Store.open` for writing, `Store.open_readonly` for looking without leaving a trace."""

    def __init__(self, path: Path, migrations: Sequence[Migration], busy_timeout: float, readonly: bool):
        self.path = path
        self.readonly = readonly
        self._migrations = tuple(migrations)
        self._busy_timeout = busy_timeout
        self._local = _Local()
        self._connections: weakref.WeakSet[_Connection] = weakref.WeakSet()
        self._guard = threading.Lock()
        self._closed = False

    def __repr__(self) -> str:
        return f"Store({str(self.path)!r}{', readonly' if self.readonly else ''})"

    # -- opening and closing

    @classmethod
    def open(
        cls,
        path: Path | str,
        *,
        migrations: Sequence[Migration] = MIGRATIONS,
        busy_timeout: float = BUSY_TIMEOUT,
    ) -> Store:
        """Open for reading and writing; create the file, or bring an older one up to date after a backup of
        it.

        Raises
        ------
        StoreError
            When the file is newer than this program, not ours, damaged, locked or cannot be written.
        """
        store = cls(Path(path), migrations, busy_timeout, readonly=False)
        try:
            with file_explained(store.path):
                store.path.parent.mkdir(parents=True, exist_ok=True)
                bring_up_to_date(store._connection(), store.path, store._migrations)
        except BaseException:
            store.close()
            raise
        return store

    @classmethod
    def open_readonly(cls, path: Path | str, *, migrations: Sequence[Migration] = MIGRATIONS) -> Store:
        """Open for reading only. Creates nothing; a missing file reads as an empty ledger, an older one as if
        it had been brought up to date."""
        store = cls(Path(path), migrations, BUSY_TIMEOUT, readonly=True)
        with file_explained(store.path):
            store._connection()
        return store

    def close(self) -> None:
        """Close the connections of all threads."""
        with self._guard:
            self._closed = True
            for connection in list(self._connections):
                connection.close()
        self._local = _Local()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_) -> None:
        self.close()

    # -- reading and writing

    @contextmanager
    def read(self) -> Iterator[sqlite3.Connection]:
        """This thread's connection; inside an open `write()` it sees what that has written so far."""
        with explained(self.path):
            connection, local = self._connection(), self._local
            local.reading += 1
            try:
                yield connection
            finally:
                local.reading -= 1

    @contextmanager
    def write(self, *, durable: bool = False) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is kept, or none of it. A `write` inside a `write` joins the outer one.

        Parameters
        ----------
        durable : bool
            Wait until the disk itself has the transaction. Without it a loss of power may cost the last
            transactions
            (never the file); with it a write takes some milliseconds more. It must be said by the outermost
            `write`.
        """
        if self.readonly:
            raise StoreError(
                "the database was opened for reading only", where=str(self.path), hint="nothing was written"
            )
        local = self._local
        with explained(self.path):
            connection = self._connection()
            if local.depth:
                yield from self._write_inside(connection)
                return
            connection.execute(f"PRAGMA synchronous = {'FULL' if durable else 'NORMAL'}")
            connection.execute("BEGIN IMMEDIATE")
            local.depth = 1
            try:
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                # The engine rolls back by itself after some errors (a full disk).
                if connection.in_transaction:
                    with suppress(sqlite3.Error):
                        connection.execute("ROLLBACK")
                raise
            finally:
                local.depth = 0

    def _write_inside(self, connection: _Connection) -> Iterator[sqlite3.Connection]:
        local = self._local
        point = f"inner_{local.depth}"
        connection.execute(f"SAVEPOINT {point}")
        local.depth += 1
        try:
            yield connection
            connection.execute(f"RELEASE {point}")
        except BaseException:
            if connection.in_transaction:
                with suppress(sqlite3.Error):
                    connection.execute(f"ROLLBACK TO {point}")
                    connection.execute(f"RELEASE {point}")
            raise
        finally:
            local.depth -= 1

    # -- looking after the file

    @property
    def version(self) -> int:
        with self.read() as connection:
            return steps.version_of(connection)

    @property
    def version_of_file(self) -> int | None:
        """The version of the file as it lies there; None where there is none."""
        with self.read() as connection:
            return self._local.on_disk if self.readonly else steps.version_of(connection)

    def integrity_check(self) -> tuple[Problem, ...]:
        """What is wrong with the file: empty when all is well. Never raises for a damaged file."""
        hint = "keep the file, and go back to the newest backup: advisor restore FILE (.bak beside it, or in backups/)"
        try:
            with self.read() as connection:
                texts = [row[0] for row in connection.execute("PRAGMA integrity_check(20)")]
                loose = connection.execute("PRAGMA foreign_key_check").fetchall()
        except StoreError as error:
            return error.problems
        problems = [
            Problem(f"the database is damaged: {text}", str(self.path), hint)
            for text in texts
            if text != "ok"
        ]
        problems += [
            Problem(
                f"row {row[1]} of table {row[0]} names a row of {row[2]} that is gone", str(self.path), hint
            )
            for row in loose
        ]
        return tuple(problems)

    def verify_records(self) -> chain.Chain:
        """Work the links of all records out anew; see `advisor.store.chain`."""
        with self.read() as connection:
            return chain.verify(connection)

    def backup(self, target: Path | str) -> Path:
        """Write a whole copy of the ledger as it is now; an existing file is never overwritten."""
        return copies.write(self.path, Path(target)).path

    # -- inside

    def _connection(self) -> _Connection:
        if self._closed:
            raise StoreError("the database has been closed", where=str(self.path))
        with file_explained(self.path):
            return self._connection_of_thread()

    def _connection_of_thread(self) -> _Connection:
        local = self._local
        stale = self.readonly and not local.reading and local.seen != self._appearance()
        if stale and local.connection is not None:
            # A frozen or empty view does not notice that the file has changed: look again.
            local.connection.close()
            local.connection = None
        if local.connection is None:
            if self.path.is_dir():
                raise StoreError(
                    "the database cannot be opened: this is a folder",
                    where=str(self.path),
                    hint="name a file in it",
                )
            connection = self._connect_readonly() if self.readonly else self._connect(str(self.path))
            with self._guard:
                self._connections.add(connection)
            local.connection = connection
        return local.connection

    def _connect(self, address: str, *, uri: bool = False) -> _Connection:
        connection = sqlite3.connect(
            address,
            timeout=self._busy_timeout,
            isolation_level=None,
            check_same_thread=False,  # each thread uses its own; only close() reaches over
            factory=_Connection,
            uri=uri,
        )
        try:
            connection.row_factory = sqlite3.Row
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA recursive_triggers = ON")
            if not self.readonly:
                self._write_ahead(connection)
                connection.execute("PRAGMA synchronous = NORMAL")
        except BaseException:
            connection.close()
            raise
        return connection

    def _write_ahead(self, connection: sqlite3.Connection) -> None:
        # The engine does not wait its turn for this one change, so we do.
        deadline = time.monotonic() + self._busy_timeout
        while True:
            try:
                connection.execute("PRAGMA journal_mode = WAL").fetchone()
                return
            except sqlite3.OperationalError as error:
                if not error.sqlite_errorname.startswith("SQLITE_BUSY") or time.monotonic() > deadline:
                    raise
                time.sleep(0.02)

    def _appearance(self) -> object:
        """What tells that a frozen view is out of date; None while the engine itself follows the file."""
        if self._log().exists():
            return None
        try:
            stat = self.path.stat()
        except FileNotFoundError:
            return "missing"
        return stat.st_ino, stat.st_size, stat.st_mtime_ns

    def _log(self) -> Path:
        return self.path.with_name(self.path.name + "-wal")

    def _connect_readonly(self) -> _Connection:
        """A connection that writes nothing, not even the files beside the database.

        While a writer is at work its log lies beside the file and is read with it. Where there is none,
        nobody has the file open and it is read as it lies: opening it in the ordinary way would create a log.
        """
        self._local.seen, self._local.on_disk = self._appearance(), None
        if self._local.seen == "missing":
            return self._in_memory(None)
        frozen = "" if self._local.seen is None else "&immutable=1"
        connection = self._connect(f"{self.path.absolute().as_uri()}?mode=ro{frozen}", uri=True)
        try:
            steps.refuse_foreign(connection, self.path, len(self._migrations))
            self._local.on_disk = steps.version_of(connection)
            if self._local.on_disk < len(self._migrations):
                if self._local.seen is None:
                    self._local.seen = "copied while being written"  # never the present look: copy again
                return self._in_memory(connection)
        except BaseException:
            connection.close()
            raise
        return connection

    def _in_memory(self, original: sqlite3.Connection | None) -> _Connection:
        memory = self._connect(":memory:")
        if original is not None:
            copies.copy_pages(original, memory, self._busy_timeout)
            original.close()
        steps.migrate(memory, self._migrations)
        memory.execute("PRAGMA query_only = ON")
        return memory
