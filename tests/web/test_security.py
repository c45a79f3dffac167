"""Who is answered and what is refused. Headers as the OWASP Secure Headers Project lists them (from memory); the rest
is our own behaviour."""

from __future__ import annotations

import re

import pytest

from advisor.store import Store, measurements
from advisor.web.security import BODY_LIMIT, WRONG_WORDS, host_name
from tests.demo_page import demo_client, demo_home
from tests.web.reading import PAGES, seen, token

SOIL = {"area": "front", "state": "dry", "on": "2026-09-21"}
WORD = "a word of some length"


def nothing_written(desk) -> bool:
    with Store.open_readonly(desk.database) as store:
        return not measurements.of_subject(store, "soil")


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:80", "", "[::2]",
                                  "127.0.0.1@evil.example", "10.0.0.1"])  # fmt: skip
def test_a_host_that_was_not_asked_for_is_refused(client, host):
    """DNS rebinding: another name that leads to this address must not reach the pages."""
    for path in ("/", "/index.json", "/readyz", "/static/page.css"):
        assert client.get(path, headers={"Host": host}).status_code in (400, 421), path


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "127.0.0.1:8642", "localhost:1", "LOCALHOST", "[::1]:8642", "localhost."]
)
def test_the_loopback_address_is_answered_by_any_of_its_names(client, host):
    assert client.get("/healthz", headers={"Host": host}).status_code == 200


def test_names_in_hosts():
    assert host_name("Lawn.example.org:80") == "lawn.example.org" and host_name("[::1]:5") == "[::1]"


@pytest.mark.parametrize("path", [*PAGES, "/index.json", "/nothing", "/static/page.css", "/healthz"])
def test_every_answer_carries_the_headers(client, path):
    headers = client.get(path).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["Content-Security-Policy"].split(";"))
    assert (
        policy["default-src"] == "'none'"
        and policy["style-src"] == "'self'"
        and policy["form-action"] == "'self'"
    )
    assert policy["frame-ancestors"] == "'none'" and policy["base-uri"] == "'none'"
    assert "unsafe" not in headers["Content-Security-Policy"] and "script-src" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    # "no-referrer" would make a browser send the origin of our own forms as "null" (Fetch standard, from memory)
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "Server" not in headers and "X-Powered-By" not in headers


def test_the_cookie_is_closed_to_scripts_and_to_other_sites(writing):
    client, _, _ = writing
    cookie = client.get("/tell").headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie


SPOILT = (
    "no token",
    "wrong token",
    "no cookie",
    "other cookie",
    "foreign origin",
    "null origin",
    "cross site",
)


@pytest.mark.parametrize("spoil", SPOILT)
def test_a_form_that_did_not_come_from_a_page_of_ours_writes_nothing(writing, spoil):
    client, desk, _ = writing
    given, headers = {**SOIL, "token": token(client)}, {}
    if spoil == "no token":
        del given["token"]
    elif spoil == "wrong token":
        given["token"] = "0" * 64
    elif spoil == "no cookie":
        client.delete_cookie("advisor_form")
    elif spoil == "other cookie":
        client.set_cookie("advisor_form", "of-somebody-else")
    elif spoil == "foreign origin":
        headers["Origin"] = "http://evil.example"
    elif spoil == "null origin":
        headers["Origin"] = "null"
    else:
        headers["Sec-Fetch-Site"] = "cross-site"
    assert client.post("/tell/soil", data=given, headers=headers).status_code == 403
    assert nothing_written(desk)


def test_the_same_origin_may_write(writing):
    client, desk, _ = writing
    given = {**SOIL, "token": token(client)}
    headers = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    assert client.post("/tell/soil", data=given, headers=headers).status_code == 303
    assert not nothing_written(desk)


def test_a_token_of_an_earlier_service_is_refused_kindly(writing):
    client, _, home = writing
    old = token(client)
    other, desk = demo_client(home)
    other.get("/tell")
    response = other.post("/tell/soil", data={**SOIL, "token": old})
    assert response.status_code == 403 and "Open the page again" in seen(response).words
    assert nothing_written(desk)


def test_a_body_that_is_too_large_is_refused(writing):
    client, desk, _ = writing
    response = client.post(
        "/tell/soil", data={**SOIL, "token": token(client), "note": "x" * (BODY_LIMIT + 1)}
    )
    assert response.status_code == 413 and nothing_written(desk)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "POST"])
def test_pages_are_only_read(client, method):
    assert client.open("/records", method=method).status_code in (403, 405)


@pytest.fixture
def guarded(tmp_path):
    return demo_client(demo_home(tmp_path, members=0), hosts=("lawn.example.org",), word=WORD)


def test_with_a_word_nothing_is_shown_to_a_stranger(guarded):
    client, _ = guarded
    for path in PAGES:
        response = client.get(path)
        assert response.status_code == 303 and response.headers["Location"] == "/enter"
        assert b"Prairie" not in response.get_data()
    assert client.get("/index.json").status_code == 401
    assert client.get("/healthz").status_code == 200
    assert client.get("/", headers={"Host": "lawn.example.org"}).status_code == 303


def test_the_word_opens_the_pages(guarded):
    client, _ = guarded
    wrong = client.post("/enter", data={"token": token(client, "/enter"), "word": "something else"})
    assert wrong.status_code == 401 and "not the word" in wrong.get_data(as_text=True)
    right = client.post("/enter", data={"token": token(client, "/enter"), "word": WORD})
    assert right.status_code == 303 and client.get("/").status_code == 200
    assert WORD not in str(right.headers)


def test_programs_bring_the_word_as_a_bearer_token(guarded):
    client, _ = guarded
    assert client.get("/index.json", headers={"Authorization": f"Bearer {WORD}"}).status_code == 200
    assert client.get("/index.json", headers={"Authorization": "Bearer no"}).status_code == 401


def test_after_some_wrong_words_nobody_may_try_for_a_while(guarded):
    client, _ = guarded
    statuses = [
        client.get("/index.json", headers={"Authorization": f"Bearer {at}"}).status_code for at in range(9)
    ]
    assert statuses == [401] * WRONG_WORDS + [429] * (9 - WRONG_WORDS)
    assert client.get("/index.json", headers={"Authorization": f"Bearer {WORD}"}).status_code == 429


def test_a_pass_of_another_cookie_opens_nothing(guarded):
    client, _ = guarded
    client.post("/enter", data={"token": token(client, "/enter"), "word": WORD})
    client.set_cookie("advisor_form", "another")
    assert client.get("/").status_code == 303


def test_the_style_sheet_asks_for_nothing_outside(client):
    text = client.get("/static/page.css").get_data(as_text=True)
    assert not re.search(r"url\(|@import|expression|https?:", text)
