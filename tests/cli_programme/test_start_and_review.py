"""`advisor start` and `advisor review` on the invented household. Our own behaviour, no outside source."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from tests.cli_programme.conftest import FIXTURES, WEATHER

OBSERVED = FIXTURES / "prairie-lawn" / "observed-august.csv"
AT = "2026-09-25T21:05Z"
GOOD = ("--weather", WEATHER, "--area", "back", "--wind", "5 mph", "--wind-from", "E", "--temperature", "65 degF",
        "--leaves-dry", "yes", "--people-away", "yes", "--windows-closed", "yes", "--sprayer-clean", "yes")  # fmt: skip


# -- start


def test_a_go_on_the_spot_says_when_to_stop(run):
    said = run("start", *GOOD, now=AT)
    assert said.status == 0 and said.out.startswith("GO ")
    for words in ("Stop at once when", "the wind rises above 10.0 mph", "towards the vegetable bed", "first drops",
                  "Be done by"):  # fmt: skip
        assert words in " ".join(said.out.split()), words
    assert all(len(line) <= 80 for line in said.out.splitlines())


@pytest.mark.parametrize(
    ("changes", "status", "verdict"),
    [((), 0, "go"), (("--people-away", "no"), 3, "no-go"), (("--wind", "14 mph"), 3, "no-go"),
     (("--wind-from", "W"), 3, "no-go"), (("--taken", "2026-09-25 15:30"), 4, "unknown")],
)  # fmt: skip
def test_exit_codes_follow_the_verdict(run, changes, status, verdict):
    said = run("start", *GOOD, *changes, "--json", "--exit-code", "--dry-run", now=AT)
    assert (said.status, said.json["verdict"]) == (status, verdict)


def test_unanswered_is_unknown_and_never_go(run):
    said = run("start", "--weather", WEATHER, "--area", "front", "--exit-code", now=AT)
    assert said.status == 4 and said.out.startswith("UNKNOWN: do not start")


def test_the_form_to_take_along(run, home):
    said = run("start", "--area", "back", "--form", now=AT)
    assert said.status == 0 and "[ ] leaves dry" in said.out and "12 ft to the E" in said.out
    assert not (home / "advisor.db").exists()


def test_without_weather_it_is_unknown_and_says_so(run):
    said = run("start", *GOOD[2:], "--offline", now=AT)
    assert said.status == 6


def test_the_card_fills_the_record(run):
    run("start", *GOOD, now=AT)
    said = run("record", "--from-start", "--area", "back", "--ended", "2026-09-25 16:41", "--amount", "8.1 floz",
               "--size", "5400 ft^2", "--who", "A. Mower", "--volume", "5.4 gal")  # fmt: skip
    assert said.status == 0, said.err
    row = run("records", "--json").json["records"][-1]
    assert row["started_at"] == "2026-09-25T21:05:00Z" and row["area"] == "back"
    assert row["wind_speed_2m_m_s"] == pytest.approx(5 * 0.44704) and row["wind_from_direction_deg"] == 90.0
    assert row["weather_from"] == ["measured on the spot"]


def test_the_newest_card_of_the_area_is_taken(run):
    run("start", *GOOD, now=AT)
    run("start", *GOOD, "--wind", "6 mph", now="2026-09-25T21:15Z")
    run("start", *GOOD, "--area", "front", "--wind", "7 mph", now="2026-09-25T21:20Z")
    run(
        "record",
        "--from-start",
        "--area",
        "back",
        "--amount",
        "8.1 floz",
        "--size",
        "5400 ft^2",
        "--who",
        "me",
    )
    row = run("records", "--json").json["records"][-1]
    assert row["started_at"] == "2026-09-25T21:15:00Z" and row["wind_speed_2m_m_s"] == pytest.approx(
        6 * 0.44704
    )


def test_it_asks_on_the_spot(home, monkeypatch):
    from advisor.cli import cli

    for module in ("answers", "start"):
        monkeypatch.setattr(f"advisor.cli.{module}.somebody_is_there", lambda: True)
    options = [
        "start",
        "--home",
        str(home),
        "--now",
        AT,
        "--weather",
        str(home / "weather.json"),
        "--area",
        "back",
        "--json",
    ]
    done = CliRunner().invoke(cli, options, input="5 mph\n8 mph\nE\n65 degF\nyes\nyes\nyes\nyes\n")
    assert done.exit_code == 0 and json.loads(done.stdout.splitlines()[-1])["verdict"] == "go"
    # without an anemometer it asks for what moves
    done = CliRunner().invoke(cli, options, input="\n3\nE\n65 degF\nyes\nyes\ny\n?\n")
    found = json.loads(done.stdout.splitlines()[-1])
    assert found["verdict"] == "unknown" and found["readings"]["beaufort"] == 3


GARBAGE = [
    ("--wind", "windy"), ("--wind", "-3 mph"), ("--wind", "400 mph"), ("--wind-from", "there"), ("--temperature", "72"),
    ("--temperature", "200 degF"), ("--humidity", "140 percent"), ("--gust", "2 mph"), ("--beaufort", "9"),
    ("--wind-height", "20 cm"), ("--area", "bck"), ("--treatment", "x"), ("--taken", "now"), ("--smoke", "blue"),
]  # fmt: skip


@pytest.mark.parametrize("arguments", GARBAGE, ids=[" ".join(one) for one in GARBAGE])
def test_readings_that_cannot_be_are_refused(run, home, arguments):
    said = run("start", *GOOD, *arguments, now=AT)
    assert said.status == 2 and not (home / "advisor.db").exists()


# -- review


def test_the_demonstrations_first_pass_looked_back_at(run):
    said = run("review", "--observed", OBSERVED, "--sums", "after", now="2026-09-21T12:00Z")
    assert said.status == 0
    for words in ("Did the weather keep its word?", "rain before it is rainfast", "Nights (limit 40 °F)",
                  "judge from 15 Sep (the label's time to effect)", "Not before"):  # fmt: skip
        assert words in " ".join(said.out.split()), words


def test_without_weather_nothing_is_claimed(run):
    whole = run("review", "--json", "--area", "front", now="2026-09-21T12:00Z").json
    (review,) = whole["reviews"]
    assert review["weather"] == "" and review["rain"]["amount_mm"] is None
    kept = {one["rule"] for one in review["limits"] if one["status"] == "kept"}
    assert not kept - {"inversion"}


def test_a_washed_off_pass_is_told_and_not_repeated_too_soon(run, record):
    record("--started", "2026-09-22 12:05", "--ended", "2026-09-22 12:27", "--weather", WEATHER,
           "--fetched-at", "2026-09-22T18:00Z")  # fmt: skip
    weather = ("--weather", WEATHER, "--fetched-at", "2026-09-24T12:00Z")
    said = run("review", "--area", "front", *weather, now="2026-09-24T12:00Z")
    text = " ".join(said.out.split())
    assert "broken: Rain before it is rainfast" in text and "at least this much lost" in text
    assert "none before the next label year" in text
    whole = run("review", "--area", "front", "--json", *weather, now="2026-09-24T12:00Z").json["reviews"][0]
    assert whole["status"] == "broken" and 0.0 < whole["rain"]["washoff_lost"] < 1.0
    assert (
        whole["follow_up"]["not_before"] == "2026-10-06T17:27:00Z"
        and whole["follow_up"]["wanted_from"] is None
    )


def test_readings_of_the_start_count_as_measured(run):
    run("start", *GOOD, now=AT)
    run("record", "--from-start", "--area", "back", "--ended", "2026-09-25 16:41", "--amount", "8.1 floz",
        "--size", "5400 ft^2", "--who", "me")  # fmt: skip
    said = run("review", "--area", "back", "--weather", WEATHER, "--fetched-at", "2026-09-26T12:00Z",
               now="2026-09-26T12:00Z")  # fmt: skip
    assert "measured: readings of the start" in " ".join(said.out.split())


def test_a_stored_answer_without_its_time_is_no_evidence_later(run):
    said = run("review", "--weather", WEATHER, now="2026-11-01T12:00Z")
    assert said.status == 2 and "--fetched-at" in said.err


def test_looks_at_the_weeds_and_what_they_show(run):
    def look(cover, now, *more):
        assert run("review", "look", "--area", "front", "--cover", cover, *more, now=now).status == 0

    look("30 %", "2026-08-25T12:00Z", "--untreated", "30 %")
    look("25 %", "2026-09-01T12:00Z", "--untreated", "32 %")
    early = run("review", "--area", "front", "--json", now="2026-09-02T12:00Z").json["reviews"][0]
    assert early["follow_up"]["proposal"] == "too early" and early["responses"][0]["judged"] is False
    look("6 %", "2026-09-16T12:00Z", "--untreated", "40 %")
    late = run("review", "--area", "front", "--json", now="2026-09-17T12:00Z").json["reviews"][0]
    assert late["responses"][-1]["method"] == "Henderson-Tilton"
    assert late["responses"][-1]["percent"] == pytest.approx(85.0)  # 1 - (6 x 30) / (30 x 40), by hand
    assert late["follow_up"]["proposal"] == "spots"
    assert late["follow_up"]["not_before"] == "2026-09-08T22:27:00Z"
    # a look that is entered again for the same moment takes the other's place, and both are kept
    look("20 %", "2026-09-16T12:00Z", "--untreated", "40 %")
    again = run("review", "--area", "front", "--json", now="2026-09-17T12:00Z").json["reviews"][0]
    assert again["responses"][-1]["cover_percent"] == 20.0 and again["follow_up"]["proposal"] == "whole area"


def test_change_without_a_strip_is_named_so(run):
    run("review", "look", "--area", "back", "--cover", "40 %", now="2026-08-24T12:00Z")
    run("review", "look", "--area", "back", "--cover", "0 %", now="2026-09-16T12:00Z")
    said = run("review", "--area", "back", now="2026-09-17T12:00Z")
    text = " ".join(said.out.split())
    assert "change in cover, no untreated strip: weather and season are mixed in: 100 %" in text
    assert "none needed" in text


BAD = [
    ("look", "--area", "front"), ("look", "--cover", "12 %"), ("look", "--area", "front", "--cover", "120 %"),
    ("look", "--area", "front", "--cover", "some"),
    ("look", "--area", "front", "--cover", "12 %", "--at", "2027-01-01 10:00"),
    ("look", "--area", "x", "--cover", "12 %"), ("--record", "r-0"), ("--area", "x"), ("--treatment", "x"),
    ("--observed", "nowhere.csv", "--sums", "after"),
]  # fmt: skip


@pytest.mark.parametrize("arguments", BAD, ids=[" ".join(one) for one in BAD])
def test_bad_questions_are_told(run, home, arguments):
    said = run("review", *arguments)
    assert said.status == 2 and said.err and not (home / "advisor.db").exists()


FILES = {
    "no units": b"time,air_temperature\n2026-08-25T00:00Z,20\n2026-08-25T01:00Z,21\n",
    "no times": b"air_temperature [degC]\n20\n",
    "nothing known": b"time,colour\n2026-08-25T00:00Z,red\n",
    "not text": b"\xff\xfe\x00\x01",
    "empty": b"",
}


@pytest.mark.parametrize("case", FILES)
def test_files_of_weather_that_are_none(run, tmp_path, case):
    file = tmp_path / "station.csv"
    file.write_bytes(FILES[case])
    assert run("review", "--observed", file, "--sums", "after").status == 5


def test_looking_leaves_no_trace_in_the_demonstration(run):
    """Reading commands create nothing in a household's folder."""
    folder = FIXTURES / "prairie-lawn"
    before = {path.name for path in folder.rglob("*")}
    for command in (("mix",), ("records", "--format", "csv"), ("review",)):
        assert run(*command, now="2026-09-21T12:00Z", folder=folder).status == 0
    assert {path.name for path in folder.rglob("*")} == before
