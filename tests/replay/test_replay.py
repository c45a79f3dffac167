"""A notice's verdict made again from its evidence, whatever has been edited since. Our own behaviour."""

from __future__ import annotations

import json
import shutil
import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner
from weather import households
from weather.households import NOW
from weather_server import WeatherServer

import advisor
from advisor.cli import cli
from advisor.errors import StoreError
from advisor.evidence import Evidence, Ledger, keep, restore
from advisor.messages.outlook_json import outlook_object
from advisor.model import PlanEntry, Record
from advisor.replay import replay, verdicts
from advisor.rule_files import load_rules, rules_of
from advisor.service.due import Work
from advisor.service.household import HouseholdService
from advisor.spread.learned import BAND_EDGES, Fit, Learned
from advisor.statements import IRRIGATED, SOIL, Statement
from advisor.store import Store, measurements, notices, payloads, plans, records
from advisor.weather import Answers

HOUR = timedelta(hours=1)
#: half past six in the evening there
EVENING = datetime(2026, 9, 21, 23, 30, tzinfo=UTC)
WEATHER = 'sources = ["nws"]\ncross_check = "met-norway"\nensemble = "gfs025"\n'

#: an own rule that closes every day: less wind than there is
OWN_RULE = """\
id = "wind-strong"
title = "Wind too strong"
kind = "safety"
[measure]
quantity = "wind_speed_2m"
span = "work"
take = "max"
[limit]
at_most = { label = "wind_max", default = "1 mph", cap = "1 mph" }
[words]
asks = "?"
passes = "{value}"
fails = "{value}"
anyway = "It drifts."
[[source]]
kind = "common practice"
text = "common practice, no source"
[[example]]
says = "still"
given = "0.5 mph"
expect = "go"
[[example]]
says = "windy"
given = "5 mph"
expect = "no-go"
"""


@pytest.fixture(scope="module")
def server():
    with WeatherServer(now=EVENING - HOUR) as running:
        running.size = {"days": 5}
        running.members = {"gfs025": 31}
        yield running


@pytest.fixture(scope="module")
def made_once(tmp_path_factory, server):
    """A household whose evening notice was made and kept: its folder and the notice's id."""
    folder = tmp_path_factory.mktemp("made") / "home"
    hosts = "".join(f'{name} = "{server.base}"\n' for name in ("nws", "open-meteo", "met-norway"))
    households.write(folder, f"{WEATHER}[weather.hosts]\n{hosts}[decision]\nassumed_members = 0\n")
    service = HouseholdService.open(folder)
    service.pull(EVENING - HOUR)
    work = Work("evening", "evening", date(2026, 9, 21), EVENING, EVENING + 4 * HOUR)
    (notice,) = service.decide(work, EVENING)
    with Store.open(service.database) as store:
        notices.put(store, notice, [], EVENING)
    return folder, notice.id


@pytest.fixture
def home(tmp_path, made_once):
    """The household in a folder of its own."""
    return Path(shutil.copytree(made_once[0], tmp_path / "home"))


@pytest.fixture
def told(made_once):
    return made_once[1]


def again(home, notice_id):
    with Store.open_readonly(home / "advisor.db") as store:
        return replay(store, notice_id, home)


def go_days(made) -> set[str]:
    return {key for key, verdict in made.again.items() if verdict == "go"}


def test_it_comes_out_the_same_to_the_last_word(home, told):
    made = again(home, told)
    assert made.same and made.identical and made.differences == ()
    assert go_days(made)  # else nothing below could change it
    assert made.changed_since == ()
    roles = {one.role for one in made.evidence.answers.kept}
    assert roles == {"forecast", "cross-check", "ensemble", "warnings", "observations"}
    assert made.evidence.answers.past


def test_a_part_of_a_second_is_in_no_answer_for_it_is_not_kept(home):
    at = EVENING + timedelta(seconds=18, milliseconds=400)
    assert HouseholdService.open(home).evidence(at).now == EVENING + timedelta(seconds=18)


def edit_household(home):
    path = home / "lawn.toml"
    text = path.read_text()
    path.write_text(text.replace('every_day = "09:00-17:00"', 'every_day = "00:00-00:30"'))


def edit_label(home):
    path = home / "labels" / "concentrate.toml"
    path.write_text(path.read_text().replace('wind_max = "10 mph"', 'wind_max = "2 mph"'))


def edit_treatment(home):
    path = home / "treatments" / "broadleaf.toml"
    path.write_text(path.read_text() + 'latest = 2026-09-01\n')


def add_rule(home):
    (home / "rules").mkdir()
    (home / "rules" / "wind-strong.toml").write_text(OWN_RULE)


def add_history(home):
    (home / "history.csv").write_text(
        "area,treatment,product,active_ingredients,started_at,amount,size\n"
        "front,broadleaf,Test Concentrate,exemplic acid,2026-09-20 09:00,4 floz,3200 ft^2\n"
    )


