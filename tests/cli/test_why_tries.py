"""`advisor why --try` says so where the limit that is tried belongs to a rule that is not asked of the pass."""

from __future__ import annotations

from command import FIXTURES, advisor

DEMO = ("--home", FIXTURES / "prairie-lawn", "--weather", FIXTURES / "weather" / "prairie-open-meteo.json",
        "--now", "2026-09-21T12:00Z")  # fmt: skip


def why(trial: str, *more):
    return advisor("why", "2026-09-24", "--area", "front", "--try", trial, *DEMO, *more)


def test_a_rule_that_is_not_asked_changes_nothing_and_its_kin_is_named():
    said = "".join(why("nights=38 degF").out.split("\n")[0])
    assert 'rule "nights" is not asked of this pass; nights-autumn is.' in said
    assert "not asked" in why("nights=38 degF", "--json").json["trial"]["says"]


def test_a_rule_that_is_asked_opens_the_day():
    found = why("nights-autumn=20 degF")
    assert "not asked" not in found.out
    assert "front lawn: GO" in found.out
