"""The passes that were made and the choices that changed the plan: the database and the household's history file."""

from __future__ import annotations

from pathlib import Path

from advisor.model import Household, PlanEntry, Record


def read_ledger(household: Household, database: Path) -> tuple[Record, ...]:
    """All records, oldest first. A database that is not there yet is an empty ledger; nothing is created."""
    found = list(household.history)
    if database.exists():
        from advisor.store.database import Store
        from advisor.store.records import current

        with Store.open_readonly(database) as store:
            found += current(store)
    return tuple(sorted(found, key=lambda record: record.started_at))


def read_plans(database: Path) -> tuple[PlanEntry, ...]:
    """All choices that changed the plan, oldest first. Nothing is created."""
    if not database.exists():
        return ()
    from advisor.store.database import Store
    from advisor.store.plans import history

    with Store.open_readonly(database) as store:
        return tuple(history(store))
