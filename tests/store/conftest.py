from datetime import UTC, datetime

import pytest

from advisor.store import Store, marks, notices, records
from tests.store.copied import RECORD, note, settle

NOW = datetime(2026, 9, 20, 23, 30, tzinfo=UTC)


@pytest.fixture
def now():
    return NOW


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "ledger.db") as opened:
        yield opened


@pytest.fixture
def path(tmp_path, now):
    """A ledger with one record, one notice that was sent and one that waits."""
    made = tmp_path / "home" / "advisor.db"
    with Store.open(made) as store:
        records.add(store, RECORD, written_at=now)
        notices.put(store, note(), ["tape"], now)
        settle(store, "sent", now)
        notices.put(store, note("morning", 21), ["tape"], now)
        marks.put(store, "notice:home:evening:2026-09-20", now)
    return made
