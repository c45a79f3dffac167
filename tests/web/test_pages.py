"""Every page: it answers, says whose and how old its forecast is, carries the cautions, and has a JSON twin.

Checks of our own behaviour; the contrast formula and the rules of the web are checked elsewhere.
"""

from __future__ import annotations

import json
import re
import time
from datetime import timedelta

import pytest

from advisor.messages.cautions import CAUTIONS
from advisor.store import Store, records
from tests.demo_lawn import record
from tests.demo_page import NOW, demo_client, demo_home
from tests.web.reading import PAGES, seen


@pytest.mark.parametrize("path", PAGES)
def test_a_page_stands_on_its_own(client, path):
    response = client.get(path)
    assert response.status_code == 200, path
    page, text = seen(response), response.get_data(as_text=True)
    assert not page.faults and not page.open_tags
    assert [name for name, _ in page.headings].count("h1") == 1
    assert "Prairie lawn" in page.words
    assert "21 September 2026, 07:00 CDT" in page.words and "America/Chicago" in page.words
    assert "invented weather" in page.words and "fetched just now" in page.words
    assert "US customary units" in page.words
    for line in CAUTIONS:
        assert line in page.words
    assert "Demo Broadleaf Concentrate is an invented product" in page.words
    for tag, given in page.tags:
        assert tag != "script" and "style" not in given and not any(name.startswith("on") for name in given)
        for name in ("src", "href", "action"):
            assert not re.match(r"(https?:)?//", given.get(name) or ""), "no outside assets"
    assert '<html lang="en">' in text and "width=device-width" in text


@pytest.mark.parametrize("path", PAGES)
def test_a_page_has_a_json_twin(client, path):
    response = client.get("/index.json" if path == "/" else f"{path}.json")
    assert response.status_code == 200 and response.mimetype == "application/json"

    def refuse(word):
        raise AssertionError(f"{word} in the JSON of {path}")

    twin = json.loads(response.get_data(), parse_constant=refuse)
    assert twin["schema"].startswith("advisor.") and twin["generated_at"] == "2026-09-21T12:00:00Z"
    assert twin["cautions"] and twin["weather"]["source"] == "open-meteo"
    assert twin["weather"]["age_hours"] == 0.0 and twin["units"] == "us"
    again = client.get(response.request.path, headers={"If-None-Match": response.headers["ETag"]})
    assert again.status_code == 304


def test_the_answer_comes_first(client):
    page = seen(client.get("/"))
    heading = page.headings[0][1]
    assert heading.startswith("Not now.") and "Next chance:" in heading and "September" in heading
    twin = client.get("/index.json").get_json()
    assert {one["verdict"] for one in twin["present"]} == {"no-go"}
    first = min(day["date"] for one in twin["treatments"] for day in one["days"] if day["verdict"] == "go")
    assert f"/day/{first}#" in client.get("/").get_data(as_text=True)


def test_from_the_first_page_two_links_at_most_lead_to_why_any_day_was_rejected(client):
    twin = client.get("/index.json").get_json()
    front = seen(client.get("/"))
    rejected = 0
    for one in twin["treatments"]:
        for day in one["days"]:
            if day["verdict"] == "go":
                continue
            address = next(href for href, _ in front.links if href.split("#")[0] == f"/day/{day['date']}")
            why = seen(client.get(address.split("#")[0]))
            assert f"{one['treatment']}.{one['area']}" in {given.get("id") for _, given in why.tags}
            words = re.sub(r"\s+", " ", why.words)
            for reason in day["reasons"]:
                if reason["verdict"] == day["verdict"]:
                    assert reason["title"] in words and reason["text"] in words
                    rejected += 1
    assert rejected > 10


def rejected(client, **wanted) -> tuple[dict, dict]:
    """(treatment, day) of the first no-go day with what is asked for."""
    twin = client.get("/index.json").get_json()
    return next(
        (one, day)
        for one in twin["treatments"]
        for day in one["days"]
        if day["verdict"] == "no-go" and all(bool(day[name]) == value for name, value in wanted.items())
    )


