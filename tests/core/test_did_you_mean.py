"""A misspelt name is answered with the one that was most likely meant."""

from __future__ import annotations

import pytest

from advisor.errors import did_you_mean

RULES = ("nights", "nights-autumn", "soil-temperature", "rainfast", "rain-during", "wind-strong", "wind-calm")


@pytest.mark.parametrize(
    ("written", "answered"),
    [
        ("night-temperature", 'did you mean "nights" or "nights-autumn"?'),
        ("soil-temprature", 'did you mean "soil-temperature"?'),
        ("rainfst", 'did you mean "rainfast"?'),
        ("wind-stron", 'did you mean "wind-strong"?'),
    ],
)
def test_the_subject_counts_before_the_letters(written, answered):
    assert did_you_mean(written, RULES) == answered


def test_what_is_like_nothing_gets_the_whole_list():
    assert did_you_mean("zzz", RULES) == "known: " + ", ".join(sorted(RULES))
