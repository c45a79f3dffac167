"""The soil's water goes on from one run to the next, for each area."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from advisor.household import load
from advisor.ledger import as_told, keep_soil_water
from advisor.outlook import make_outlook
from advisor.quality import control
from advisor.rule_files import load_rules
from advisor.sources import read_answer
from advisor.store import Store

ROOT = Path(__file__).resolve().parents[2]
WEATHER = ROOT / "fixtures" / "weather" / "prairie-open-meteo.json"
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def household():
    found = load(ROOT / "fixtures" / "prairie-lawn")
    areas = {name: replace(area, soil_state=None, soil_seen=None) for name, area in found.areas.items()}
    return replace(found, areas=areas)


def outlook(household, forecast):
    return make_outlook(household, forecast, list(load_rules()), household.history, NOW)


def test_a_kept_depletion_stands_in_for_past_weather(household, tmp_path):
    """A run with ten past days keeps yesterday's depletion; a later run whose forecast begins today goes on from it and
    finds the same water stress as the run that saw the past itself."""
    whole = control(read_answer(WEATHER.read_bytes(), fetched_at=NOW), NOW)
    first = outlook(household, whole)
    kept = first.soil_water()
    assert set(kept) == {"front", "back"} and all(day == date(2026, 9, 20) for day, _ in kept.values())

    database = tmp_path / "advisor.db"
    with Store.open(database) as store:
        keep_soil_water(store, first)
        keep_soil_water(store, first)
    cut = whole.index(np.datetime64("2026-09-21T05", "h"))  # midnight in Chicago
    fields = {
        name: replace(field, values=np.where(np.arange(whole.hours) < cut, np.nan, field.values))
        for name, field in whole.fields.items()
    }
    late = replace(whole, fields=fields)
    assert np.isnan(outlook(household, late).explainer.area.soil_stress[..., cut : cut + 40]).all()
    told = as_told(household, database, NOW + timedelta(hours=1))
    went_on = outlook(told, late).explainer.area.soil_stress[..., cut:]
    np.testing.assert_allclose(went_on, first.explainer.area.soil_stress[..., cut:], atol=1e-3)


def test_a_later_look_at_the_soil_counts_for_more(household, tmp_path):
    whole = control(read_answer(WEATHER.read_bytes(), fetched_at=NOW), NOW)
    database = tmp_path / "advisor.db"
    with Store.open(database) as store:
        keep_soil_water(store, outlook(household, whole))
    areas = {
        name: replace(area, soil_state="dry", soil_seen=date(2026, 9, 21))
        for name, area in household.areas.items()
    }
    told = as_told(replace(household, areas=areas), database, NOW + timedelta(hours=1))
    assert all(area.soil_depletion is None for area in told.areas.values())
    first_hour = whole.index(np.datetime64("2026-09-21T12", "h"))
    assert (outlook(told, whole).explainer.area.soil_stress[..., first_hour] < 0.9).all()
