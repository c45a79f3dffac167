"""The table of faults at the level of verdicts: our own behaviour under faults that the services are known to have."""

from __future__ import annotations

import itertools

import pytest
from weather_server import FAULTS, PROVIDERS

from weather import faults
from weather.faults import ALL_FAULTS, HARMLESS, SITUATIONS, outcome, words
from weather.households import household as made

OTHER = {"nws": "open-meteo", "open-meteo": "met-norway", "met-norway": "nws"}


@pytest.fixture(scope="module")
def household(tmp_path_factory):
    return made(tmp_path_factory.mktemp("household"))


def test_the_table_is_complete():
    assert set(faults.WORDS) == {"refused", *FAULTS}
    assert len(PROVIDERS) >= 3 and len(ALL_FAULTS) - len(HARMLESS) >= 18


@pytest.mark.parametrize("provider", PROVIDERS)
def test_without_a_fault_the_day_is_a_go(provider, household, tmp_path):
    """Else the table below could not fail."""
    found = outcome(household, provider, "", tmp_path, None)
    assert found.today.verdict == "go" and found.failed == ""


@pytest.mark.parametrize(("fault", "provider"), list(itertools.product(ALL_FAULTS, PROVIDERS)))
def test_nothing_kept(fault, provider, household, tmp_path):
    """Never a go from missing data, and a reason that names the fault."""
    found = outcome(household, provider, fault, tmp_path, None)
    if fault in HARMLESS:
        assert found.today.verdict == "go" and words(fault, provider) in found.told
        return
    assert "go" not in found.verdicts and found.today.verdict == "unknown"
    assert words(fault, provider) in found.failed
    assert words(fault, provider) in found.told
    # the reason of the verdict itself, not only a note beside it
    assert words(fault, provider).partition(": ")[2] in found.reasons or words(fault, provider) in found.reasons


@pytest.mark.parametrize(("fault", "provider"), list(itertools.product(ALL_FAULTS, PROVIDERS)))
def test_the_last_good_answer_is_used_within_its_age_limit(fault, provider, household, tmp_path):
    found = outcome(household, provider, fault, tmp_path, SITUATIONS["kept for 3 h"])
    assert found.today.verdict == "go"
    if fault not in HARMLESS:
        assert "the last good answer, 3 h old, is used" in found.told
        assert words(fault, provider) in found.told and words(fault, provider) in found.failed


@pytest.mark.parametrize("provider", PROVIDERS)
@pytest.mark.parametrize("fault", ["refused", "reset", "status-404", "status-503", "html", "truncated", "gzip-bomb",
                                   "wrong-units", "nulls", "stale", "other-place"])  # fmt: skip
def test_beyond_its_age_limit_the_last_good_answer_is_no_go(fault, provider, household, tmp_path):
    found = outcome(household, provider, fault, tmp_path, SITUATIONS["kept for 20 h"])
    assert "go" not in found.verdicts and found.today.verdict == "unknown"
    assert words(fault, provider) in found.told
    assert words(fault, provider).partition(": ")[2] in found.reasons or words(fault, provider) in found.reasons


@pytest.mark.parametrize("provider", PROVIDERS)
@pytest.mark.parametrize("fault", ["refused", "status-429-seconds", "html", "wrong-units", "nulls", "stale",
                                   "other-place"])  # fmt: skip
def test_the_next_source_stands_in_and_is_named(fault, provider, household, tmp_path):
    found = outcome(household, provider, fault, tmp_path, None, OTHER[provider])
    assert found.today.verdict == "go" and found.failed == ""
    assert "stands in" in found.told and words(fault, provider) in found.told
