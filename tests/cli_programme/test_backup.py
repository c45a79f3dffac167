"""`advisor backup` and `advisor restore`. Our own behaviour, no outside source."""

from __future__ import annotations

import pytest
from click.testing import CliRunner

from advisor.cli import cli
from advisor.service.lock import ServiceLock
from advisor.store import copies


@pytest.fixture
def saved(run, record, tmp_path):
    record()
    assert run("backup", "--to", tmp_path / "lawn.bak").status == 0
    return tmp_path / "lawn.bak"


def test_a_backup_is_written_checked_and_told_of(run, record, home, tmp_path):
    record()
    said = run("backup", "--to", tmp_path / "lawn.bak")
    assert said.status == 0 and "Written and checked" in said.out and "1 record" in said.out
    head = run("records", "--verify", "--json").json["head"]
    assert head in said.out
    checked = run("backup", "--check", tmp_path / "lawn.bak", "--json").json
    assert checked["ok"] and checked["head"] == head and checked["records"] == 1


def test_without_a_name_it_is_a_new_file_in_the_household_folder(run, record, home):
    record()
    assert run("backup", now="2026-09-26T08:00Z").status == 0
    assert copies.examine(home / "backups" / "advisor-20260926T080000Z.db").records == 1
    assert run("check").status == 0  # the folder stays a household


def test_nothing_is_overwritten_without_being_told(run, saved):
    said = run("backup", "--to", saved)
    assert said.status == 1 and "--overwrite" in said.err
    assert run("backup", "--to", saved, "--overwrite").status == 0


def test_the_ledger_itself_is_no_target(run, saved, home):
    assert run("backup", "--to", home / "advisor.db", "--overwrite").status == 2
    assert copies.examine(home / "advisor.db").records == 1


def test_without_a_ledger_it_says_so(run):
    said = run("backup")
    assert said.status == 1 and "no database to copy" in said.err


def test_a_damaged_file_is_told_of_with_what_to_do(run, saved):
    with saved.open("r+b") as file:
        file.seek(5000)
        file.write(b"\xa5" * 30_000)
    said = run("backup", "--check", saved)
    assert said.status == 1 and "DAMAGED" in said.out and "To do:" in said.out
    assert run("backup", "--check", saved, "--json").json["ok"] is False
    assert run("restore", saved).status == 1


def test_going_back_and_what_is_said_of_it(run, record, saved, home):
    record("--area", "back", "--size", "5400 ft^2", "--amount", "8.1 floz")
    refused = run("restore", saved)
    assert (
        refused.status == 1
        and "holds what the backup does not: record r-" in refused.err
        and "--give-up-newer" in refused.err
    )
    said = run("restore", saved, "--give-up-newer")
    assert (
        said.status == 0
        and "Restored from" in said.out
        and "is kept as" in said.out
        and "Given up: r" in said.out
    )
    told = run("restore", saved, "--json").json
    assert told["records"] == 1 and told["given_up"] == [] and told["kept_as"]
    assert run("records", "--verify").status == 0


def test_it_is_refused_while_the_service_runs(run, saved, home):
    before = (home / "advisor.db").read_bytes()
    with ServiceLock(home / "advisor.lock"):
        said = run("restore", saved)
    assert said.status == 75 and "another service is running" in said.err and "kill" in said.err
    assert (home / "advisor.db").read_bytes() == before


@pytest.mark.parametrize("name", ["backup", "restore"])
def test_the_help_says_what_is_not_in_it(name):
    said = " ".join(CliRunner().invoke(cli, [name, "--help"]).output.split())
    assert ("copy the folder" in said) if name == "backup" else ("keep the present ledger aside" in said)
