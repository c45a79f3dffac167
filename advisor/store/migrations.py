"""The tables of the ledger and how an older ledger becomes a newer one: named steps, all that are
wanting in one transaction.

A step that has been released is never edited; a change is a new step at the end. `PRAGMA user_version` counts
the steps that a file has seen.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from advisor.errors import StoreError
from advisor.store import chain

#: marks a file as ours, so that somebody else's database is never written to ("AWAL")
APPLICATION_ID = 0x4157414C


@dataclass(frozen=True, slots=True)
class Migration:
    """`work` is done after the statements, in the same transaction, where SQL does not say enough."""

    name: str
    statements: tuple[str, ...]
    work: Callable[[sqlite3.Connection], None] | None = None


FIRST_TABLES = Migration(
    "first tables",
    (
        f"PRAGMA application_id = {APPLICATION_ID}",
        "CREATE TABLE migrations (version INTEGER PRIMARY KEY, name TEXT NOT NULL) STRICT",
        # -- answers of weather services: the bytes once, each arrival a row
        """
        CREATE TABLE payload_bodies (
            sha256 TEXT PRIMARY KEY,
            size INTEGER NOT NULL,
            compressed BLOB NOT NULL
        ) STRICT
        """,
        """
        CREATE TABLE payloads (
            id INTEGER PRIMARY KEY,
            source TEXT NOT NULL,
            site TEXT NOT NULL,
            url TEXT NOT NULL,
            status INTEGER NOT NULL,
            headers TEXT NOT NULL,
            fetched_at TEXT NOT NULL,
            confirmed_at TEXT NOT NULL,
            sha256 TEXT NOT NULL REFERENCES payload_bodies (sha256)
        ) STRICT
        """,
        "CREATE INDEX payloads_newest ON payloads (source, site, fetched_at, id)",
        "CREATE INDEX payloads_of_body ON payloads (sha256)",
        # -- what was applied: rows are added, never changed
        """
        CREATE TABLE records (
            row INTEGER PRIMARY KEY,
            id TEXT NOT NULL UNIQUE,
            written_at TEXT NOT NULL,
            corrects TEXT UNIQUE REFERENCES records (id),
            withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1)),
            area TEXT NOT NULL,
            treatment TEXT NOT NULL,
            product TEXT NOT NULL,
            active_ingredients TEXT NOT NULL,
            started_at TEXT NOT NULL,
            ended_at TEXT,
            amount REAL,
            size REAL,
            who TEXT NOT NULL,
            note TEXT NOT NULL,
            extra TEXT NOT NULL,
            CHECK (withdrawn = 0 OR corrects IS NOT NULL)
        ) STRICT
        """,
        "CREATE INDEX records_by_area ON records (area, started_at)",
        """
        CREATE TRIGGER records_refuse_update BEFORE UPDATE ON records
        BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction instead of changing a row');
        END
        """,
        """
        CREATE TRIGGER records_refuse_delete BEFORE DELETE ON records
        BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction instead of deleting a row');
        END
        """,
        # INSERT OR REPLACE deletes without a DELETE trigger unless recursive triggers are on.
        """
        CREATE TRIGGER records_refuse_replace BEFORE INSERT ON records
        WHEN EXISTS (SELECT 1 FROM records WHERE id = NEW.id OR row = NEW.row OR corrects = NEW.corrects)
        BEGIN SELECT RAISE(ABORT, 'records are append-only: write a correction instead of replacing a row');
        END
        """,
        # -- what people were told, with everything it was told from
        """
        CREATE TABLE notices (
            row INTEGER PRIMARY KEY,
            id TEXT NOT NULL UNIQUE,
            kind TEXT NOT NULL,
            local_date TEXT NOT NULL,
            task TEXT NOT NULL,
            answer TEXT NOT NULL,
            turn INTEGER NOT NULL,
            created_at TEXT NOT NULL,
            good_until TEXT,
            subject TEXT NOT NULL,
            text TEXT NOT NULL,
            html TEXT,
            evidence TEXT NOT NULL,
            rules_version TEXT NOT NULL,
            label_hash TEXT NOT NULL
        ) STRICT
        """,
        "CREATE INDEX notices_of_task ON notices (task, local_date, row)",
        """
        CREATE TABLE notice_payloads (
            notice_id TEXT NOT NULL REFERENCES notices (id),
            sha256 TEXT NOT NULL,
            PRIMARY KEY (notice_id, sha256)
        ) STRICT, WITHOUT ROWID
        """,
        "CREATE INDEX notice_payloads_of_body ON notice_payloads (sha256)",
        # -- what is still to be delivered, and how that went
        """
        CREATE TABLE outbox (
            id INTEGER PRIMARY KEY,
            notice_id TEXT NOT NULL REFERENCES notices (id),
            channel TEXT NOT NULL,
            state TEXT NOT NULL CHECK (state IN ('waiting', 'claimed', 'sent', 'failed', 'uncertain')),
            attempts INTEGER NOT NULL DEFAULT 0,
            next_try_at TEXT NOT NULL,
            claimed_at TEXT,
            settled_at TEXT,
            last_error TEXT,
            UNIQUE (notice_id, channel)
        ) STRICT
        """,
        "CREATE INDEX outbox_open ON outbox (state, next_try_at) WHERE state IN ('waiting', 'claimed')",
        # -- what the service did last
        """
        CREATE TABLE marks (
            key TEXT PRIMARY KEY,
            at TEXT NOT NULL,
            data TEXT NOT NULL
        ) STRICT, WITHOUT ROWID
        """,
    ),
)

#: what people measured or saw: calibrations, start cards, covers of weeds; rows are added, never changed
MEASUREMENTS = Migration(
    "measurements",
    (
        """
        CREATE TABLE measurements (
            row INTEGER PRIMARY KEY,
            id TEXT NOT NULL UNIQUE,
            kind TEXT NOT NULL,
            subject TEXT NOT NULL,
            taken_at TEXT NOT NULL,
            written_at TEXT NOT NULL,
            data TEXT NOT NULL
        ) STRICT
        """,
        "CREATE INDEX measurements_of_subject ON measurements (kind, subject, taken_at, row)",
        """
        CREATE TRIGGER measurements_refuse_update BEFORE UPDATE ON measurements
        BEGIN SELECT RAISE(ABORT, 'measurements are append-only: write a new one instead of changing a row');
        END
        """,
        """
        CREATE TRIGGER measurements_refuse_delete BEFORE DELETE ON measurements
        BEGIN SELECT RAISE(ABORT, 'measurements are append-only: write a new one instead of deleting a row');
        END
        """,
        """
        CREATE TRIGGER measurements_refuse_replace BEFORE INSERT ON measurements
        WHEN EXISTS (SELECT 1 FROM measurements WHERE id = NEW.id OR row = NEW.row)
        BEGIN SELECT RAISE(ABORT, 'measurements are append-only: write a new one instead of replacing a row');
        END
        """,
    ),
)

PLANS = Migration(
    "choices of the plan",
    (
        """
        CREATE TABLE plans (
            row INTEGER PRIMARY KEY,
            id TEXT NOT NULL UNIQUE,
            made_at TEXT NOT NULL,
            treatment TEXT NOT NULL,
            area TEXT NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('pass-on', 'pass-by', 'restart', 'leave')),
            day TEXT NOT NULL,
            says TEXT NOT NULL
        ) STRICT
        """,
        "CREATE INDEX plans_of_task ON plans (treatment, area, made_at, row)",
        """
        CREATE TRIGGER plans_refuse_update BEFORE UPDATE ON plans
        BEGIN SELECT RAISE(ABORT, 'plans are append-only: write a new choice instead of changing a row');
        END
        """,
        """
        CREATE TRIGGER plans_refuse_delete BEFORE DELETE ON plans
        BEGIN SELECT RAISE(ABORT, 'plans are append-only: write a new choice instead of deleting a row');
        END
        """,
        """
        CREATE TRIGGER plans_refuse_replace BEFORE INSERT ON plans
        WHEN EXISTS (SELECT 1 FROM plans WHERE id = NEW.id OR row = NEW.row)
        BEGIN SELECT RAISE(ABORT, 'plans are append-only: write a new choice instead of replacing a row');
        END
        """,
    ),
)

#: a hash for each record that takes in the one before it, so that tampering shows; see `chain`
RECORD_LINKS = Migration(
    "links of the records",
    (
        """
        CREATE TABLE record_links (
            row INTEGER PRIMARY KEY REFERENCES records (row),
            form TEXT NOT NULL,
            hash TEXT NOT NULL UNIQUE
        ) STRICT
        """,
        """
        CREATE TRIGGER record_links_refuse_update BEFORE UPDATE ON record_links
        BEGIN SELECT RAISE(ABORT, 'links of records are append-only');
        END
        """,
        """
        CREATE TRIGGER record_links_refuse_delete BEFORE DELETE ON record_links
        BEGIN SELECT RAISE(ABORT, 'links of records are append-only');
        END
        """,
        """
        CREATE TRIGGER record_links_refuse_replace BEFORE INSERT ON record_links
        WHEN EXISTS (SELECT 1 FROM record_links WHERE row = NEW.row OR hash = NEW.hash)
        BEGIN SELECT RAISE(ABORT, 'links of records are append-only');
        END
        """,
    ),
    chain.chain_all,
)

MIGRATIONS: tuple[Migration, ...] = (FIRST_TABLES, MEASUREMENTS, PLANS, RECORD_LINKS)

#: the first version whose records have links
CHAINED_FROM = MIGRATIONS.index(RECORD_LINKS) + 1


def version_of(connection: sqlite3.Connection) -> int:
    return connection.execute("PRAGMA user_version").fetchone()[0]


def is_empty(connection: sqlite3.Connection) -> bool:
    """True for a file that holds no table at all."""
    return connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0


def is_ours(connection: sqlite3.Connection) -> bool:
    return connection.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID


def refuse_foreign(connection: sqlite3.Connection, path: Path, known: int) -> None:
    """Raise StoreError for the database of another program, and for one that is newer than version `known`."""
    version = version_of(connection)
    if not is_empty(connection) and not is_ours(connection):
        raise StoreError(
            "the file is a database of another program", where=str(path), hint="name another file"
        )
    if version > known:
        raise StoreError(
            f"the database was written by a newer version of this program (tables of version {version}; "
            f"known here are those up to {known})",
            where=str(path),
            hint=f"install the newer version, or go back to a backup: advisor restore {path.name}.v{known}.bak",
        )


def migrate(connection: sqlite3.Connection, migrations: Sequence[Migration] = MIGRATIONS) -> list[str]:
    """Apply the steps that the file has not seen, all in one transaction; the names of those applied.

    The version is read again inside the transaction, so two processes that start together apply a step once.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        applied = apply_steps(connection, migrations)
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    return applied


def apply_steps(connection: sqlite3.Connection, migrations: Sequence[Migration]) -> list[str]:
    """The steps themselves, inside a transaction that is open."""
    applied = []
    for version, migration in enumerate(migrations, start=1):
        if version_of(connection) >= version:
            continue
        for statement in migration.statements:
            connection.execute(statement)
        if migration.work is not None:
            migration.work(connection)
        connection.execute("INSERT INTO migrations (version, name) VALUES (?, ?)", (version, migration.name))
        connection.execute(f"PRAGMA user_version = {version}")
        applied.append(migration.name)
    return applied