def test_why_a_day_was_rejected_names_limit_source_and_what_would_change_it(tmp_path):
    client, _ = demo_client(demo_home(tmp_path, members=0))
    _, day = rejected(client, sole_blockers=True)
    words = re.sub(r"\s+", " ", seen(client.get(f"/day/{day['date']}")).words)
    assert "alone stands in the way" in day["sole_blockers"][0]["text"]
    assert day["sole_blockers"][0]["text"] in words
    failing = [one for one in day["reasons"] if one["verdict"] == "no-go"]
    assert failing[0]["source"] in words and failing[0]["anyway"] in words
    assert "Limit from" in words and "If one went anyway:" in words and "Your hours of this day" in words
    _, day = rejected(client, sole_blockers=False, opens_together=True)
    assert "Only these together:" in re.sub(r"\s+", " ", seen(client.get(f"/day/{day['date']}")).words)


def test_another_start_of_the_day_can_be_asked_for(client):
    one, day = rejected(client)
    twin = client.get(f"/day/{day['date']}.json").get_json()
    starts = next(row for row in twin["starts"] if row["area"] == one["area"])
    other = next(row["start"] for row in starts["starts"] if row["start"] != starts["shown_start"])
    # Chicago is five hours behind UTC in September
    local = f"{(int(other[11:13]) - 5) % 24:02d}:00"
    words = re.sub(r"\s+", " ", seen(client.get(f"/day/{day['date']}?at={local}")).words)
    assert f"For a start at {local}, as asked:" in words
    strange = re.sub(r"\s+", " ", seen(client.get(f"/day/{day['date']}?at=99:99")).words)
    assert "which comes nearest to a go" in strange and "as asked" not in strange.replace(words, "")


@pytest.mark.parametrize("path", ["/day/2027-01-01", "/day/yesterday", "/nothing", "/day/2027-01-01.json", "/tell/what",
                                  "/static/../app.py", "/static/%2e%2e/app.py"])  # fmt: skip
def test_what_is_not_there_is_answered_kindly(client, path):
    response = client.get(path)
    assert response.status_code in (404, 405)
    if path.endswith(".json"):
        assert response.get_json()["error"]["run_id"]
    else:
        page = seen(response)
        assert not page.faults and ("/", "To the first page") in page.links
        assert re.search(r"run [0-9a-f]{8}", page.words)


def test_a_fault_of_the_program_is_told_without_its_inside(client, monkeypatch):
    from advisor.web.pages import settings

    def broken(*_):
        raise RuntimeError("secret inside")

    monkeypatch.setattr(settings, "_site", broken)
    response = client.get("/settings")
    assert response.status_code == 500
    assert "secret inside" not in response.get_data(as_text=True)
    assert "fault of the program" in response.get_data(as_text=True)
    assert client.get("/settings.json").get_json()["error"]["code"] == 500


def test_without_a_forecast_nothing_is_a_go(tmp_path):
    client, _ = demo_client(demo_home(tmp_path, weather=b"", members=0))
    page = seen(client.get("/"))
    assert page.headings[0][1].startswith("Not")
    assert "no forecast" in page.words and "Go now" not in page.words
    twin = client.get("/index.json").get_json()
    verdicts = {day["verdict"] for one in twin["treatments"] for day in one["days"]}
    assert "go" not in verdicts and "unknown" in verdicts
    assert client.get("/readyz").status_code == 503
    for path in PAGES:
        assert client.get(path).status_code in (200, 404), path


def test_an_old_forecast_is_loud_and_never_a_go(tmp_path):
    """The source's age limit is 12 h from the fetch."""
    home = demo_home(tmp_path, members=0)
    client, _ = demo_client(home, NOW + timedelta(hours=13))
    page = client.get("/").get_data(as_text=True)
    assert 'class="forecast stale"' in page and "fetched 13 h ago" in page
    twin = client.get("/index.json").get_json()
    assert not [day for one in twin["treatments"] for day in one["days"] if day["verdict"] == "go"]
    assert client.get("/readyz").get_json()["reasons"] == ["the newest forecast is 13 h old"]


