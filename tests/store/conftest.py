from datetime import UTC, datetime

import pytest

from advisor.store import Store

NOW = datetime(2026, 9, 20, 23, 30, tzinfo=UTC)


@pytest.fixture
def now():
    return NOW


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "ledger.db") as opened:
        yield opened
