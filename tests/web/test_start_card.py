"""The start card on the page: judged by the rules, kept, shown again, and too old after a quarter of an hour.

Checks of our own behaviour; the judgement itself is tested with the start card.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest

from advisor.store import Store, measurements, payloads, records
from advisor.weather import site_key
from tests.demo_page import FIXTURES, demo_client, demo_home
from tests.web.reading import seen, token

TASK = "broadleaf-autumn/front"
#: Tuesday 22 September 2026, 12:20 in Chicago, in a window of the demonstration
TUESDAY = datetime(2026, 9, 22, 17, 20, tzinfo=UTC)
CALM_DAY = {"task": TASK, "wind": "5", "wind_from": "225", "gust": "7", "temperature": "70", "humidity": "50",
            "leaves_dry": "yes", "people_away": "yes", "windows_closed": "yes", "sprayer_clean": "yes"}  # fmt: skip


@pytest.fixture
def tuesday(tmp_path):
    """The demonstration on its good day, with the same invented forecast fetched an hour before."""
    home = demo_home(tmp_path, members=0)
    client, desk = demo_client(home, TUESDAY)
    with Store.open(desk.database) as store:
        payloads.add(store, source="open-meteo", site=site_key(desk.service.household.site), url="https://example.org",
                     body=(FIXTURES / "weather" / "prairie-open-meteo.json").read_bytes(),
                     fetched_at=TUESDAY - timedelta(hours=1))  # fmt: skip
    yield client, desk
    desk.close()


def send(client, **fields):
    return client.post("/start", data={"token": token(client, "/start"), **fields})


def words_of(client, response) -> str:
    return re.sub(r"\s+", " ", seen(client.get(response.headers["Location"])).words)


def cards(desk):
    with Store.open_readonly(desk.database) as store:
        return measurements.of_subject(store, "start-card")


def test_good_readings_on_a_good_day_are_a_go_with_stop_conditions(tuesday):
    client, desk = tuesday
    response = send(client, **CALM_DAY)
    assert response.status_code == 303
    words = words_of(client, response)
    assert "front lawn: Go" in words and "The readings hold until 12:35." in words
    assert "Stop at once when" in words and "wind 5" not in words.split("Stop at once when")[0][:20]
    (one,) = cards(desk)
    assert one.data["verdict"] == "go" and one.subject == TASK
    # 5 mph = 2.2352 m/s: NIST SP 811
    assert one.data["readings"]["wind_speed_2m"] == pytest.approx(5 * 0.44704)
    assert one.data["readings"]["wind_from_direction"] == 225.0


def test_after_a_quarter_of_an_hour_the_card_says_to_measure_again(tuesday):
    client, desk = tuesday
    address = send(client, **CALM_DAY).headers["Location"]
    desk.clock.advance(timedelta(minutes=16))
    words = re.sub(r"\s+", " ", seen(client.get(address)).words)
    assert "front lawn: Measure again" in words and "older than 15 minutes" in words
    assert "Stop at once when" not in words and ": Go" not in words


@pytest.mark.parametrize("missing", ["wind", "wind_from", "temperature", "leaves_dry", "people_away", "windows_closed",
                                     "sprayer_clean"])  # fmt: skip
def test_what_is_left_out_is_never_a_go(tuesday, missing):
    client, desk = tuesday
    response = send(client, **{name: value for name, value in CALM_DAY.items() if name != missing})
    assert response.status_code == 303
    words = words_of(client, response)
    assert "front lawn: Unknown" in words and "Not answered" in words and "Do not start." in words
    assert cards(desk)[0].data["verdict"] == "unknown"


@pytest.mark.parametrize(
    ("field", "value"), [("wind", "15"), ("leaves_dry", "no"), ("people_away", "no"), ("smoke", "hangs")]
)
def test_a_known_no_is_no_go_whatever_the_forecast(tuesday, field, value):
    client, desk = tuesday
    words = words_of(client, send(client, **{**CALM_DAY, field: value, "gust": ""}))
    assert "front lawn: No-go" in words and "Against it" in words
    assert cards(desk)[0].data["verdict"] == "no-go"


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        ("wind", "fast", "cannot be read"),
        ("wind", "400", "not between"),
        ("gust", "2", "weaker than the wind"),
        ("temperature", "nan", "not between"),
        ("wind_from", "361", "Choose"),
        ("wind_from", "SW", "Choose"),
        ("beaufort", "strong", "Choose"),
        ("smoke", "burns", "Choose"),
        ("taken", "13:00", "future"),
        ("task", "broadleaf-autumn/roof", "Choose"),
    ],
)
def test_what_cannot_be_is_refused_beside_its_field(tuesday, field, value, says):
    client, desk = tuesday
    response = send(client, **{**CALM_DAY, field: value})
    assert response.status_code == 422 and not cards(desk)
    told = re.search(rf'id="fault-start-{field}">([^<]*)<', response.get_data(as_text=True))
    assert told and says in told.group(1)


def test_a_word_that_is_no_force_of_wind_is_refused_where_the_wind_was_not_measured(tuesday):
    client, desk = tuesday
    response = send(client, **{**CALM_DAY, "wind": "", "gust": "", "beaufort": "strong"})
    assert response.status_code == 422 and not cards(desk)


def test_old_readings_are_no_go_ahead(tuesday):
    client, _ = tuesday
    words = words_of(client, send(client, **{**CALM_DAY, "taken": "11:50"}))
    assert "Measure again" in words and ": Go" not in words


def test_the_card_goes_into_the_record_of_the_pass(tuesday):
    client, desk = tuesday
    send(client, **CALM_DAY)
    desk.clock.advance(timedelta(minutes=40))
    given = {
        "task": TASK,
        "on": "2026-09-22",
        "began": "12:25",
        "ended": "12:50",
        "amount": "4.8",
        "size": "3200",
    }
    response = client.post("/tell/done", data={"token": token(client), **given})
    assert response.status_code == 303, seen(response).words
    with Store.open_readonly(desk.database) as store:
        (entry,) = records.current_entries(store)
    assert entry.extra["start_card"] == cards(desk)[0].id
    assert entry.extra["weather"]["wind_speed_2m"] == pytest.approx(5 * 0.44704)
    assert entry.extra["weather"]["source"]["wind_speed_2m"] == "measured on the spot"


def test_an_unknown_card_shows_the_empty_form(tuesday):
    client, _ = tuesday
    page = client.get("/start?card=m-000")
    assert page.status_code == 200 and 'id="card"' not in page.get_data(as_text=True)


def test_without_a_forecast_a_start_is_unknown(tmp_path):
    client, desk = demo_client(demo_home(tmp_path, weather=b"", members=0), TUESDAY)
    words = words_of(client, send(client, **CALM_DAY))
    assert "front lawn: Unknown" in words or "front lawn: No-go" in words
    assert cards(desk)[0].data["verdict"] != "go"