def add_record(home):
    with Store.open(home / "advisor.db") as store:
        done = Record("front", "broadleaf", "Test Concentrate", ("exemplic acid",), NOW - 24 * HOUR, NOW - 23 * HOUR,
                      100.0, 297.0)  # fmt: skip
        records.add(store, done, written_at=NOW)


def say_dry(home):
    with Store.open(home / "advisor.db") as store:
        measurements.add(store, SOIL, "front", NOW, {"state": "dry", "on": "2026-09-21"}, written_at=NOW)


def put_off(home):
    with Store.open(home / "advisor.db") as store:
        plans.add(store, PlanEntry("broadleaf", "front", "leave", date(2026, 12, 1), NOW, "later"))


def new_weather(home):
    """A later answer, and the old ones confirmed once more."""
    service = HouseholdService.open(home)
    service.pull(EVENING + 3 * HOUR)
    with Store.open(home / "advisor.db") as store, store.write() as connection:
        connection.execute("UPDATE payloads SET confirmed_at = '2027-01-01T00:00:00Z'")


CHANGES = {
    "lawn.toml": edit_household, "labels/concentrate.toml": edit_label, "treatments/broadleaf.toml": edit_treatment,
    "the rules": add_rule, "history.csv": add_history, "record": add_record, "statement": say_dry, "plan": put_off,
    "weather": new_weather,
}  # fmt: skip


@pytest.mark.parametrize("what", CHANGES)
def test_nothing_that_is_edited_afterwards_changes_it(what, home, told):
    CHANGES[what](home)
    made = again(home, told)
    assert made.same and made.identical
    files = what if "." in what or what == "the rules" else None
    assert made.changed_since == ((files,) if files else ())


@pytest.mark.parametrize("what", [one for one in CHANGES if one != "weather"])
def test_every_one_of_these_edits_would_change_an_answer_of_today(what, home, told):
    """So that the test before can fail: a fresh look after the same edit comes out otherwise."""
    before = json.loads(json.dumps(again(home, told).again))
    CHANGES[what](home)
    outlook, _ = HouseholdService.open(home).outlook(EVENING)
    assert verdicts(outlook_object(outlook)) != before


def test_all_edits_together_and_the_folder_gone(home, told):
    for change in CHANGES.values():
        change(home)
    (home / "lawn.toml").unlink()
    made = again(home, told)
    assert made.same and made.identical


def test_another_version_is_told(home, told, monkeypatch):
    assert not again(home, told).other_version
    monkeypatch.setattr(advisor, "__version__", "99.1")
    made = again(home, told)
    assert made.other_version and made.version != "99.1" and made.same


def test_tidying_up_leaves_the_evidence(home, told):
    with Store.open(home / "advisor.db") as store:
        for hours in range(1, 4):
            later = EVENING + hours * HOUR
            payloads.add(store, source="household-files", site="x", url="x", body=b"{}", fetched_at=later)
        payloads.prune(store, EVENING + 10000 * HOUR)
    made = again(home, told)
    assert made.same and made.identical


def test_what_does_not_change_is_kept_once(home, told):
    """A second notice adds no second copy of files and rules."""
    service = HouseholdService.open(home)

    def bodies() -> dict[str, int]:
        with Store.open_readonly(home / "advisor.db") as store, store.read() as connection:
            rows = connection.execute("SELECT source, count(*) AS many FROM payloads GROUP BY source").fetchall()
        return {row["source"]: row["many"] for row in rows}

    before = bodies()
    service.decide(Work("morning", "morning", date(2026, 9, 22), EVENING, EVENING + 4 * HOUR), EVENING + HOUR)
    after = bodies()
    assert after["household-files"] == before["household-files"] == 1
    assert after["rule-files"] == 1
    # The first notice kept the soil's water at the end of yesterday, which the second one's ledger tells; no more.
    assert after["ledger"] == 2
    service.decide(Work("morning", "again", date(2026, 9, 22), EVENING, EVENING + 4 * HOUR), EVENING + 2 * HOUR)
    third = bodies()
    assert {name: third[name] for name in ("household-files", "rule-files", "ledger")} == {
        "household-files": 1, "rule-files": 1, "ledger": 2,
    }  # fmt: skip


# what is not as it was


def test_a_verdict_that_was_altered_is_found(home, told):
    with sqlite3.connect(home / "advisor.db") as connection:
        (text,) = connection.execute("SELECT evidence FROM notices").fetchone()
        connection.execute("UPDATE notices SET evidence = ?", (text.replace('"verdict":"go"', '"verdict":"no-go"'),))
    made = again(home, told)
    assert not made.same and "told no-go, now go" in made.differences[0]


def test_damaged_bytes_are_told_and_not_used(home, told):
    with sqlite3.connect(home / "advisor.db") as connection:
        connection.execute("UPDATE payload_bodies SET compressed = x'00'")
    with pytest.raises(StoreError, match="is damaged"):
        again(home, told)


