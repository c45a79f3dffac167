"""Ten weeks of one lawn, told from beginning to end through the commands alone, offline. Everything in it is invented.

A first pass, its review, a follow-up that the wind took away, the choice of another day, the second pass, and the seed.
"""

from __future__ import annotations

import json
import re
import shutil
from datetime import date, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from demo_lawn import FIXTURES

from advisor.cli import cli
from advisor.cli.record import RecordRefused

from .weeks import weather

#: days that are still enough to work, and days in whose small hours it rained
STILL = {date(2026, 8, 25), date(2026, 9, 25), date(2026, 9, 26)}
WET = {date(2026, 8, 19), date(2026, 8, 21), date(2026, 8, 23), date(2026, 9, 4), date(2026, 9, 9), date(2026, 9, 14),
       date(2026, 9, 18), date(2026, 9, 20), date(2026, 9, 23)}  # fmt: skip


class Gardener:
    """Somebody with the demonstration's front lawn, a clock, and the commands."""

    def __init__(self, home: Path):
        self.home = home
        self.now = ""

    def at(self, text: str) -> Gardener:
        """The morning of a day, or a time of it, UTC."""
        self.now = text if "T" in text else f"{text}T12:00Z"
        return self

    def asks(self, command: str, *given: str) -> str:
        answer = weather(self.home / "answer.json", datetime.fromisoformat(self.now), STILL, WET)
        line = [command, "--home", str(self.home), "--weather", str(answer), "--now", self.now, "--offline", *given]
        found = CliRunner().invoke(cli, line, catch_exceptions=False)
        assert found.exit_code == 0, found.output
        return found.stdout

    def reads(self, command: str, *given: str) -> dict:
        return json.loads(self.asks(command, *given, "--json"))

    def writes(self, key: str, value: str) -> None:
        """A fact of the front lawn, into the household's own file."""
        path = self.home / "lawn.toml"
        text = path.read_text(encoding="utf-8")
        line = rf"^{key} = .*$"
        if re.search(line, text, re.MULTILINE):
            text = re.sub(line, f"{key} = {value}", text, count=1, flags=re.MULTILINE)
        else:
            text = text.replace('turf_season = "cool-season"', f'turf_season = "cool-season"\n{key} = {value}', 1)
        path.write_text(text, encoding="utf-8")

    def outlook(self) -> dict | None:
        """What the outlook says of the front lawn; None where no pass is open."""
        return next((one for one in self.reads("outlook")["treatments"] if one["area"] == "front"), None)

    def day(self, text: str) -> dict:
        return next(one for one in self.outlook()["days"] if one["date"] == text)


@pytest.fixture
def gardener(tmp_path):
    home = shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "lawn")
    for name in ("history.csv", "kept-history.csv"):
        (home / name).unlink(missing_ok=True)
    text = (home / "lawn.toml").read_text(encoding="utf-8")
    text = re.sub(r"^\[decision\]$", "[decision]\nassumed_members = 0", text, flags=re.MULTILINE)
    (home / "lawn.toml").write_text(text.replace("assumed_members = 0\nassumed_members = 0", "assumed_members = 0"))
    return Gardener(home)


