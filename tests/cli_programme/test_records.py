"""`advisor record` and `advisor records`: true, complete, never lost. Our own behaviour, no outside source."""

from __future__ import annotations

import csv
import io
import sqlite3

import pytest
from click.testing import CliRunner

from tests.cli_programme.conftest import FRONT, WEATHER

FETCHED = ("--weather", WEATHER, "--fetched-at", "2026-09-24T18:00Z")


def rows(run, *arguments):
    return run("records", "--json", *arguments).json["records"]


def stored(home) -> int:
    if not (home / "advisor.db").exists():
        return 0
    with sqlite3.connect(home / "advisor.db") as connection:
        return connection.execute("SELECT count(*) FROM records").fetchone()[0]


def test_a_pass_is_recorded_with_what_the_files_say_and_the_weather_then(run, record):
    said = record(*FETCHED, "--volume", "3.2 gal")
    assert said.status == 0 and "Recorded as r-" in said.out
    (row,) = [one for one in rows(run) if one["id"].startswith("r-")]
    assert row["registration_number"] == "TEST-0001" and row["target"].startswith("dandelion")
    assert row["rate_per_m2"] == pytest.approx(0.4775, abs=1e-4)
    assert row["weather_from"] == ["forecast"] and row["wind_speed_2m_m_s"] > 0 and row["rain_mm"] == 0.0
    assert row["missing"] == [] and row["flags"] == []
    assert (row["write_by"], row["keep_until"]) == ("2026-10-09", "2028-09-25")


def test_the_weather_of_an_answer_from_afterwards_had_happened(run, record):
    record("--weather", WEATHER, "--fetched-at", "2026-09-25T22:00Z")
    assert rows(run)[-1]["weather_from"] == ["past hours of a forecast"]


def test_measured_weather_wins_and_says_so(run, record):
    record(*FETCHED, "--wind", "5 mph", "--wind-from", "SW", "--temperature", "64 degF")
    row = rows(run)[-1]
    assert row["wind_speed_2m_m_s"] == pytest.approx(5 * 0.44704) and row["wind_from_direction_deg"] == 225.0
    assert "measured on the spot" in row["weather_from"] and row["wind_speed_10m_m_s"] is None


def test_what_is_missing_is_listed(run, record):
    said = record()
    assert "Missing of what states often ask" in said.out and "wind's speed" in " ".join(said.out.split())
    assert "check your state" in said.out.casefold() and "Keep it two years" in " ".join(said.out.split())


def test_a_dry_run_keeps_nothing(record, home):
    said = record("--dry-run")
    assert said.status == 0 and "would be recorded" in said.out and stored(home) == 0


def times(started, ended):
    return "--started", f"2026-{started}", "--ended", f"2026-{ended}"


