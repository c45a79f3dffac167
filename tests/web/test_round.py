"""Several lawns behind one page: the round at the front, each lawn's own pages under its path, forms and feeds as for
one. Our own behaviour, no source."""

from __future__ import annotations

import json
import re
import shutil
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from urllib.parse import quote

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.errors import AdvisorError
from advisor.service.clocks import SetClock
from advisor.service.health import Health
from advisor.store import Store, measurements
from advisor.web import Desks, create_app, open_desks
from advisor.web.app import NAVIGATION
from advisor.web.desks import names_of
from tests.demo_page import AFTERNOON, demo_client, demo_desks, demo_home, demo_lawns
from tests.web.reading import PAGES

LAWNS = {"prairie-lawn": "Prairie lawn", "hill-road": "Hill Road", "southern-lawn": "Southern lawn"}
TUESDAY = "2026-09-22"


def client_of(desks, **given):
    app = create_app(desks, **given)
    app.testing = False
    return app.test_client()


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    desks = demo_desks(demo_lawns(tmp_path_factory.mktemp("lawns"), members=0))
    yield client_of(desks)
    desks.close()


@pytest.fixture
def own(tmp_path):
    """(client, desks) of lawns that may be written to."""
    desks = demo_desks(demo_lawns(tmp_path, members=0))
    yield client_of(desks), desks
    desks.close()


def links(text):
    return [one for one in re.findall(r'(?:href|action|src)="([^"]+)"', text) if not one.startswith("data:")]


def test_the_front_is_tomorrows_round_in_the_afternoon(client):
    text = client.get("/").text
    answer = re.search(r'<h1 class="answer">(.*?)</h1>', text, re.S).group(1)
    assert (
        answer.startswith("Tomorrow: 2 of 3 lawns go.")
        and "Tuesday 22 September" in answer
        and "Prairie lawn" in answer
    )
    first = re.search(r'<ol class="round">(.*?)</li>', text, re.S).group(1)
    # hour, lawn, chance, what decides
    assert re.search(r'class="slot">\d\d:\d\d<', first) and "Prairie lawn" in first
    assert re.search(r"Chance \d+%; last start \d\d:\d\d; waiting would cost \d+% of a pass", first)
    assert "tightest: " in first
    for heading in ("Tank loads", "If the wind turns", "Has to wait", "Every lawn, day by day"):
        assert f">{heading}</h2>" in text
    assert text.index("Tomorrow: ") < text.index("In this order") < text.index("Tank loads")


def test_one_link_leads_from_the_round_to_why_any_day_of_any_lawn_was_rejected(client):
    text = client.get("/").text
    rejected = re.findall(r'<a href="([^"]+)" aria-label="[^"]*: No-go"', text)
    assert len({one.split("/day/")[0] for one in rejected}) == 3
    for link in rejected:
        page = client.get(link)
        assert page.status_code == 200 and "Against it" in page.text or "No start on this day" in page.text, (
            link
        )


def test_every_page_of_every_lawn_is_there_and_leads_to_nowhere_else(client):
    for name, title in LAWNS.items():
        for path in [one for one in PAGES if "/day/" not in one] + [f"/day/{TUESDAY}"]:
            page = client.get(f"/lawn/{name}{path}")
            assert page.status_code == 200 and f">{title}</a>" in page.text, (name, path)
            for link in links(page.text):
                assert link.startswith((f"/lawn/{name}/", "/static/", "#", "?")) or link == "/", (path, link)
        for address, _ in NAVIGATION:
            twin = client.get(f"/lawn/{name}{'/index' if address == '/' else address}.json")
            assert twin.status_code == 200, (name, address)


def test_every_link_of_the_round_leads_somewhere(client):
    found = set(links(client.get("/").text))
    assert len([one for one in found if one.startswith("/lawn/")]) > 20
    for link in found:
        if "/units/" in link:  # its cookie would change what the other tests read
            continue
        assert client.get(link.split("#")[0] or "/").status_code in (200, 303), link