def test_names_from_the_files_are_escaped(tmp_path):
    home = demo_home(tmp_path, members=0)
    lawn = home / "lawn.toml"
    bad = "<script>alert(1)</script>"
    names = {
        "Prairie lawn": bad,
        "front lawn": "<b>front</b> & 'x'",
        "vegetable bed": "bed<img src=x onerror=alert(2)>",
    }
    text = lawn.read_text()
    for name, worse in names.items():
        text = text.replace(f'"{name}"', f'"{worse}"')
    lawn.write_text(text)
    client, _ = demo_client(home)
    for path in PAGES:
        text = client.get(path).get_data(as_text=True)
        assert "<script" not in text and "<img src=x" not in text and "<b>front" not in text, path
        assert not seen(client.get(path)).faults
    assert "&lt;script&gt;" in client.get("/").get_data(as_text=True)


def test_a_blank_label_and_an_unstated_timetable_are_never_a_go(tmp_path):
    home = demo_home(tmp_path, members=0)
    label, lawn = home / "labels" / "broadleaf-concentrate.toml", home / "lawn.toml"
    label.write_text(label.read_text().replace('rainfast_time = "6 h"\n', ""))
    lawn.write_text(lawn.read_text().replace('irrigation = "none"\n', ""))
    client, _ = demo_client(home)
    for path in PAGES:
        assert client.get(path).status_code == 200, path
    twin = client.get("/index.json").get_json()
    assert "go" not in {day["verdict"] for one in twin["treatments"] for day in one["days"]}
    words = re.sub(r"\s+", " ", seen(client.get("/")).words)
    told = re.search(r"Not known for any start: ([^.]*)\.", words)
    assert told and "label not copied completely" in told.group(1)
    assert "rainfast_time" in seen(client.get("/mix")).words


def test_a_complete_sequence_leaves_nothing_to_do(tmp_path):
    home = demo_home(tmp_path, members=0)
    treatment = home / "treatments" / "broadleaf-autumn.toml"
    treatment.write_text(treatment.read_text().replace("passes = 2", "passes = 1"))
    client, _ = demo_client(home)
    assert seen(client.get("/")).headings[0][1].startswith("Nothing to do.")
    for path in PAGES:
        assert client.get(path).status_code == (404 if path.startswith("/day") else 200), path


def test_a_metric_household_far_south(tmp_path):
    from datetime import UTC, datetime

    now = datetime(2026, 9, 21, 21, tzinfo=UTC)
    home = demo_home(tmp_path, "southern-lawn", now)
    client, _ = demo_client(home, now)
    for path in PAGES:
        path = path.replace("2026-09-23", "2026-09-24")
        response = client.get(path)
        assert response.status_code == 200, path
        assert "Metric units" in response.get_data(as_text=True)
    words = seen(client.get("/")).words
    assert "°F" not in words and "mph" not in words


def test_an_outlook_is_made_once_for_one_ledger_and_one_minute(tmp_path, monkeypatch):
    home = demo_home(tmp_path, members=0)
    client, desk = demo_client(home)
    made = []
    outlook = desk.service.outlook

    class Counting:
        household, rules, database = desk.service.household, desk.service.rules, desk.service.database

        def outlook(self, now, units=None):
            made.append(now)
            return outlook(now, units)

    desk.service = Counting()
    for path in ("/", "/", "/index.json", "/day/2026-09-23", "/mix"):
        assert client.get(path).status_code == 200
    assert len(made) == 1
    desk.clock.advance(timedelta(seconds=59))
    client.get("/")
    assert len(made) == 1
    desk.clock.advance(timedelta(seconds=1))
    client.get("/")
    assert len(made) == 2
    with Store.open(desk.database) as store:
        records.add(store, record(NOW - timedelta(days=3)), written_at=desk.now())
    client.get("/")
    assert len(made) == 3


