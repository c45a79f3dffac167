"""The passes that were made: the database's records and the household's own history file, as one ledger."""

from __future__ import annotations

from pathlib import Path

from advisor.model import Household, Record


def read_ledger(household: Household, database: Path) -> tuple[Record, ...]:
    """All records, oldest first. A database that is not there yet is an empty ledger; nothing is created."""
    found = list(household.history)
    if database.exists():
        from advisor.store.database import Store
        from advisor.store.records import current

        with Store.open_readonly(database) as store:
            found += current(store)
    return tuple(sorted(found, key=lambda record: record.started_at))
