"""The script that serves stored weather on this computer: paths, dates moved by whole days, nothing else served."""

from __future__ import annotations

import importlib.util
import json
import threading
import urllib.error
import urllib.request
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path

import numpy as np
import pytest

from advisor.quality import control
from advisor.sources import SOURCES, read_answer

ROOT = Path(__file__).resolve().parent.parent
PRAIRIE = (ROOT / "fixtures" / "weather" / "prairie-open-meteo.json").read_bytes()
SOUTHERN = (ROOT / "fixtures" / "weather" / "southern-metno.json").read_bytes()
POINTS = {"properties": {"gridId": "DMX", "gridX": 72, "gridY": 48, "forecastGridData": "x", "@type": "wx:Point"}}
GRID = {
    "properties": {
        "gridId": "DMX",
        "updateTime": "2026-09-21T11:02:03+00:00",
        "temperature": {
            "uom": "wmoUnit:degC",
            "values": [{"validTime": "2026-09-21T06:00:00+00:00/PT3H", "value": 11.0}],
        },
    }
}
NOW = datetime(2031, 1, 5, 7, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def script():
    """The script as a module, by its path: the tests have a server of their own by the same name."""
    spec = importlib.util.spec_from_file_location("stored_weather_server", ROOT / "scripts" / "weather_server.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def served(script):
    """Starts servers, gives their addresses, and ends them."""
    running = []

    def start(now=None, **answers):
        one = script.server({name.replace("_", "-"): body for name, body in answers.items()}, 0, now)
        thread = threading.Thread(target=one.serve_forever, args=(0.02,), daemon=True)
        thread.start()
        running.append((one, thread))
        return f"http://127.0.0.1:{one.server_port}"

    yield start
    for one, thread in running:
        one.shutdown()
        one.server_close()
        thread.join(5)


def get(request_or_address) -> tuple[bytes, dict]:
    address = getattr(request_or_address, "address", request_or_address)
    with urllib.request.urlopen(address, timeout=5) as answer:
        return answer.read(), dict(answer.headers)


def test_answers_stay_as_they_are_without_a_clock(served):
    base = served(open_meteo=PRAIRIE, met_norway=SOUTHERN)
    assert get(SOURCES["open-meteo"].first_request(41.6, -93.6, base=base))[0] == PRAIRIE
    assert get(SOURCES["met-norway"].first_request(-37.8, 145.0, base=base))[0] == SOUTHERN


def test_open_meteo_is_moved_to_the_day_that_is_asked_for(served):
    base = served(lambda: NOW, open_meteo=PRAIRIE)
    body, headers = get(SOURCES["open-meteo"].first_request(41.6, -93.6, base=base))
    before, after = read_answer(PRAIRIE), read_answer(body, fetched_at=NOW)
    # ten past days, and the label of the first hour is its end
    assert after.start == np.datetime64("2030-12-25T23", "h")
    assert np.array_equal(after.values("air_temperature"), before.values("air_temperature"), equal_nan=True)
    assert not any(flag.check == "age" for flag in control(after, NOW).flags)
    assert parsedate_to_datetime(headers["Date"]) == NOW


def test_met_norway_and_its_time_of_issue_are_moved(served):
    base = served(lambda: NOW, met_norway=SOUTHERN)
    body, _ = get(SOURCES["met-norway"].first_request(-37.8, 145.0, base=base))
    forecast = read_answer(body)
    assert forecast.provenance.issued_at == datetime(2031, 1, 5, 20, 14, 27, tzinfo=UTC)
    assert forecast.start == np.datetime64("2031-01-05T21", "h")


def test_nws_leads_from_the_point_to_its_cell(served):
    from advisor.sources.reading import read_document

    base = served(lambda: NOW, nws_points=json.dumps(POINTS).encode(), nws_grid=json.dumps(GRID).encode())
    body, _ = get(SOURCES["nws"].first_request(41.6, -93.6, base=base))
    following = SOURCES["nws"].next_request(read_document(body), base=base)
    layers = json.loads(get(following)[0])["properties"]
    assert layers["updateTime"] == "2031-01-05T11:02:03+00:00"
    assert layers["temperature"]["values"][0]["validTime"] == "2031-01-05T06:00:00+00:00/PT3H"


def test_what_is_not_stored_is_not_found(served):
    base = served(open_meteo=PRAIRIE)
    for path in ("/", "/weatherapi/locationforecast/2.0/complete?lat=1&lon=2", "/../pyproject.toml"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            get(base + path)
        assert refused.value.code == 404
        refused.value.close()


def test_it_listens_on_this_computer_alone(script):
    one = script.server({"open-meteo": PRAIRIE})
    assert one.server_address[0] == "127.0.0.1"
    one.server_close()


def test_the_fast_clock(script, monkeypatch):
    readings = iter([100.0, 102.0])
    monkeypatch.setattr(script.time, "monotonic", lambda: next(readings))
    assert script.clock("2026-09-21T12:00Z@3600")() == datetime(2026, 9, 21, 14, tzinfo=UTC)
    assert script.clock(None) is None