def test_bytes_that_are_gone_are_named(home, told):
    with sqlite3.connect(home / "advisor.db") as connection:
        connection.execute("DELETE FROM payloads WHERE source = 'rule-files'")
        connection.execute("DELETE FROM payload_bodies WHERE sha256 NOT IN (SELECT sha256 FROM payloads)")
    with pytest.raises(StoreError, match="the evidence is not complete: rule-files"):
        again(home, told)


def test_a_notice_without_evidence_says_so(home, told):
    with sqlite3.connect(home / "advisor.db") as connection:
        connection.execute("UPDATE notices SET evidence = '{}'")
    with pytest.raises(StoreError, match="kept without everything"):
        again(home, told)


def test_a_notice_that_is_not_there(home, told):
    with pytest.raises(StoreError, match='there is no notice "n-0"'):
        again(home, "n-0")


# the pieces


RECORD = Record("front", "autumn", "Test", ("a", "b"), NOW + timedelta(microseconds=7), NOW + HOUR, 12.5, None, "me",
                "note, with a comma", "r-1")  # fmt: skip
STATEMENT = Statement(IRRIGATED, "front", date(2026, 9, 20), NOW, {"depth": 4.5, "at": "05:30"}, "s-1")
PLAN = PlanEntry("autumn", "front", "pass-on", date(2026, 9, 25), NOW, "why", "p-1")


def test_every_piece_comes_back_as_it_was(tmp_path):
    fits = {"air_temperature": tuple(Fit(12, 9.5, 0.25, 1.1) for _ in BAND_EDGES),
            "precipitation": tuple(Fit(12, 9.5, 0.0, 1.0, (0.1, 0.9, 0.0)) for _ in BAND_EDGES)}  # fmt: skip
    learned = Learned("41.6000,-93.6000", date(2026, 9, 20), fits)
    ledger = Ledger((RECORD, replace(RECORD, ended_at=None)), (STATEMENT,), (PLAN,), {"knapsack": 0.0412345})
    answers = Answers((), (), b'{"past": 1}')
    files = {"lawn.toml": "name = 'ü'\r\n"}
    before = Evidence(NOW, files, load_rules(), ledger, answers, '{"almanac": 1}', learned)
    with Store.open(tmp_path / "a.db") as store:
        told, hashes = keep(store, "site", before)
        after = restore(store, "n-1", {"replay": json.loads(json.dumps(told))})
        assert all(payloads.body(store, one) for one in hashes)
    assert after == before


def test_rules_of_texts_are_the_rules_of_files():
    shipped = load_rules()
    made = rules_of(shipped.shipped, shipped.own)
    assert made == shipped and made.version == shipped.version


def test_a_row_with_fields_of_another_version_is_read_as_far_as_it_is_known(tmp_path):
    with Store.open(tmp_path / "a.db") as store:
        told, _ = keep(store, "site", Evidence(NOW, {}, load_rules(), Ledger((RECORD,)), Answers()))
        flat = json.loads(payloads.body(store, told["texts"]["ledger"]))
        flat["records"][0]["colour"] = "green"
        del flat["records"][0]["note"]
        body = json.dumps(flat).encode()
        kept = payloads.add(store, source="ledger", site="site", url="ledger", body=body, fetched_at=NOW)
        told["texts"]["ledger"] = kept.sha256
        assert restore(store, "n-1", {"replay": told}).ledger.records == (replace(RECORD, note=""),)


def test_a_file_outside_the_household_is_not_written(tmp_path):
    evil = Evidence(NOW, {"../escaped.toml": "x"}, load_rules(), Ledger(), Answers())
    with pytest.raises(StoreError, match="outside the household"):
        evil.household()


# the command


def run(home, *words):
    return CliRunner().invoke(cli, ["replay", "--home", str(home), *words])


def test_the_command_lists_and_replays(home, told):
    listed = run(home)
    assert listed.exit_code == 0 and told in listed.output
    done = run(home, told)
    assert done.exit_code == 0, done.output
    assert "the verdict is the same; every number and word of it too" in done.output
    edit_label(home)
    changed = run(home, told)
    assert changed.exit_code == 0 and "Changed since, and not looked at: labels/concentrate.toml." in changed.output


def test_the_command_says_so_in_json_and_with_its_exit_status(home, told, monkeypatch):
    monkeypatch.setattr(advisor, "__version__", "99.1")
    with sqlite3.connect(home / "advisor.db") as connection:
        (text,) = connection.execute("SELECT evidence FROM notices").fetchone()
        connection.execute("UPDATE notices SET evidence = ?", (text.replace('"verdict":"go"', '"verdict":"no-go"'),))
    done = run(home, told, "--json")
    assert done.exit_code == 1
    found = json.loads(done.output)
    assert not found["same"] and found["differences"] and found["this_version"] == "99.1"
    shown = run(home, told)
    assert "NOT the same" in shown.output and "was told no-go" in shown.output
    assert "another version may answer otherwise" in shown.output


def test_nothing_is_written_by_looking(home, told):
    before = (home / "advisor.db").read_bytes()
    run(home, told)
    assert (home / "advisor.db").read_bytes() == before