def test_lawns_say_the_same_as_they_do_alone(client, tmp_path):
    alone, desk = demo_client(demo_home(tmp_path, now=AFTERNOON, members=0), AFTERNOON)
    of_lawn = client.get("/lawn/prairie-lawn/index.json").get_json()
    assert of_lawn == alone.get("/index.json").get_json()
    text = client.get("/lawn/prairie-lawn/").text.replace("/lawn/prairie-lawn", "")
    text = text.replace('<a class="up" href="/">All lawns</a> <span aria-hidden="true">/</span> ', "")
    assert text == alone.get("/").text
    desk.close()


def test_nothing_of_a_lawn_is_served_at_the_front_and_nothing_of_the_round_below(client):
    for path in ("/mix", "/tell", "/calendar.ics", "/score.svg", "/lawn/nobody/", "/lawn/", "/lawn/prairie-lawn/round",
                 "/lawn/prairie-lawn/round/2026-09-22", "/lawn/prairie-lawn/lawn/hill-road/", "/lawn/%2e%2e/mix",
                 "/round/2026-09-20", "/round/yesterday", "/round/9999-12-31"):  # fmt: skip
        assert client.get(path).status_code == 404, path
    assert client.post("/tell/soil").status_code in (403, 404)


def test_the_twin_of_the_round(client):
    found = client.get("/index.json").get_json()
    assert found["schema"] == "advisor.round/1" and found["date"] == TUESDAY and found["faults"] == []
    assert found["stops"] and found["loads"] and found["wind_turns"]
    assert found["paths"] == {name: f"/lawn/{name}/" for name in LAWNS}
    assert client.get(f"/round/{TUESDAY}.json").get_json() == found
    other = client.get("/round/2026-09-23.json").get_json()
    assert other["date"] == "2026-09-23" and other["stops"] != found["stops"]
    tag = client.get("/index.json").headers["ETag"]
    assert client.get("/index.json", headers={"If-None-Match": tag}).status_code == 304


def test_a_single_household_has_no_round(tmp_path):
    alone, desk = demo_client(demo_home(tmp_path, members=0))
    for path in ("/round", "/round.json", f"/round/{TUESDAY}", "/lawn/prairie-lawn/"):
        assert alone.get(path).status_code == 404
    assert "All lawns" not in alone.get("/").text
    desk.close()


def test_each_lawn_has_its_own_calendar(client):
    texts = {name: client.get(f"/lawn/{name}/calendar.ics").text for name in LAWNS}
    assert all(text.startswith("BEGIN:VCALENDAR") for text in texts.values())
    assert "terrace" in texts["southern-lawn"] and "terrace" not in texts["prairie-lawn"]


def test_a_form_writes_into_the_ledger_of_its_lawn_alone(own):
    client, desks = own
    page = client.get("/lawn/hill-road/tell").text
    token = re.search(r'name="token" value="([^"]+)"', page).group(1)
    sent = {"token": token, "area": "back", "state": "dry", "on": "2026-09-21"}
    assert client.post("/lawn/hill-road/tell/soil", data={**sent, "token": "no"}).status_code == 403
    other = {"Origin": "http://elsewhere.example"}
    assert client.post("/lawn/hill-road/tell/soil", data=sent, headers=other).status_code == 403
    assert (
        client.post("/lawn/hill-road/tell/soil", data=sent, headers={"Host": "elsewhere.example"}).status_code
        == 421
    )
    answer = client.post("/lawn/hill-road/tell/soil", data=sent)
    assert answer.status_code == 303 and answer.headers["Location"].startswith("/lawn/hill-road/tell?kept=")
    assert "Written down" in client.get(answer.headers["Location"]).text
    written = {}
    for desk in desks.all:
        with Store.open_readonly(desk.database) as store:
            written[desk.path] = len(measurements.of_subject(store, "soil"))
    assert written == {"/lawn/prairie-lawn": 0, "/lawn/hill-road": 1, "/lawn/southern-lawn": 0}


