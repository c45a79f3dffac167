"""Past weather out of what is kept: only hours that had happened, stations before forecasts. Our own behaviour."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from advisor.household import load
from advisor.review.observed import MEASURED, PAST_HOURS, merge
from advisor.seen_weather import newest_forecast, parts
from advisor.store import Store, payloads
from advisor.weather import site_key
from tests.cli_programme.lawn import answer, write

SINCE, UNTIL = datetime(2026, 9, 22, 17, tzinfo=UTC), datetime(2026, 9, 24, 17, tzinfo=UTC)
HOUR = np.datetime64("2026-09-22T17", "h")


@pytest.fixture
def home(tmp_path):
    return load(write(tmp_path / "lawn"))


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path / "advisor.db") as opened:
        yield opened


def keep(store, home, fetched: datetime, body: bytes | None = None, source: str = "open-meteo"):
    payloads.add(
        store,
        source=source,
        site=site_key(home.site),
        url="stored",
        body=body or answer(),
        fetched_at=fetched,
    )


def reports(temperature: float, *stamps: str) -> bytes:
    """Reports of a station as the National Weather Service writes them."""
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [-93.6, 41.6]},
            "properties": {
                "@type": "wx:ObservationStation", "timestamp": stamp, "stationId": "TEST",
                "temperature": {"unitCode": "wmoUnit:degC", "value": temperature, "qualityControl": "V"},
                "precipitationLastHour": {"unitCode": "wmoUnit:mm", "value": 2.0, "qualityControl": "C"},
            },
        }
        for stamp in stamps
    ]  # fmt: skip
    return json.dumps({"type": "FeatureCollection", "features": features}).encode()


def seen(store, home, now):
    return merge(parts(home, store, SINCE, UNTIL, now), HOUR, 48)


def test_nothing_kept_is_nothing_seen(store, home):
    found = seen(store, home, UNTIL)
    assert found.empty and newest_forecast(home, store, UNTIL) is None


def test_an_answer_tells_what_had_happened_when_it_was_fetched(store, home):
    keep(store, home, SINCE + timedelta(hours=6))
    found = seen(store, home, UNTIL)
    known = ~np.isnan(found.forecast.values("precipitation")[0, 0])
    assert known[:6].all() and not known[6:].any()
    # rain of 17:00 to 19:00 local time had begun an hour before
    assert found.forecast.values("precipitation")[0, 0, 5] == pytest.approx(6.0)
    assert found.kind(["precipitation"], 0, 6) == PAST_HOURS


def test_answers_from_before_the_hours_say_nothing_of_them(store, home):
    keep(store, home, SINCE - timedelta(hours=2))
    assert seen(store, home, UNTIL).empty


def test_answers_that_came_later_than_the_question_are_not_looked_at(store, home):
    keep(store, home, SINCE + timedelta(hours=20))
    assert seen(store, home, SINCE + timedelta(hours=10)).empty


def test_a_station_wins_over_the_past_hours_of_a_forecast(store, home):
    keep(store, home, SINCE + timedelta(hours=30))
    keep(
        store, home, SINCE + timedelta(hours=4), reports(3.5, "2026-09-22T19:00:00+00:00"), "nws-observations"
    )
    found = seen(store, home, UNTIL)
    temperature = found.forecast.values("air_temperature")[0, 0]
    assert temperature[2] == pytest.approx(3.5) and temperature[3] > 10.0
    assert found.kind(["air_temperature"], 2, 3) == MEASURED
    # the rain of the hour before the report
    assert found.forecast.values("precipitation")[0, 0, 1] == pytest.approx(2.0)


def test_a_damaged_answer_is_passed_over(store, home):
    keep(store, home, SINCE + timedelta(hours=30), b"{}")
    keep(store, home, SINCE + timedelta(hours=20), b"not json", "nws-observations")
    keep(store, home, SINCE + timedelta(hours=10))
    assert not seen(store, home, UNTIL).empty


def test_the_review_command_finds_what_is_kept(tmp_path, monkeypatch, capsys):
    import sys

    from advisor.cli import main

    folder: Path = write(tmp_path / "other")
    home = load(folder)
    with Store.open(folder / "advisor.db") as store:
        keep(store, home, datetime(2026, 9, 23, 12, tzinfo=UTC))

    def run(*words):
        capsys.readouterr()
        monkeypatch.setattr(sys, "argv", ["advisor", *words])
        with pytest.raises(SystemExit) as stop:
            main()
        assert not stop.value.code
        return capsys.readouterr().out

    done = ("--started", "2026-09-22 12:05", "--ended", "2026-09-22 12:27", "--amount", "4.8 floz")
    where = ("--home", str(folder), "--now", "2026-09-23T12:00Z")
    run("record", *where, "--area", "front", *done, "--size", "3200 ft^2", "--who", "me")
    row = json.loads(run("records", *where, "--json"))["records"][-1]
    assert row["weather_from"] == ["past hours of a forecast"]
    out = run("review", *where, "--area", "front", "--json")
    review = json.loads(out)["reviews"][0]
    assert review["status"] == "broken" and review["rain"]["first_after_h"] == pytest.approx(4.55, abs=0.01)
    # rain of 22:00 to 23:27 UTC lies within six hours of the end, the last hour whole
    assert review["rain"]["amount_mm"] == pytest.approx(12.0)
