"""`advisor reschedule` on the demonstration, offline: found, listed, chosen, and nothing lost."""

from __future__ import annotations

import json
import shutil

import pytest
from click.testing import CliRunner
from demo_lawn import FIXTURES

from advisor.cli import cli
from advisor.errors import UsageError
from advisor.ledger import read_plans
from advisor.store import Store

WEATHER = str(FIXTURES / "weather" / "prairie-open-meteo.json")
MONDAY = "2026-09-21T12:00Z"


@pytest.fixture
def home(tmp_path):
    return shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "lawn")


def run(home, *given, now=MONDAY, command="reschedule"):
    line = [command, "--home", str(home), "--weather", WEATHER, "--now", now, "--offline", *given]
    return CliRunner().invoke(cli, line, catch_exceptions=False)


def test_the_missed_follow_up_is_found_with_at_least_three_ranked_choices(home):
    told = json.loads(run(home, "--json").output)
    assert told["schema"] == "advisor.reschedule/1"
    assert [(one["area"], one["days_overdue"], one["overdue"]) for one in told["missed"]] == [
        ("front", 6, True),
        ("back", 6, True),
    ]
    for one in told["missed"]:
        assert len(one["choices"]) >= 3
        values = [choice["value"] for choice in one["choices"]]
        assert values == sorted(values, reverse=True)
    assert not (home / "advisor.db").exists(), "listing writes nothing"


def test_choosing_changes_the_plan_and_never_the_records(home):
    records = run(home, command="records").output
    first = json.loads(run(home, "--json").output)["missed"][0]["choices"][0]
    found = run(home, "--choose", "1")
    assert found.output.startswith(
        "Changed the plan of Broadleaf weeds, autumn, front lawn: the pass is planned"
    )
    assert run(home, command="records").output == records
    plans = read_plans(home / "advisor.db")
    assert [(one.area, one.kind, one.day.isoformat()) for one in plans] == [
        ("front", "pass-on", first["date"])
    ]
    day = plans[0].day
    assert f"planned for {day:%a} {day.day} {day:%b}" in run(home, command="outlook").output
    told = json.loads(run(home, "--json").output)
    assert [one["area"] for one in told["missed"]] == ["back"]


def test_both_passes_can_be_chosen_at_once_by_number_or_by_id(home):
    told = json.loads(run(home, "--json").output)
    back = next(one for one in told["missed"][1]["choices"] if one["kind"] == "leave")
    found = run(home, "--choose", "1", "--choose", back["id"], "--json")
    chosen = json.loads(found.output)["chosen"]
    assert [(one["area"], one["kind"]) for one in chosen] == [("front", "pass-on"), ("back", "leave")]
    # what is left is not asked about any more, until its day
    tasks = json.loads(run(home, "--json", command="outlook").output)["treatments"]
    assert [one["area"] for one in tasks] == ["front"]


def test_a_dry_run_writes_nothing(home):
    found = run(home, "--choose", "1", "--dry-run")
    assert found.output.startswith("Would change the plan")
    assert not (home / "advisor.db").exists()


def test_beginning_again_shows_a_first_pass_and_keeps_the_totals(home):
    told = json.loads(run(home, "--json").output)
    again = next(one for one in told["missed"][0]["choices"] if one["kind"] == "again")
    run(home, "--choose", again["id"])
    tasks = json.loads(run(home, "--json", command="outlook").output)["treatments"]
    front = next(one for one in tasks if one["area"] == "front")
    assert front["pass"] == 1
    tuesday = next(day for day in front["days"] if day["date"] == again["date"])
    total = next(reason for reason in tuesday["reasons"] if reason["rule"] == "season-total")
    assert "3.00 fl oz" in total["text"]


def test_a_choice_can_be_made_again_and_the_last_one_counts(home):
    run(home, "--choose", "1")
    run(
        home,
        "--missed",
        "--area",
        "front",
        "--choose",
        "broadleaf-autumn/front/later",
        now="2026-09-21T13:00Z",
    )
    assert [one.kind for one in read_plans(home / "advisor.db")] == ["pass-on", "pass-by"]
    assert "planned by Thu 5 Nov" in run(home, command="outlook", now="2026-09-21T14:00Z").output


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("--choose", "99"), 'no choice "99"'),
        (("--choose", "1", "--choose", "2"), "two choices for front lawn"),
        (("--area", "fornt"), 'no area "fornt"'),
        (("--treatment", "autumn"), 'no treatment "autumn"'),
    ],
)
def test_what_cannot_be_chosen_says_so_and_writes_nothing(home, given, says):
    with pytest.raises(UsageError, match=says):
        run(home, *given)
    assert not (home / "advisor.db").exists()


def test_somebody_saying_that_a_pass_was_missed_is_believed(home):
    from datetime import UTC, datetime

    from advisor.store import measurements

    wednesday = datetime(2026, 9, 9, 12, tzinfo=UTC)
    assert json.loads(run(home, "--json", now="2026-09-10T12:00Z").output)["missed"] == []
    with Store.open(home / "advisor.db") as store:
        data = {"treatment": "broadleaf-autumn", "area": "front", "on": "2026-09-09", "note": ""}
        measurements.add(store, "missed", "front", wednesday, data, written_at=wednesday)
    told = json.loads(run(home, "--json", now="2026-09-10T12:00Z").output)["missed"]
    assert [(one["area"], one["overdue"]) for one in told] == [("front", False)]


def test_metric_readers_and_json_errors(home):
    assert "days late" in run(home, "--units", "metric").output
    with pytest.raises(UsageError):
        run(home, "--choose", "no-such-choice")