def test_the_start_card_of_a_lawn_leads_back_to_that_lawn(own):
    client, _ = own
    page = client.get("/lawn/hill-road/start").text
    token = re.search(r'name="token" value="([^"]+)"', page).group(1)
    task = re.search(r'<option value="([^"]+)"', page).group(1)
    sent = {"token": token, "task": task, "wind": "5", "wind_from": "225", "temperature": "60"}
    answer = client.post("/lawn/hill-road/start", data=sent)
    assert answer.status_code == 303 and answer.headers["Location"].startswith("/lawn/hill-road/start?card=")
    assert client.get(answer.headers["Location"]).status_code == 200


def test_the_units_are_chosen_once_for_all_and_lead_back(own):
    client, _ = own
    answer = client.get("/units/metric?back=/")
    assert answer.status_code == 303 and answer.headers["Location"] == "/"
    assert re.search(r"m/s|km/h", client.get("/").text)
    answer = client.get("/lawn/hill-road/units/us?back=/lawn/hill-road/mix")
    assert answer.headers["Location"] == "/lawn/hill-road/mix"
    assert "mph" in client.get("/").text


def test_a_lawn_that_cannot_be_looked_at_is_told_and_hides_no_other(own, monkeypatch):
    client, desks = own

    def fails(units=None):
        raise AdvisorError("its ledger is damaged")

    monkeypatch.setattr(desks.all[1], "scene", fails)
    text = client.get("/").text
    assert "Hill Road cannot be looked at, so it is no go: its ledger is damaged" in text
    assert "Prairie lawn" in text and "/lawn/hill-road/" not in text
    assert client.get("/index.json").get_json()["faults"] == [
        {"lawn": "Hill Road", "says": "its ledger is damaged"}
    ]
    monkeypatch.setattr(desks.all[0], "scene", fails)
    monkeypatch.setattr(desks.all[2], "scene", fails)
    assert client.get("/").status_code == 503


def test_readiness_at_the_front_is_that_of_all_lawns(tmp_path):
    service = demo_lawns(tmp_path, members=0)
    (tmp_path / "advisor.db").unlink(missing_ok=True)
    desks = Desks.of_round(service, SetClock(AFTERNOON), [Health(), Health(), Health()])
    client = client_of(desks)
    found = client.get("/readyz")
    assert found.status_code == 503
    told = found.get_json()["reasons"]
    assert {f"{name}: the service has never run" for name in LAWNS.values()} <= set(told)
    assert any(one.startswith("the round: ") for one in told)
    assert client.get("/lawn/hill-road/readyz").get_json()["reasons"] == ["the service has never run"]
    assert client.get("/healthz").text == "ok\n"
    # and the page itself says so
    assert "Hill Road: the service has never run" in client.get("/").text
    desks.close()


def test_the_word_opens_all_lawns_at_once_and_nothing_before(own):
    _, desks = own
    client = client_of(desks, word="a-long-enough-word")
    for path in ("/", "/lawn/hill-road/"):
        assert client.get(path).headers["Location"] == "/enter"
    assert client.get("/lawn/hill-road/index.json").status_code == 401
    token = re.search(r'name="token" value="([^"]+)"', client.get("/enter").text).group(1)
    assert client.post("/enter", data={"token": token, "word": "a-long-enough-word"}).status_code == 303
    for path in ("/", "/lawn/hill-road/", "/lawn/southern-lawn/mix"):
        assert client.get(path).status_code == 200, path


