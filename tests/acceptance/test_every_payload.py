"""Every full-length answer of a real provider, through the command: it answers, keeps its contract, fails closed."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import jsonschema
import numpy as np
import payloads
import pytest
from command import FIXTURES, REPOSITORY, advisor

from advisor.sources import read_answer
from advisor.variables import VARIABLES

HOME = FIXTURES / "prairie-lawn"
#: recorded pages, answers cut to a few steps by those who kept them, and templates, which are rendered below
SHORT = ("onestep", "nulltail", "hrrr", "multimodel", "nbm", "shortened")
PLAIN = [
    name
    for pattern in ("nws/gridpoints_*.json", "openmeteo/forecast_*.json", "metno/*.json")
    for name in payloads.names(pattern)
    if not any(word in name for word in SHORT)
]
TEMPLATES = [name for name in payloads.names("nws_templated/gridpoints_*.json") if "shortened" not in name]
#: a growing-season day for the templates, at the seconds past the hour that their tokens were counted from
RENDERED_AT = datetime(2026, 7, 15, 12, tzinfo=UTC) + timedelta(seconds=29327)


def own_time(forecast) -> datetime:
    """When the answer was asked for, or made; the seventh hour of one that says neither."""
    told = [moment for moment in (forecast.provenance.issued_at, forecast.provenance.fetched_at) if moment]
    if told:
        return max(told)
    return (forecast.start + np.timedelta64(7, "h")).astype("datetime64[s]").item().replace(tzinfo=UTC)


def iso(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


@pytest.fixture(scope="module")
def schema():
    return advisor("schema", "outlook").json


def check(path, now: datetime, schema) -> dict:
    """What must be true of the outlook on any answer; returns it."""
    ran = advisor(
        "outlook", "--home", HOME, "--weather", path, "--place-from-weather", "--now", iso(now), "--json"
    )
    assert ran.status == 0, ran.out[:500] + ran.err[:500]
    found = ran.json
    jsonschema.Draft202012Validator(schema).validate(found)
    assert "NaN" not in ran.out and "Infinity" not in ran.out
    forecast = read_answer(path.read_bytes(), fetched_at=now)
    never_go_past_the_rain(found, forecast)
    names_what_is_not_carried(found, forecast)
    for scored in found["treatments"]:
        assert scored["days"]
        for day in scored["days"]:
            assert day["reasons"]
            if day["verdict"] == "go":
                assert day["best_start"] and day["chance"] >= 0.6
            if day["verdict"] == "unknown":
                assert day["too_early"] or any(reason["verdict"] == "unknown" for reason in day["reasons"])
            for reason in day["reasons"]:
                assert reason["text"] and reason["source"]
                if reason["verdict"] == "unknown":
                    assert reason["headroom"] is None
    return found


def never_go_past_the_rain(found: dict, forecast) -> None:
    """Six hours rainfast from the end of the work: the last go lies at least that long before the last known rain."""
    known = np.flatnonzero(~np.isnan(forecast.values("precipitation")[0, 0]))
    end = forecast.start + np.timedelta64(int(known[-1]) + 1 if len(known) else 0, "h")
    for scored in found["treatments"]:
        for day in scored["days"]:
            for window in day["windows"]:
                last = np.datetime64(window["last_start"].rstrip("Z"), "h")
                assert last + np.timedelta64(6, "h") <= end, (day["date"], window, end)


#: what every rule of wind, warmth and water needs; the others are estimated, derived or taken as the worst, and say so
NEEDED = ("air_temperature", "wind_speed_10m", "precipitation")


def names_what_is_not_carried(found: dict, forecast) -> None:
    reasons = [r for scored in found["treatments"] for day in scored["days"] for r in day["reasons"]]
    unknown = " ".join(reason["text"] for reason in reasons if reason["verdict"] == "unknown")
    for name in NEEDED:
        if name not in forecast.fields:
            assert f"{VARIABLES[name].says}: the source does not carry it" in unknown, name
    if not {"dew_point", "relative_humidity"} & set(forecast.fields):
        assert "relative humidity at 2 m: the source does not carry it" in unknown
    gusts = [reason for reason in reasons if reason["rule"] == "gusts"]
    if "wind_gust" not in forecast.fields:
        assert all(reason["estimated"] or reason["verdict"] == "unknown" for reason in gusts)
    else:
        assert not any(reason["estimated"] for reason in gusts)
    if "precipitation_probability" not in forecast.fields and found["weather"]["spread"] == "none":
        rain = [reason for reason in reasons if reason["rule"] == "rain-chance"]
        assert all(reason["estimated"] or reason["verdict"] == "unknown" for reason in rain)


@pytest.mark.parametrize("name", PLAIN)
def test_answers(name, schema):
    body = payloads.body(name)
    found = check(payloads.FOLDER / name, own_time(read_answer(body)), schema)
    assert found["weather"]["source"] in name.replace("metno", "met-norway").replace(
        "openmeteo", "open-meteo"
    )


@pytest.mark.parametrize("name", TEMPLATES)
def test_rendered_templates(name, schema, tmp_path):
    body = payloads.rendered(name, RENDERED_AT)
    path = tmp_path / "rendered.json"
    path.write_bytes(body)
    forecast = read_answer(body)
    check(path, max(own_time(forecast), RENDERED_AT), schema)


@pytest.mark.parametrize("name", PLAIN)
def test_after_a_day_the_same_answer_is_stale_and_says_so(name):
    moment = own_time(read_answer(payloads.body(name)))
    later = moment + timedelta(hours=30)
    ran = advisor(
        "outlook", "--home", HOME, "--weather", payloads.FOLDER / name, "--place-from-weather", "--now", iso(later),
        "--fetched-at", iso(moment), "--json", "--exit-code",
    )  # fmt: skip
    days = [day for scored in ran.json["treatments"] for day in scored["days"]]
    verdicts = {day["verdict"] for day in days}
    assert verdicts <= {"unknown", "no-go"}, (
        "a no is what needs no weather, such as a day past the last sensible one"
    )
    assert ran.status == (4 if "unknown" in verdicts else 3), ran.err
    texts = " ".join(
        reason["text"] for day in days for reason in day["reasons"] if reason["verdict"] == "unknown"
    )
    assert "the forecast is stale: it is" in texts and "h old" in texts


def _command(*words) -> subprocess.CompletedProcess:
    environment = {**os.environ, "PYTHONWARNINGS": "error::RuntimeWarning"}
    return subprocess.run(
        [sys.executable, "-m", "advisor", *map(str, words)],
        capture_output=True,
        text=True,
        cwd=REPOSITORY,
        env=environment,
    )


@payloads.needs_payloads
def test_as_a_process_the_same_bytes_every_time():
    path = payloads.FOLDER / "nws/gridpoints_BMX_32_69_20240223.json"
    words = (
        "outlook",
        "--home",
        HOME,
        "--weather",
        path,
        "--place-from-weather",
        "--now",
        "2024-02-23T18:41Z",
        "--json",
    )
    first, second = _command(*words), _command(*words)
    assert first.returncode == 0 and first.stderr == "", first.stderr
    assert first.stdout == second.stdout
    assert json.loads(first.stdout)["site"]["time_zone"] == "America/Chicago"


def test_own_demonstrations_answer_too(schema):
    """Without any payload folder: the two demonstration households."""
    for home, weather, now in (
        ("prairie-lawn", "prairie-open-meteo.json", "2026-09-21T12:00Z"),
        ("southern-lawn", "southern-metno.json", "2026-09-21T21:00Z"),
    ):
        ran = advisor(
            "outlook",
            "--home",
            FIXTURES / home,
            "--weather",
            FIXTURES / "weather" / weather,
            "--now",
            now,
            "--json",
        )
        assert ran.status == 0
        jsonschema.Draft202012Validator(schema).validate(ran.json)
        verdicts = {day["verdict"] for scored in ran.json["treatments"] for day in scored["days"]}
        assert verdicts >= {"no-go", "unknown"}
        assert all(
            math.isfinite(day["chance"]) for scored in ran.json["treatments"] for day in scored["days"]
        )
