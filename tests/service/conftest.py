import logging
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from advisor.service.due import Schedule
from advisor.store import Store

CHICAGO = ZoneInfo("America/Chicago")


@pytest.fixture
def schedule():
    return Schedule(CHICAGO)


@pytest.fixture
def now():
    """A quarter to seven in the evening in Chicago."""
    return datetime(2026, 9, 20, 23, 45, tzinfo=UTC)


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "ledger.db") as opened:
        yield opened


@pytest.fixture
def events(caplog):
    """What was logged, as (event, fields)."""
    caplog.set_level(logging.DEBUG, logger="advisor")

    def read(name=None):
        found = [(record.msg, getattr(record, "event_fields", {})) for record in caplog.records]
        return found if name is None else [fields for event, fields in found if event == name]

    return read
