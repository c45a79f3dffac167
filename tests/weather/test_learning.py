"""What the site's kept forecasts teach is worked out once a day, kept, and used by the next outlook."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from advisor.household import load
from advisor.ledger import read_learned
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer
from advisor.store import Store, marks, payloads
from advisor.weather import site_key
from advisor.weather.learning import kept_learned, learn_when_due
from tests.weather_bodies import open_meteo_body

ROOT = Path(__file__).resolve().parents[2]
NOW = datetime(2026, 9, 21, 12, 17, tzinfo=UTC)


@pytest.fixture
def household(tmp_path):
    text = (ROOT / "fixtures/prairie-lawn/lawn.toml").read_text(encoding="utf-8")
    for name in ("labels", "treatments"):
        folder = tmp_path / name
        folder.mkdir()
        for file in (ROOT / "fixtures/prairie-lawn" / name).glob("*.toml"):
            (folder / file.name).write_bytes(file.read_bytes())
    (tmp_path / "lawn.toml").write_text(text, encoding="utf-8")
    return load(tmp_path)


def body(now: datetime) -> bytes:
    return json.dumps(open_meteo_body(41.6, -93.6, now, past_days=2)).encode()


def keep(store, household, days: int) -> None:
    for ago in range(days, -1, -1):
        at = NOW - timedelta(days=ago)
        payloads.add(store, source="open-meteo", site=site_key(household.site), url="http://127.0.0.1/v1/forecast",
                     body=body(at), fetched_at=at)  # fmt: skip


def test_kept_forecasts_teach_and_the_outlook_says_so(household, tmp_path):
    database = tmp_path / "advisor.db"
    with Store.open(database) as store:
        keep(store, household, 30)
    learn_when_due(household, database, NOW)
    learned = read_learned(household, database)
    assert learned is not None and "air_temperature" in learned.fits
    forecast = control(read_answer(body(NOW), fetched_at=NOW), NOW)
    outlook = make_outlook(household, forecast, list(load_rules()), [], NOW, learned=learned)
    assert outlook.forecast.provenance.spread.startswith("learned from ")
    without = make_outlook(household, forecast, list(load_rules()), [], NOW)
    assert without.forecast.provenance.spread == "assumed spread"


def test_it_is_worked_out_once_a_day(household, tmp_path):
    database = tmp_path / "advisor.db"
    with Store.open(database) as store:
        keep(store, household, 30)
    learn_when_due(household, database, NOW)
    with Store.open(database) as store:
        first = marks.get(store, f"learned:{site_key(household.site)}").at
    learn_when_due(household, database, NOW + timedelta(hours=3))
    with Store.open(database) as store:
        assert marks.get(store, f"learned:{site_key(household.site)}").at == first
    learn_when_due(household, database, NOW + timedelta(hours=21))
    with Store.open(database) as store:
        assert marks.get(store, f"learned:{site_key(household.site)}").at > first


def test_nothing_kept_teaches_nothing(household, tmp_path):
    database = tmp_path / "advisor.db"
    assert read_learned(household, database) is None
    learn_when_due(household, database, NOW)
    with Store.open_readonly(database) as store:
        assert kept_learned(store, household) is None
