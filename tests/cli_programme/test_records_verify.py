"""`advisor records --verify`: tampering shows, by exit code too. Our own behaviour, no outside source."""

from __future__ import annotations

import csv
import io
import sqlite3

import pytest

from tests.cli_programme.conftest import FRONT

TRIGGERS = "SELECT name FROM sqlite_master WHERE type = 'trigger'"


@pytest.fixture
def tamper(home):
    def call(*statements):
        connection = sqlite3.connect(home / "advisor.db")
        for name in [row[0] for row in connection.execute(TRIGGERS)]:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        connection.commit()
        connection.close()

    return call


@pytest.fixture
def two(run, record):
    """Two records: a pass and its correction."""
    told = record("--json").json["record"]
    assert len(told["link"]) == 64
    first = told["id"]
    second = run("record", *FRONT, "--corrects", first, "--amount", "4.6 floz", "--json").json["record"]["id"]
    return first, second


def head_of(said) -> str:
    return next(line.split()[1] for line in said.out.splitlines() if line.startswith("Head:"))


def test_nothing_on_record_yet_is_in_order(run):
    said = run("records", "--verify")
    assert said.status == 0 and "No record" in said.out and head_of(said) == "0" * 64


def test_records_as_written_are_said_to_be(run, two):
    said = run("records", "--verify")
    assert said.status == 0 and "All 2 records are as written" in said.out
    assert "history.csv" in said.out  # which is in no chain
    told = run("records", "--verify", "--json").json
    assert told["ok"] and told["records"] == 2 and told["head"] == head_of(said) and told["breaks"] == []
    rows = run("records", "--json", "--all").json["records"]
    assert [row["link"] for row in rows if row["id"] == two[1]] == [told["head"]]


def test_the_csv_carries_the_link(run, two):
    lines = list(csv.DictReader(io.StringIO(run("records", "--format", "csv").out)))
    assert [line["link"] for line in lines if line["id"] == two[1]] == [head_of(run("records", "--verify"))]
    assert {line["link"] for line in lines if line["id"].startswith("history/")} == {""}


def test_a_changed_record_is_named_with_what_to_do(run, two, tamper):
    tamper("UPDATE records SET amount = 1.0 WHERE row = 1")
    said = run("records", "--verify")
    assert said.status == 1 and f'record "{two[0]}" (row 1)' in said.out and two[1] not in said.out
    assert "advisor backup --check" in said.out and "--corrects" in said.out
    told = run("records", "--verify", "--json")
    assert told.status == 1 and not told.json["ok"]
    assert [(one["row"], one["id"]) for one in told.json["breaks"]] == [(1, two[0])]


def test_the_newest_record_gone_shows_against_the_head_that_was_kept(run, two, tamper):
    head = head_of(run("records", "--verify"))
    assert run("records", "--verify", "--expect", head).status == 0
    tamper("DELETE FROM record_links WHERE row = 2", "DELETE FROM records WHERE row = 2")
    assert run("records", "--verify").status == 0  # a chain alone cannot show it, as the help says
    said = run("records", "--verify", "--expect", head)
    assert said.status == 1 and "NOT THERE" in said.out and head in said.out


def test_an_older_head_is_still_there_after_another_record(run, record):
    record()
    head = head_of(run("records", "--verify"))
    record("--area", "back", "--size", "5400 ft^2", "--amount", "8.1 floz")
    said = run("records", "--verify", "--expect", head, "--json").json
    assert said["ok"] and said["since_expected"] == 1


@pytest.mark.parametrize("arguments", [("--expect", "a" * 64), ("--verify", "--expect", "nonsense")])
def test_a_head_that_is_none_and_one_without_verify_are_refused(run, arguments):
    said = run("records", *arguments)
    assert said.status == 2 and said.err.count("\n") >= 2


def test_files_that_are_wrong_do_not_keep_from_verifying(run, two, home):
    (home / "lawn.toml").write_text("this is no TOML")
    assert run("records", "--verify").status == 0


def test_the_doctor_sees_a_changed_record(run, two, tamper):
    tamper("UPDATE records SET amount = 1.0 WHERE row = 1")
    findings = {one["name"]: one for one in run("doctor", "--json").json["findings"]}
    assert not findings["database"]["ok"] and two[0] in findings["database"]["says"]
    assert "advisor records --verify" in findings["database"]["fix"]