PRODUCT = "Test Concentrate"
#: what is wrong -> (arguments that override, whether it may be recorded as it happened, word)
BAD = {
    "begins in the future": (("--started", "2026-09-26 16:05", "--ended", "2026-09-26 16:27"), False, "in the future"),
    "ends before it begins": (("--ended", "2026-09-25 15:00"), False, "ended before it began"),
    "a negative amount": (("--amount", "-4.8 floz"), False, "above 0"),
    "no turf at all": (("--size", "0 ft^2"), False, "above 0"),
    "an area nobody knows": (("--area", "frnt", "--treatment", "broadleaf"), True, 'no area "frnt"'),
    "a treatment nobody knows": (("--treatment", "broadlef", "--product", PRODUCT), True, 'no treatment "broadlef"'),
    "three times the rate": (("--amount", "14.4 floz"), True, "the label allows"),
    "more turf than there is": (("--size", "9000 ft^2"), True, "holds 3,200 ft²"),
    "a week after the first": (times("09-01 16:05", "09-01 16:27"), True, "the label wants"),
    "before the first": (times("07-01 16:05", "07-01 16:27"), True, "lies before the pass"),
    "over the first": (times("08-25 17:20", "08-25 17:40"), True, "overlaps"),
    "two days long": (("--started", "2026-09-23 16:00"), True, "took 48 h"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_input_is_refused_with_the_reason_or_recorded_as_it_happened_and_flagged(record, run, home, case):
    arguments, may_happen, says = BAD[case]
    said = record(*arguments)
    assert said.status == 2 and says in said.err and stored(home) == 0
    again = record(*arguments, "--as-it-happened")
    if not may_happen:
        assert again.status == 2 and stored(home) == 0
        return
    assert again.status == 0 and stored(home) == 1, again.err
    row = next(one for one in rows(run) if one["id"].startswith("r-"))
    assert row["as_it_happened"] and any(says in flag for flag in row["flags"])
    assert "although" in again.out and "recorded as it happened" in run("records").out


#: what cannot be read at all
GARBAGE = [
    ("--started", "yesterday"), ("--started", "2026-09-25"), ("--started", "2026-13-45 16:05"), ("--ended", "16:27"),
    ("--amount", "4.8"), ("--amount", "a lot"), ("--amount", "4.8 oz"), ("--size", "big"), ("--size", "3200"),
    ("--wind", "fast"), ("--wind-from", "up"), ("--wind-from", "400 deg"), ("--temperature", "warm"),
    ("--volume", "3 lb"), ("--corrects", "r-000000000000"), ("--withdraw", "r-000000000000"),
    ("--from-start",), ("--method", "thrown"), ("--weather", "nowhere.json"), ("--amount", "nan floz"),
]  # fmt: skip


@pytest.mark.parametrize("arguments", GARBAGE, ids=[" ".join(one) for one in GARBAGE])
@pytest.mark.parametrize("form", [(), ("--json",)])
def test_what_cannot_be_read_is_one_clear_message(record, home, arguments, form):
    said = record(*arguments, *form)
    assert said.status in (2, 5, 6) and stored(home) == 0
    if form:
        assert {"code", "message", "hint", "where"} <= set(said.json["error"])
    else:
        assert said.err.startswith(("advisor: ", "Usage:"))


def test_a_time_that_the_clock_shows_twice_must_say_which(record):
    # clocks go back on 1 November 2026 in Chicago
    twice = ("--started", "2026-11-01 01:30", "--ended", "2026-11-01 02:30")
    said = record(*twice, now="2026-11-02T12:00Z")
    assert said.status == 2 and "happens twice" in said.err
    skipped = ("--started", "2026-03-08 02:30", "--ended", "2026-03-08 03:30")
    assert "skips it" in record(*skipped).err


@pytest.mark.parametrize("missing", ["--started", "--amount", "--size"])
def test_nobody_is_asked_where_nobody_is(run, missing, home):
    at = FRONT.index(missing)
    said = run("record", *FRONT[:at], *FRONT[at + 2 :])
    assert said.status == 2 and f"{missing} is missing" in said.err and stored(home) == 0


def test_an_amount_that_nobody_knows_is_recorded_as_unknown(run, record):
    assert record("--amount", "unknown").status == 0
    assert rows(run)[-1]["amount"] is None


def test_it_asks_for_what_is_missing(home, monkeypatch, run):
    from advisor.cli import cli

    for module in ("answers", "record"):
        monkeypatch.setattr(f"advisor.cli.{module}.somebody_is_there", lambda: True)
    answers = "\n".join(["2026-09-25 16:05", "2026-09-25 16:27", "4.8 floz", "3200 ft^2", "A. Mower"]) + "\n"
    options = ["record", "--home", str(home), "--now", "2026-09-25T22:30Z", "--area", "front"]
    done = CliRunner().invoke(cli, options, input=answers)
    assert done.exit_code == 0, done.output
    row = rows(run)[-1]
    assert row["who"] == "A. Mower" and row["started_at"] == "2026-09-25T21:05:00Z"


# -- corrections, and nothing is ever lost


def test_a_correction_keeps_the_original_and_only_what_is_said_changes(run, record, home):
    first = record("--note", "the north strip was left out").out.split()[2].rstrip(".")
    said = record("--corrects", first, "--amount", "4.7 floz")
    assert said.status == 0 and stored(home) == 2
    current = [one for one in rows(run) if one["id"].startswith("r-")]
    assert len(current) == 1 and current[0]["corrects"] == first
    everything = [one for one in rows(run, "--all") if one["id"].startswith("r-")]
    assert [one["counts"] for one in everything] == [False, True]
    assert everything[0]["amount"] == pytest.approx(4.8 * 29.5735, rel=1e-4)
    assert current[0]["note"] == "the north strip was left out"
    # the original is corrected once
    again = record("--corrects", first, "--amount", "4.6 floz")
    assert again.status != 0 and "has been corrected already" in again.err


def test_a_correction_asks_for_nothing_that_the_original_says(run, record):
    first = record().out.split()[2].rstrip(".")
    said = run("record", "--corrects", first, "--size", "3180 ft^2")
    assert said.status == 0
    row = rows(run)[-1]
    assert row["started_at"] == "2026-09-25T21:05:00Z" and row["size_m2"] == pytest.approx(3180 * 0.09290304)


def test_a_withdrawal_stays_readable_and_counts_no_more(run, record, home):
    first = record().out.split()[2].rstrip(".")
    said = run("record", "--withdraw", first, "--reason", "it was the neighbour's lawn")
    assert said.status == 0 and stored(home) == 2
    assert not [one for one in rows(run) if one["id"].startswith("r-")]
    assert any(one["withdrawn"] and one["note"].startswith("it was the") for one in rows(run, "--all"))
    # and the pass may be made after all
    assert record().status == 0


def test_the_same_pass_twice_is_an_overlap(record, home):
    assert record().status == 0
    assert "overlaps" in record().err and stored(home) == 1


def test_history_csv_is_the_persons_own(run):
    first = rows(run)[0]["id"]
    said = run("record", *FRONT, "--corrects", first)
    assert said.status == 2 and "history.csv" in said.err


# -- for hire


def hired(home):
    lawn = home / "lawn.toml"
    text = lawn.read_text(encoding="utf-8").replace("for_hire = false", "for_hire = true")
    lawn.write_text(
        text + '\n[licence]\nholder = "A. Mower"\nnumber = "L-1"\nvalid_until = 2027-01-01\n',
        encoding="utf-8",
    )


def test_for_hire_the_customer_and_the_reminders_are_told(home, record, run):
    hired(home)
    said = record(
        "--customer", "B. Lawn", "--customer-address", "1 Example Street", "--location", "1 Example Street"
    )
    assert said.status == 0, said.err
    assert "customer's copy is owed by 2026-10-25" in " ".join(said.out.split())
    assert "put up the signs" in " ".join(said.out.split()) and "B. Lawn" in said.out


def test_a_restricted_product_without_a_certified_applicator_is_refused(home, record):
    label = home / "labels" / "concentrate.toml"
    text = label.read_text(encoding="utf-8").replace("restricted_use = false", "restricted_use = true")
    label.write_text(text, encoding="utf-8")
    said = record()
    assert said.status == 2 and "7 CFR 110.3" in said.err and "certified applicator's number" in said.err
    done = record("--certified-name", "A. Mower", "--certified-number", "C-1")
    assert done.status == 0, done.err
    flagged = record("--area", "back", "--as-it-happened", "--amount", "8 floz", "--size", "5400 ft^2")
    assert flagged.status == 0 and "although" in flagged.out


# -- listing


def test_the_csv_keeps_its_first_columns(run):
    said = run("records", "--format", "csv")
    header = said.out.splitlines()[0].split(",")
    first = "id treatment area product active_ingredients started_at ended_at amount size_m2 who note"
    assert header[:11] == first.split()
    assert len(list(csv.DictReader(io.StringIO(said.out)))) == 2


def test_the_page_and_its_html(run, record):
    record("--note", "<script>alert(1)</script>", *FETCHED)
    page = run("records", "--format", "page")
    assert "Application records, Test lawn" in page.out and "check your state" in page.out.casefold()
    html = run("records", "--format", "html").out
    assert html.startswith("<!doctype html>") and "<script>alert" not in html and "&lt;script&gt;" in html
    assert "http" not in html.split("</head>")[0]


def test_listing_can_be_narrowed(run, record):
    record()
    assert len(rows(run, "--area", "back")) == 1
    assert len(rows(run, "--since", "2026-09-01")) == 1
    assert run("records", "--since", "soon").status == 2


# -- import


PAST = """area,treatment,product,active_ingredients,started_at,ended_at,amount,size,who,note
front,broadleaf,,,2025-09-01 16:00,2025-09-01 16:22,4.8 floz,"3,200 ft^2",me,last year
back,broadleaf,,,2025-09-01 17:00,2025-09-01 17:36,8.1 floz,"5,400 ft^2",me,last year
"""


def test_passes_of_the_past_are_imported_once(run, home, tmp_path):
    file = tmp_path / "past.csv"
    file.write_text(PAST, encoding="utf-8")
    assert (
        "2 passes would be recorded" in run("records", "import", file, "--dry-run").out and stored(home) == 0
    )
    assert "2 passes recorded" in run("records", "import", file).out and stored(home) == 2
    assert "0 passes recorded, 2 were on record already" in run("records", "import", file).out
    assert rows(run)[0]["note"] == "last year" and rows(run)[0]["registration_number"] == "TEST-0001"


def test_all_of_a_file_or_none_of_it(run, home, tmp_path):
    file = tmp_path / "past.csv"
    file.write_text(PAST.replace("back,broadleaf", "bck,broadleaf"), encoding="utf-8")
    said = run("records", "import", file)
    assert said.status == 5 and "past.csv:3" in said.err and stored(home) == 0
    assert run("records", "import", file, "--as-it-happened").status == 0 and stored(home) == 2
    assert any('no area "bck"' in flag for row in rows(run) for flag in row["flags"])


def test_our_own_export_comes_back_with_everything(run, record, home, tmp_path):
    record(*FETCHED, "--note", "with weather")
    file = tmp_path / "export.csv"
    file.write_text(run("records", "--format", "csv").out, encoding="utf-8")
    before = {one["started_at"] + one["area"]: one for one in rows(run)}
    (home / "advisor.db").unlink()
    (home / "history.csv").unlink()
    assert "3 passes recorded" in run("records", "import", file).out
    after = {one["started_at"] + one["area"]: one for one in rows(run)}
    for key, row in before.items():
        for name in row:
            if name not in ("id", "written_at", "weather_from", "link"):
                assert after[key][name] == row[name], name


BROKEN = {
    "no such file": None,
    "not text": b"\xff\xfe\x00area",
    "an unknown column": b"area,started_at,colour\nfront,2025-09-01 16:00,red\n",
    "no times": b"area\nfront\n",
    "a bad time": b"area,started_at,active_ingredients\nfront,soon,x\n",
    "a future pass": b"area,started_at,active_ingredients\nfront,2027-09-01 16:00,exemplic acid\n",
    "too many cells": b"area,started_at\nfront,2025-09-01 16:00,x,y\n",
    "a number that is none": b"area,started_at,size_m2,amount,active_ingredients\nfront,2025-09-01T16:00Z,x,3,a\n",
    "nothing at all": b"",
}


@pytest.mark.parametrize("case", BROKEN)
def test_files_that_are_none(run, home, tmp_path, case):
    file = tmp_path / "past.csv"
    if BROKEN[case] is not None:
        file.write_bytes(BROKEN[case])
    said = run("records", "import", file)
    assert stored(home) == 0
    assert said.status in (2, 5) or "0 passes" in said.out
