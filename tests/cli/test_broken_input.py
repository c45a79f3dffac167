"""Broken input through the command: a clear message or an unknown with its reason, the right exit status, no traceback.

Exit statuses: 0 done, 2 wrong usage, 3 no-go and 4 unknown (asked for with --exit-code), 5 invalid file, 6 weather that
cannot be used.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime

import pytest
from acceptance.homes import write_home
from command import FIXTURES, REPOSITORY, advisor
from weather_bodies import met_norway_body, nws_body, open_meteo_body

WEATHER = FIXTURES / "weather" / "prairie-open-meteo.json"
NOW = "2026-09-21T12:00Z"
AT = datetime(2026, 9, 21, 12, tzinfo=UTC)


@pytest.fixture
def home(tmp_path):
    return shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "home")


def change(path, before: str, after: str) -> int:
    """Replace a line's text; the line's number."""
    text = path.read_text(encoding="utf-8")
    assert text.count(before) >= 1, before
    path.write_text(text.replace(before, after, 1), encoding="utf-8")
    return text[: text.index(before)].count("\n") + 1


def outlook(home, *more, weather=WEATHER, now=NOW):
    return advisor("outlook", "--home", home, "--weather", weather, "--now", now, "--fetched-at", now, *more)


def no_traceback(ran):
    for text in (ran.out, ran.err):
        assert "Traceback" not in text and "unexpected fault" not in text, text


def error_of(ran) -> dict:
    """The JSON error, which is all that stands on standard output."""
    no_traceback(ran)
    error = ran.json["error"]
    assert set(error) == {"code", "message", "hint", "where"} and error["message"]
    return error


LABEL = "labels/broadleaf-concentrate.toml"


# household files ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "line"),
    [
        ("rainfast_time", 'rainfast_time = "6 h"\n'),
        ("minimum_interval", 'minimum_interval = "14 days"\n'),
        ("re_entry", 're_entry = "when the spray has dried"\n'),
        ("maximum_per_year", 'maximum_per_year = "3 floz/1000 ft^2"\n'),
        ("registration_number", 'registration_number = "DEMO-0001"\n'),
        ("rate", 'rate = "1.5 floz/1000 ft^2"\n'),
    ],
)
def test_a_missing_label_field_blocks_by_name(home, field, line):
    change(home / LABEL, line, "")
    ran = outlook(home, "--json")
    no_traceback(ran)
    assert ran.status == 0
    days = [day for scored in ran.json["treatments"] for day in scored["days"]]
    assert not {day["verdict"] for day in days} & {"go"}
    named = [reason["text"] for day in days for reason in day["reasons"] if reason["verdict"] == "unknown"]
    assert any(f'"{field}"' in text for text in named), named
    told = advisor("check", "--home", home)
    assert field in told.out + told.err


@pytest.mark.parametrize(
    ("file", "before", "after", "says", "hint"),
    [
        (LABEL, '"10 mph"', '"10 mm"', "does not measure a speed", "10 mph"),
        (LABEL, '"10 mph"', '"10 mpg"', "not a unit", "mph"),
        (LABEL, '"10 mph"', "10", "10 has no unit", "10 mph"),
        (LABEL, "wind_max", "wind_maxx", "wind_maxx", "wind_max"),
        (LABEL, 'mode = "foliar"', 'mode = "folar"', "folar", "foliar"),
        (
            "lawn.toml",
            'soil = "silty clay loam"',
            'soil = "silty clay lome"',
            "silty clay lome",
            "silty clay loam",
        ),
        ("lawn.toml", "latitude = 41.6", "latitude = 141.6", "latitude", "degrees"),
        (
            "lawn.toml",
            'time_zone = "America/Chicago"',
            'time_zone = "America/Chikago"',
            "Chikago",
            "America/Chicago",
        ),
        ("lawn.toml", 'id = "front"', "id = front", "TOML", ""),
        (
            "treatments/broadleaf-autumn.toml",
            'sprayer = "knapsack"',
            'sprayer = "napsack"',
            "napsack",
            "knapsack",
        ),
        ("treatments/broadleaf-autumn.toml", 'label = "broadleaf-concentrate"', 'label = "x"', '"x"', ""),
        ("history.csv", "2026-08-25 17:05", "yesterday", "yesterday", "2026-08-25"),
    ],
)
def test_a_fault_in_a_file_is_told_with_its_line(home, file, before, after, says, hint):
    line = change(home / file, before, after)
    ran = outlook(home)
    no_traceback(ran)
    assert ran.status == 5 and ran.out == ""
    assert says in ran.err and hint in ran.err
    assert f"{file}:{line}" in ran.err, ran.err
    error = error_of(outlook(home, "--json"))
    assert error["code"] == "invalid_file" and file in error["where"] + error["message"]
    assert advisor("check", "--home", home).status == 5


def test_a_household_that_is_not_there(tmp_path):
    ran = outlook(tmp_path / "nowhere")
    assert ran.status == 5 and "no such folder" in ran.err and "advisor init" in ran.err
    empty = outlook(tmp_path)
    assert empty.status == 5 and "lawn.toml" in empty.err
    no_traceback(ran)


def test_a_rule_of_the_household_with_a_fault(home):
    (home / "rules").mkdir()
    (home / "rules" / "wind-strong.toml").write_text(
        'id = "wind-strong"\nkind = "safety"\n', encoding="utf-8"
    )
    ran = outlook(home)
    assert ran.status == 5 and "wind-strong.toml" in ran.err
    no_traceback(ran)


# weather --------------------------------------------------------------------------------------------------------


def answer(tmp_path, data, name="answer.json"):
    path = tmp_path / name
    path.write_text(data if isinstance(data, str) else json.dumps(data), encoding="utf-8")
    return path


BODIES = {
    "open-meteo": lambda: open_meteo_body(41.6, -93.6, AT),
    "nws": lambda: nws_body(41.6, -93.6, AT),
    "met-norway": lambda: met_norway_body(41.6, -93.6, AT),
}


@pytest.mark.parametrize("provider", BODIES)
def test_a_truncated_answer(home, tmp_path, provider):
    text = json.dumps(BODIES[provider]())
    path = answer(tmp_path, text[: len(text) // 2])
    ran = outlook(home, weather=path)
    no_traceback(ran)
    assert ran.status == 6 and ran.out == ""
    assert "cut off" in ran.err and str(path) in ran.err
    error = error_of(outlook(home, "--json", weather=path))
    assert error["code"] == "weather" and str(path) in error["where"]


def without_wind(provider: str) -> dict:
    body = BODIES[provider]()
    if provider == "open-meteo":
        body["hourly"]["wind_speed_10m"] = [None] * len(body["hourly"]["time"])
    elif provider == "nws":
        for entry in body["properties"]["windSpeed"]["values"]:
            entry["value"] = None
    else:
        for entry in body["properties"]["timeseries"]:
            entry["data"]["instant"]["details"]["wind_speed"] = None
    return body


@pytest.mark.parametrize("provider", BODIES)
def test_an_answer_with_a_null_wind(home, tmp_path, provider):
    path = answer(tmp_path, without_wind(provider))
    ran = outlook(home, "--json", "--exit-code", weather=path)
    no_traceback(ran)
    assert ran.status in (3, 4)
    days = [day for scored in ran.json["treatments"] for day in scored["days"]]
    assert "go" not in {day["verdict"] for day in days}
    wind = [r for day in days for r in day["reasons"] if r["rule"] in ("wind-strong", "wind-calm", "gusts")]
    assert wind and {reason["verdict"] for reason in wind} == {"unknown"}
    assert any("mean wind speed at 10 m" in reason["text"] for reason in wind)
    good = outlook(home, "--json", weather=answer(tmp_path, BODIES[provider](), "good.json"))
    known = [r for scored in good.json["treatments"] for day in scored["days"] for r in day["reasons"]]
    assert {"go", "no-go"} & {reason["verdict"] for reason in known if reason["rule"] == "wind-strong"}


def test_a_stale_answer(home):
    ran = advisor(
        "outlook",
        "--home",
        home,
        "--weather",
        WEATHER,
        "--now",
        NOW,
        "--fetched-at",
        "2026-09-20T20:00Z",
        "--exit-code",
    )
    no_traceback(ran)
    assert ran.status == 4
    assert "the forecast is stale: it is 16 h old" in ran.out.lower().replace("\n    ", " ")
    assert "16 h ago" in ran.out and "GO" not in ran.out


def test_an_answer_that_does_not_tell_its_age_says_so():
    ran = advisor("outlook", "--home", FIXTURES / "prairie-lawn", "--weather", WEATHER, "--now", NOW)
    assert ran.status == 0 and "age not stated, taken as fetched now" in ran.out
    found = advisor(
        "outlook", "--home", FIXTURES / "prairie-lawn", "--weather", WEATHER, "--now", NOW, "--json"
    ).json
    assert found["weather"]["issued_at"] is None
    assert any("does not say how old it is" in note for note in found["weather"]["notes"])


def test_an_answer_of_another_place(home, tmp_path):
    body = open_meteo_body(48.1, 11.6, AT)
    path = answer(tmp_path, body)
    ran = outlook(home, weather=path)
    no_traceback(ran)
    assert ran.status == 6 and "km from the site" in ran.err and "--place-from-weather" in ran.err
    assert outlook(home, "--place-from-weather", weather=path).status == 0


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("<html><title>Sign in</title></html>", "web page"),
        ("[]", "not of a weather source"),
        ('{"a": 1}', "not of a weather source"),
        ('{"error": true, "reason": "too many requests"}', "too many requests"),
        ("not json at all", "not JSON"),
        ("[" * 5000, ""),
    ],
)
def test_something_else_than_an_answer(home, tmp_path, text, says):
    ran = outlook(home, weather=answer(tmp_path, text))
    no_traceback(ran)
    assert ran.status == 6 and says in ran.err, ran.err


def test_a_file_that_is_not_there(home, tmp_path):
    for path in (tmp_path / "no.json", tmp_path):
        ran = outlook(home, weather=path)
        no_traceback(ran)
        assert ran.status == 6 and str(path) in ran.err
    assert error_of(outlook(home, "--json", weather=tmp_path / "no.json"))["where"].endswith("no.json")


def test_nothing_kept_and_nobody_asked(home):
    ran = advisor("outlook", "--home", home, "--now", NOW, "--offline")
    no_traceback(ran)
    assert ran.status == 6 and "--weather FILE" in ran.err
    assert not (home / "advisor.db").exists(), "a question writes nothing"


def test_a_server_that_is_not_there(home):
    change(home / "lawn.toml", 'units = "us"', 'units = "us"\ncontact = "test@example.org"')
    with (home / "lawn.toml").open("a", encoding="utf-8") as file:
        file.write('\n[weather.hosts]\nopen-meteo = "http://127.0.0.1:9"\n')
    ran = advisor("outlook", "--home", home, "--now", NOW)
    no_traceback(ran)
    assert ran.status == 6 and "Open-Meteo" in ran.err


# usage ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("outlook", "--now", "2026-09-21T12:00"), "time zone"),
        (("outlook", "--now", "tomorrow"), "not a date"),
        (("outlook", "--fetched-at", "2026-09-21"), "time zone"),
        (("outlook", "--units", "furlongs"), "furlongs"),
        (("outlook", "--days", "0"), "days"),
        (("outlook", "--place-from-weather"), "--weather FILE"),
        (("outlok",), 'did you mean "outlook"'),
        (("outlook", "--wether", "x"), "--weather"),
        (("why",), "DAY"),
        (("why", "2026-13-01"), "not a date"),
        (("why", "2031-01-01"), "not among the days"),
        (("why", "2026-09-22", "--at", "noonish"), "not a time"),
        (("why", "2026-09-22", "--area", "frnt"), 'did you mean "front"'),
        (("why", "2026-09-22", "--treatment", "x"), "no pass"),
        (("rules", "show", "wind-strng"), 'did you mean "wind-strong"'),
        (("rules", "tset"), "tset"),
        (("schema", "outlok"), "outlook"),
    ],
)
def test_wrong_usage(home, words, says):
    common = ["--home", home]
    if words[0] in ("outlook", "why"):
        if "--place-from-weather" not in words:
            common += ["--weather", WEATHER]
        if "--now" not in words:
            common += ["--now", NOW]
    if words[0] in ("outlok", "schema") or words[:2] == ("rules", "tset"):
        common = []
    ran = advisor(*words, *common)
    no_traceback(ran)
    assert ran.status == 2, (ran.status, ran.err)
    assert says in ran.err and ran.out == ""


def test_usage_errors_are_json_when_json_is_asked_for(home):
    error = error_of(advisor("outlook", "--home", home, "--json", "--now", "2026-09-21T12:00"))
    assert error["code"] == "usage" and "time zone" in error["message"] and "Z" in error["hint"]


# exit status of an answer ---------------------------------------------------------------------------------------


def test_without_exit_code_an_answer_is_a_success(home):
    assert outlook(home).status == 0
    assert outlook(home, now="2026-09-24T12:00Z").status == 0


def test_exit_code_says_what_the_answer_is(home, tmp_path):
    """3 on a day of gale; 0 in weather in which everything holds; 4 in the same weather with a blank label."""
    assert outlook(home, "--exit-code", "--days", "1").status == 3
    calm = write_home(
        tmp_path / "calm", latitude=41.6, longitude=-93.6, zone="America/Chicago", elevation="262 m",
        seen="2026-09-21", mowed="2026-09-15",
    )  # fmt: skip
    body = open_meteo_body(41.6, -93.6, AT)
    count = len(body["hourly"]["time"])
    steady = {
        "temperature_2m": 20.0,
        "dew_point_2m": 9.0,
        "relative_humidity_2m": 49.0,
        "wind_speed_10m": 2.5,
    }
    for name, value in steady.items():
        # never twice the same, which no instrument reads for days
        body["hourly"][name] = [value + 0.01 * (at % 2) for at in range(count)]
    for name, value in (("precipitation", 0.0), ("precipitation_probability", 5.0)):
        body["hourly"][name] = [value] * count
    weather = answer(tmp_path, body)
    ran = outlook(calm, "--exit-code", weather=weather)
    assert ran.status == 0 and "GO" in ran.out
    change(calm / "labels" / "foliar.toml", 'rainfast_time = "6 h"\n', "")
    assert outlook(calm, "--exit-code", weather=weather).status == 4


# as a process ---------------------------------------------------------------------------------------------------


def shell(script: str, **environment) -> subprocess.CompletedProcess:
    return subprocess.run(
        ["bash", "-c", script], capture_output=True, encoding="utf-8", errors="replace", cwd=REPOSITORY,
        env={**os.environ, "PYTHON": sys.executable, **environment},
    )  # fmt: skip


def test_a_closed_pipe_ends_quietly():
    for words in ("outlook --json", "rules list"):
        more = "" if words.startswith("rules") else f"--weather {WEATHER} --now {NOW}"
        ran = shell(
            f'"$PYTHON" -m advisor {words} --home fixtures/prairie-lawn {more} | head -c 20; echo "${{PIPESTATUS[0]}}"'
        )
        assert ran.stderr == "", ran.stderr
        assert ran.stdout.endswith("0\n")


def test_standard_output_is_the_answer_alone():
    ran = shell(
        f'"$PYTHON" -m advisor outlook --home fixtures/prairie-lawn --weather {WEATHER} --now {NOW} --json 2>/dev/null'
    )
    assert json.loads(ran.stdout)["schema"].startswith("advisor.outlook/")


def test_a_terminal_without_unicode():
    ran = shell(
        f'"$PYTHON" -m advisor outlook --home fixtures/prairie-lawn --weather {WEATHER} --now {NOW}',
        PYTHONIOENCODING="ascii",
    )
    assert ran.returncode == 0, ran.stderr[-300:]
    assert "Traceback" not in ran.stderr


def test_a_fault_of_the_program_is_one_line(monkeypatch):
    """Whatever goes wrong inside: one line, exit status 1, and how to see more."""
    import advisor.cli.scene as scene

    def broken(*_, **__):
        raise RuntimeError("the roof leaks")

    monkeypatch.setattr(scene, "make_scene", broken)
    ran = advisor("outlook", "--home", FIXTURES / "prairie-lawn")
    assert (
        ran.status == 1
        and "the roof leaks" in ran.err
        and "--debug" in ran.err
        and "Traceback" not in ran.err
    )
    assert advisor("outlook", "--home", FIXTURES / "prairie-lawn", "--json").json["error"]["code"] == "fault"
    with pytest.raises(RuntimeError):
        advisor("--debug", "outlook", "--home", FIXTURES / "prairie-lawn")