def test_one_token_opens_the_calendars_of_all_lawns_and_nothing_else(own):
    _, desks = own
    client = client_of(desks, word="a-long-enough-word")
    token = re.search(r'name="token" value="([^"]+)"', client.get("/enter").text).group(1)
    client.post("/enter", data={"token": token, "word": "a-long-enough-word"})
    page = client.get("/lawn/hill-road/calendar").text
    token = re.search(r'name="token" value="([^"]+)"', page).group(1)
    shown = client.post("/lawn/hill-road/calendar", data={"token": token, "do": "make"}).text
    address = re.search(r"http://localhost(/lawn/hill-road/calendar\.ics\?token=[\w-]+)", shown).group(1)
    stranger = client_of(desks, word="a-long-enough-word")
    assert stranger.get(address).text.startswith("BEGIN:VCALENDAR")
    other = address.replace("hill-road", "southern-lawn")
    assert "terrace" in stranger.get(other).text
    given = address.partition("?")[2]
    for path in ("/lawn/hill-road/", "/lawn/hill-road/index.json", "/", "/index.json"):
        assert stranger.get(f"{path}?{given}").status_code in (303, 401), path
    assert stranger.get("/lawn/hill-road/calendar.ics?token=wrong").status_code == 401


def test_stale_weather_of_one_lawn_is_loud_and_no_go(tmp_path):
    service = demo_lawns(tmp_path, members=0)
    late = AFTERNOON + timedelta(hours=30)
    client = client_of(Desks.of_round(service, SetClock(late), [None] * 3))
    found = client.get("/index.json").get_json()
    assert not found["stops"]
    assert "rests on no good forecast" in client.get("/").text


def test_names_of_lawns_in_addresses():
    assert names_of(["hill-road", "Müllers Wiese", "north/hill", "north hill", "..", "a?b#c"]) == [
        "hill-road", "M-llers-Wiese", "north-hill", "north-hill-2", "lawn", "a-b-c"]  # fmt: skip


def test_lawns_of_the_same_folder_name_are_two(tmp_path):
    service = demo_lawns(tmp_path, members=0)
    for side in ("north", "south"):
        shutil.copytree(tmp_path / "hill-road", tmp_path / side / "hill")
    (tmp_path / "lawns.toml").write_text('lawns = ["north/hill", "south/hill"]\n')
    service = type(service).open(tmp_path)
    client = client_of(demo_desks(service))
    assert set(client.get("/index.json").get_json()["paths"]) == {"north/hill", "south/hill"}
    assert client.get("/lawn/south-hill/").status_code == 200


def test_over_a_real_connection(tmp_path):
    with open_desks(demo_desks(demo_lawns(tmp_path, members=0)), port=0) as page:
        with urllib.request.urlopen(page.address + "index.json", timeout=30) as answer:
            assert json.load(answer)["date"] == TUESDAY
        with urllib.request.urlopen(page.address + "lawn/southern-lawn/", timeout=30) as answer:
            assert b"Southern lawn" in answer.read() and answer.headers["Content-Security-Policy"]


def test_lawns_asked_for_at_once_are_not_mixed_up(tmp_path):
    with open_desks(demo_desks(demo_lawns(tmp_path, members=0)), port=0) as page:

        def title(name: str) -> str:
            with urllib.request.urlopen(f"{page.address}lawn/{name}/mix", timeout=60) as answer:
                return re.search(r"<title>(.*?)</title>", answer.read().decode()).group(1)

        asked = list(LAWNS) * 8
        with ThreadPoolExecutor(8) as pool:
            found = list(pool.map(title, asked))
    assert [one.rpartition(" · ")[2] for one in found] == [LAWNS[name] for name in asked]


@settings(max_examples=150, deadline=None)
@given(
    path=st.text(max_size=30),
    before=st.sampled_from(["/", "/lawn/", "/lawn/hill-road", "/lawn/hill-road/", "/round/"]),
)
def test_no_address_is_a_fault_of_the_program(client, path, before):
    answer = client.get(before + quote(path, safe="/?&=.%"))
    # what begins with two slashes is read as the address of another host, which is not served here
    assert answer.status_code in (200, 303, 304, 308, 400, 404, 421)