def test_a_clock_set_back_makes_the_outlook_anew(tmp_path):
    client, desk = demo_client(demo_home(tmp_path, members=0))
    assert "07:00 CDT" in client.get("/").get_data(as_text=True)
    desk.clock.set(NOW - timedelta(hours=1))
    assert "06:00 CDT" in client.get("/").get_data(as_text=True)


def test_the_first_answer_is_ready_at_once_when_it_was_made(tmp_path):
    """Time of the processor and not of the wall, so that a busy machine does not decide."""
    client, _ = demo_client(demo_home(tmp_path))
    client.get("/")
    began = time.process_time()
    assert client.get("/").status_code == 200
    assert time.process_time() - began < 0.1


def test_other_units_are_a_choice_of_the_visitor(tmp_path):
    client, _ = demo_client(demo_home(tmp_path, members=0))
    assert "US customary units" in seen(client.get("/")).words
    response = client.get("/units/metric?back=/day/2026-09-23")
    assert response.status_code == 303 and response.headers["Location"] == "/day/2026-09-23"
    words = seen(client.get("/day/2026-09-23")).words
    assert "Metric units" in words and "°C" in words and "°F" not in words and "mph" not in words
    verdicts = [[day["verdict"] for one in client.get(path).get_json()["treatments"] for day in one["days"]]
                for path in ("/index.json",)]  # fmt: skip
    client.get("/units/us")
    assert [
        day["verdict"] for one in client.get("/index.json").get_json()["treatments"] for day in one["days"]
    ] == verdicts[0]
    for away in ("//evil.example", "https://evil.example", "/\\\\evil.example", "javascript:alert(1)"):
        assert client.get("/units/us", query_string={"back": away}).headers["Location"] == "/"


def test_channels_show_no_address_and_no_key(tmp_path):
    home = demo_home(tmp_path, members=0)
    with (home / "lawn.toml").open("a") as file:
        file.write('\n[[notices.channel]]\nkind = "file"\npath = "very-secret-place"\n')
    client, _ = demo_client(home)
    assert "very-secret-place" not in client.get("/settings").get_data(as_text=True)
    assert "very-secret-place" not in client.get("/settings.json").get_data(as_text=True)


def test_the_calendar_is_a_calendar_or_says_kindly_that_it_is_not_there(client):
    response = client.get("/calendar.ics")
    if response.status_code == 404:
        assert "not part of this version" in response.get_data(as_text=True)
    else:
        assert response.mimetype == "text/calendar" and b"BEGIN:VCALENDAR" in response.get_data()


def test_a_day_says_its_answer_in_the_first_line(client):
    for date in ("2026-09-22", "2026-09-24"):
        shown = client.get(f"/day/{date}")
        head = re.search(r"<h1>(.*?)</h1>", shown.text, re.S).group(1)
        told = {one["verdict"] for one in client.get(f"/day/{date}.json").get_json()["treatments"][0]["days"]}
        assert len(told) == 1
        word = {"go": "Go: ", "no-go": "No-go: ", "unknown": "Unknown: "}[told.pop()]
        assert f'<span class="next">{word}' in head and ("start" in head) == (word == "Go: ")


def test_settings_and_sources_speak_in_words_and_whole_units(client):
    settings = seen(client.get("/settings")).words
    assert "4 gal" in settings and "20 min" in settings and "8 October" in settings
    assert "^2" not in settings and "512.0 fl oz" not in settings
    sources = seen(client.get("/sources")).words
    assert "mean wind speed at 10 m" in sources and "wind speed 10m" not in sources
    # the data end there; the axis goes on to the end of the next day
    assert re.search(r"to Mon 28 Sep, 1[78]:00", sources)


def test_the_score_begins_with_one_plain_sentence(client):
    words = seen(client.get("/score")).words
    (sentence,) = re.findall(r"On day 1 of the forecast it was off: .*?\)\.", words)
    assert "air temperature" in sentence and sentence.count("the raw forecast by") == 2
    # what the picture shows stands in words too
    assert re.search(r"0-10 %\s*\d+x\s*\d+%\s*\d+x\s*\d+%\s*10-20 %", words)