def test_ten_weeks_from_the_first_pass_to_the_seed(gardener):
    # -- Week 1. There are weeds, and Tuesday is the day.
    gardener.at("2026-08-24")
    gardener.writes("last_mowed", "2026-08-22")
    gardener.writes("soil_seen", "2026-08-23")
    plan = gardener.reads("plan", "--area", "front")["sequences"][0]
    assert (plan["next_pass"], plan["label_year"]["more_passes"]) == (1, 2.0)
    assert {one["answer"] for one in plan["weeds"]} <= {"treat", "wait"}
    first = gardener.outlook()
    assert first["pass"] == 1
    assert [day["date"] for day in first["days"] if day["verdict"] == "go"] == ["2026-08-25"]
    assert first["waiting"]["best_date"] == "2026-08-25"

    # Tuesday noon: it is done, and written down.
    gardener.at("2026-08-25T18:00Z").asks(
        "record", "--area", "front", "--started", "2026-08-25 12:05", "--ended", "2026-08-25 12:27",
        "--amount", "4.8 floz", "--size", "3200 ft^2", "--who", "the gardener",
    )  # fmt: skip

    # The label keeps the next two weeks closed, whatever the weather does.
    gardener.at("2026-08-27")
    assert any(reason["rule"] == "interval" and reason["verdict"] == "no-go"
               for day in gardener.outlook()["days"] for reason in day["reasons"])  # fmt: skip

    # The review: the six hours stayed dry and the nights were warm, but it is too early to judge the weeds.
    review = gardener.at("2026-08-28").asks("review", "--area", "front")
    assert "Rain within the 6.0 h to be rainfast: none." in review
    assert "Not before Tue 8 Sep 2026" in review

    # -- Week 3. The follow-up is wanted from the 8th to the 15th, and the wind blows every day.
    gardener.at("2026-09-08")
    wanted = gardener.outlook()
    assert wanted["pass"] == 2
    assert not [day for day in wanted["days"] if day["verdict"] == "go"]
    assert (wanted["waiting"]["advice"], wanted["waiting"]["until"]) == ("nothing left", "2026-09-15")
    assert gardener.reads("reschedule", "--area", "front")["missed"] == [], "it is not overdue yet"

    # -- Week 5. The time is over. Nobody has to say so.
    gardener.at("2026-09-21")
    gardener.writes("last_mowed", "2026-09-19")
    gardener.writes("soil_seen", "2026-09-20")
    missed = gardener.reads("reschedule", "--area", "front")["missed"][0]
    assert (missed["overdue"], missed["days_overdue"]) == (True, 6)
    kinds = [one["kind"] for one in missed["choices"]]
    assert kinds == ["late", "late", "again", "later", "leave"]
    friday = missed["choices"][0]
    assert (friday["date"], friday["days_late"], friday["chance"]) == ("2026-09-25", 10, 1.0)
    assert friday["effect"]["seed_from"] == "2026-10-24"
    assert missed["choices"][2]["effect"]["passes_short"] == 1, "the label leaves one pass, a new sequence takes two"

    # Friday it shall be. The records stay as they are.
    records = gardener.asks("records")
    gardener.asks("reschedule", "--area", "front", "--choose", "1")
    assert gardener.asks("records") == records
    assert "planned for Fri 25 Sep" in gardener.asks("outlook")
    assert gardener.reads("reschedule", "--area", "front")["missed"] == []

    # Can the lawn still be seeded by the end of October? Counting back says by when to spray, mow and water.
    back = gardener.reads("plan", "--area", "front", "--seed-by", "2026-10-24")["backward"][0]
    only = back["passes"][0]
    assert (only["last_day_to_spray"], only["last_mowing"], only["sprinkler_off_from"]) == (
        "2026-09-25", "2026-09-22", "2026-09-25",
    )  # fmt: skip

    # -- Friday: go now or wait for Saturday? Now. And it is done.
    gardener.at("2026-09-25")
    assert gardener.day("2026-09-25")["verdict"] == "go"
    assert gardener.outlook()["waiting"]["advice"] == "go"
    gardener.at("2026-09-25T18:00Z").asks(
        "record", "--area", "front", "--started", "2026-09-25 12:10", "--ended", "2026-09-25 12:31",
        "--amount", "4.8 floz", "--size", "3200 ft^2", "--who", "the gardener",
    )  # fmt: skip

    # -- Week 6. The sequence is complete: nothing is open, nothing overdue, and the label's year is full.
    gardener.at("2026-09-28")
    assert gardener.outlook() is None
    assert gardener.reads("reschedule", "--area", "front")["missed"] == []
    done = gardener.reads("plan", "--area", "front")["sequences"][0]
    assert (done["next_pass"], len(done["made_at"]), done["label_year"]["more_passes"]) == (None, 2, 0.0)
    acid = done["label_year"]["ingredients"][0]
    assert acid["applied_g_m2"] == pytest.approx(acid["maximum_g_m2"], rel=1e-3)

    # A third pass is refused, and not because nobody wants it: the year's total is reached.
    with pytest.raises(RecordRefused) as refused:
        gardener.at("2026-10-12T18:00Z").asks(
            "record", "--area", "front", "--started", "2026-10-12 12:00", "--ended", "2026-10-12 12:20",
            "--amount", "4.8 floz", "--size", "3200 ft^2",
        )  # fmt: skip
    assert refused.value.problems
    assert gardener.asks("records").count("front") == 2

    # -- Week 9. Four weeks after the last pass the seed goes down.
    gardener.at("2026-10-24")
    gardener.writes("seeded_on", "2026-10-24")
    gardener.writes("mowings_since_seeding", "0")
    assert "2026-10-24" in (gardener.home / "lawn.toml").read_text(encoding="utf-8")

    # -- Week 10. Everything that happened is still there, the plan's choice beside the records.
    gardener.at("2026-11-01")
    made = gardener.reads("records")["records"]
    assert [one["started_at"] for one in made] == ["2026-08-25T17:05:00Z", "2026-09-25T17:10:00Z"]
    from advisor.ledger import read_plans

    assert [(one.kind, one.day) for one in read_plans(gardener.home / "advisor.db")] == [("pass-on", date(2026, 9, 25))]

    # And when the weeds come back next year, the young grass is asked about before anything is sprayed on it.
    gardener.at("2027-04-20")
    spring = gardener.outlook()
    assert spring["pass"] == 1
    young = [reason for day in spring["days"] for reason in day["reasons"] if reason["rule"] == "seeding-before"]
    assert young and all(reason["verdict"] == "no-go" for reason in young)
