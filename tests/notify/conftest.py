from datetime import UTC, date, datetime, timedelta

import pytest

from advisor.store import Store, notices
from advisor.store.notices import Notice

NOW = datetime(2026, 9, 20, 23, 30, tzinfo=UTC)


@pytest.fixture
def now():
    return NOW


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "ledger.db") as opened:
        yield opened


def keep(store, task, now, *channels, news=timedelta(hours=4)):
    """Keep a notice about a task for some channels; `news` for how long, None for ever."""
    notice = Notice(
        kind="evening",
        local_date=date(2026, 9, 20),
        task=task,
        subject=f"Go, {task}",
        text=f"Go on Monday, notice of {task}.\n",
        created_at=now,
        good_until=None if news is None else now + news,
    )
    return notices.put(store, notice, channels, now)


@pytest.fixture
def put(store, now):
    return lambda task, *channels, **given: keep(store, task, now, *channels, **given)
