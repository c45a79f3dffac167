"""Asking over HTTP: what is sent, what is waited for, and what comes of every fault, against a loopback
provider."""

from __future__ import annotations

import gzip
import itertools
import json
import time
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
import responses
from responses.registries import OrderedRegistry
from weather_server import FAULTS, PROVIDERS, WeatherServer, closed_port

from advisor import __version__, transport
from advisor.clock import to_numpy
from advisor.errors import AdvisorError, SourceUnreachable, UsageError, WeatherError
from advisor.forecast import Reason
from advisor.quality import control
from advisor.sources import openmeteo, read_answer
from advisor.sources.request import Request
from advisor.transport import Archived, ask, decide, fetch, fetch_or_keep, lifetime, new_session, user_agent

CONTACT = "keeper@example.org"
PLACE = (41.6, -93.6)
NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
URL = "https://api.example.org/v1/forecast"
#: small for the faults that are waited out, so that their table takes seconds; ample for all others
QUICK = {"timeout": (3.0, 0.5), "deadline": 0.8, "body_limit": 1_000_000}
AMPLE = {"timeout": (5.0, 5.0), "deadline": 20.0, "body_limit": 1_000_000}


@pytest.fixture
def server():
    with WeatherServer() as running:
        yield running


@pytest.fixture
def session():
    with new_session(attempts=1, backoff=0.0) as running:
        yield running


# what comes of every fault


def outcome(provider: str, server: WeatherServer, session, base: str | None = None) -> str:
    """What a person gets: "weather", "unknown: why" or the kind and words of the error."""
    now = datetime.now(UTC)
    patience = QUICK if server is not None and server.fault.startswith("slow") else AMPLE
    try:
        answers = ask(
            provider, *PLACE, contact=CONTACT, base=base or server.base, session=session, **patience
        )
        read = read_answer(
            answers[-1].body, fetched_at=answers[-1].fetched_at, latitude=PLACE[0], longitude=PLACE[1]
        )
    except AdvisorError as error:
        assert error.hint, error
        assert "\n" not in error.what
        kind = "unreachable" if isinstance(error, SourceUnreachable) else "refused"
        return f"{kind}: {error.what}"
    checked = control(read, now)
    wind = checked.reason("wind_speed_10m")[0, 0]
    at = min(max(checked.index(to_numpy(now, "h")), 0), checked.hours - 1)
    if wind[at] != Reason.KNOWN:
        return f"unknown: {Reason(wind[at]).name}"
    assert checked.fields["air_temperature"].known[0, 0, at]
    return "weather" + "".join(f", {warning}" for warning in answers[-1].warnings)


EXPECTED = {
    "": "weather",
    "reset": "unreachable: the connection broke in the middle of the answer",
    "slow-headers": "unreachable: 127.0.0.1",  # ... did not answer in time
    "slow-body": "unreachable: the answer was not complete after 0.8 s",
    "redirect-301": "weather",
    "redirect-loop": "unreachable: 127.0.0.1",  # ... redirects in circles
    "status-203": "weather, the provider says that this address is deprecated or in trial (203)",
    "status-304": "unreachable: the provider says that nothing changed, but was not asked that",
    "status-403": "refused: the provider refuses to answer (status 403)",
    "status-404": "refused: the provider has no forecast for this place (status 404): Unable to provide data",
    "status-429-seconds": "unreachable: the provider says that it was asked too often: Hourly limit exceeded.",
    "status-429-date": "unreachable: the provider says that it was asked too often",
    "status-500": "unreachable: the provider has trouble (status 500): An unexpected problem has occurred.",
    "status-503": "unreachable: the provider has trouble (status 503)",
    "html": "unreachable: the provider sent a web page in place of weather data",
    "html-200-json-type": 'unreachable: the answer is a web page, which says "Access Denied"',
    "truncated": "unreachable: the answer is cut off",
    "short-body": "unreachable: the connection broke in the middle of the answer",
    "invalid-json": "unreachable: the answer is not valid JSON",
    "empty": "unreachable: the answer is empty",
    "wrong-type": 'unreachable: the provider sent something of the kind "image/png"',
    "wrong-units": "unknown: UNIT",
    "nulls": "unknown: STALE",
    "stale": "unknown: STALE",
    "other-place": "refused: the ",  # ... answer is of 44.6000, -93.6000, 334 km from the site
    "huge": "unreachable: the answer is larger than 0.954 MB",
    "gzip-bomb": "unreachable: the answer is larger than 0.954 MB",
    "damaged-gzip": "unreachable: the answer is compressed and damaged",
}
#: a body without any value carries nothing at all at MET Norway, whose missing keys are absent
EXCEPTIONS = {("nulls", "met-norway"): "unknown: NOT_CARRIED"}


def test_the_table_of_faults_is_complete():
    assert set(EXPECTED) == {"", *FAULTS}


@pytest.mark.parametrize(("fault", "provider"), list(itertools.product(EXPECTED, PROVIDERS)))
def test_every_fault_has_a_stated_outcome(fault, provider, server, session):
    server.fault = fault
    expected = EXCEPTIONS.get((fault, provider), EXPECTED[fault])
    assert outcome(provider, server, session).startswith(expected)


@pytest.mark.parametrize("provider", PROVIDERS)
def test_a_refused_connection_says_so(provider, session):
    said = outcome(provider, None, session, base=closed_port())
    assert said.startswith("unreachable: 127.0.0.1")
    assert said.endswith("it refuses connections")


def test_a_name_that_is_not_known_says_so(session):
    request = Request("http://nowhere.invalid/v1/forecast")  # reserved by RFC 2606, never resolves
    with pytest.raises(SourceUnreachable, match="nowhere.invalid cannot be reached"):
        fetch(request, contact=CONTACT, session=session, timeout=(0.5, 0.5))


def test_the_words_of_an_error_name_the_address_without_its_query(server, session):
    server.fault = "status-503"
    with pytest.raises(SourceUnreachable) as raised:
        ask("open-meteo", *PLACE, contact=CONTACT, base=server.base, session=session)
    assert raised.value.problems[0].where == f"{server.base}/v1/forecast"


# the order of answers


def test_one_good_answer_after_a_fault_is_taken(server):
    with new_session(attempts=2, backoff=0.0) as session:
        server.faults = ["status-503", "status-500"]
        answers = ask("open-meteo", *PLACE, contact=CONTACT, base=server.base, session=session)
    assert answers[-1].status == 200
    assert len(server.requests) == 3


def test_a_connection_that_broke_in_the_middle_is_tried_once_more(server, session):
    server.faults = ["short-body"]
    (answer,) = ask("open-meteo", *PLACE, contact=CONTACT, base=server.base, session=session)
    assert json.loads(answer.body)["elevation"] == 262.0


def test_the_national_weather_service_is_asked_for_the_cell_and_then_for_its_layers(server, session):
    answers = ask("nws", *PLACE, contact=CONTACT, base=server.base, session=session)
    assert [path for path, _ in server.requests] == ["/points/41.6,-93.6", "/gridpoints/TST/12,34"]
    assert [answer.status for answer in answers] == [200, 200]


def test_a_kept_cell_that_is_gone_is_asked_for_anew(server, session):
    first = ask("nws", *PLACE, contact=CONTACT, base=server.base, session=session)
    shelf = {answer.url: answer.archived() for answer in first[:1]}
    server.requests.clear()
    server.faults = ["status-404"]
    ask("nws", *PLACE, contact=CONTACT, base=server.base, session=session, kept=shelf.get)
    paths = [path for path, _ in server.requests]
    assert paths == ["/gridpoints/TST/12,34", "/points/41.6,-93.6", "/gridpoints/TST/12,34"]


def test_a_fresh_cell_that_is_gone_is_an_error(server, session):
    server.fault = "status-404"
    with pytest.raises(WeatherError, match="no forecast for this place"):
        ask("nws", *PLACE, contact=CONTACT, base=server.base, session=session)
    assert len(server.requests) == 2


# what is sent


def test_every_request_names_the_program_and_a_contact(server, session):
    for provider in PROVIDERS:
        ask(provider, *PLACE, contact="keeper@example.org", base=server.base, session=session)
    agents = {headers["User-Agent"] for _, headers in server.requests}
    assert agents == {f"application-window-advisor/{__version__} (keeper@example.org)"}


def test_the_national_weather_service_is_always_asked_for_the_same_format(server, session):
    ask("nws", *PLACE, contact=CONTACT, base=server.base, session=session)
    assert {headers["Accept"] for _, headers in server.requests} == {"application/geo+json"}


@pytest.mark.parametrize("contact", ["", "   ", "me", None, "a@b", "someone at home"])
def test_without_a_contact_nothing_is_asked(contact, server, session):
    with pytest.raises(UsageError, match="no contact is set"):
        ask("met-norway", *PLACE, contact=contact, base=server.base, session=session)
    assert server.requests == []


def test_a_contact_cannot_smuggle_a_header():
    assert "\n" not in user_agent("a@example.org\r\nX-Evil: 1")


def test_a_line_of_variables_keeps_its_commas(server, session):
    ask("open-meteo", *PLACE, contact=CONTACT, base=server.base, session=session)
    ((path, _),) = server.requests
    assert "hourly=temperature_2m,relative_humidity_2m,dew_point_2m," in path


@pytest.mark.parametrize("url", ["file:///etc/passwd", "ftp://example.org/x", "api.example.org/x"])
def test_only_web_addresses_are_asked(url):
    with pytest.raises(UsageError, match="not an address of the web"):
        fetch(Request(url), contact=CONTACT)


def test_the_key_of_a_customer_is_sent_and_never_shown(server, session):
    request = openmeteo.forecast_request(*PLACE, base=server.base, api_key="s3cret")
    answer = fetch(request, contact=CONTACT, session=session)
    assert "apikey=s3cret" in server.requests[0][0]
    assert "s3cret" not in repr(answer.url)
    server.fault = "status-500"
    with pytest.raises(SourceUnreachable) as raised:
        fetch(request, contact=CONTACT, session=session)
    assert "s3cret" not in str(raised.value)


# keeping and asking again


def test_an_answer_within_its_lifetime_is_not_asked_for(server, session):
    server.cache_headers = {"Cache-Control": "public, max-age=282", "ETag": '"a1"'}
    request = openmeteo.forecast_request(*PLACE, base=server.base)
    first = fetch(request, contact=CONTACT, session=session)
    again = fetch(request, contact=CONTACT, session=session, previous=first.archived())
    assert (first.origin, again.origin) == ("network", "kept")
    assert again.body == first.body and again.sha256 == first.sha256
    assert again.fetched_at == first.fetched_at  # its age counts from when it was fetched
    assert len(server.requests) == 1


def test_after_its_lifetime_it_is_asked_whether_it_changed(server, session):
    server.cache_headers = {
        "Cache-Control": "max-age=60",
        "ETag": '"a1"',
        "Last-Modified": "Mon, 01 Jun 2026 11:00:00 GMT",
    }
    request = openmeteo.forecast_request(*PLACE, base=server.base)
    first = fetch(request, contact=CONTACT, session=session, now=NOON)
    later = NOON + timedelta(minutes=2)
    again = fetch(request, contact=CONTACT, session=session, previous=first.archived(), now=later)
    assert again.origin == "revalidated"
    assert again.body == first.body
    assert again.fetched_at == later
    sent = server.requests[1][1]
    assert sent["If-None-Match"] == '"a1"'
    assert sent["If-Modified-Since"] == "Mon, 01 Jun 2026 11:00:00 GMT"
    assert again.archived().headers["etag"] == '"a1"'


def test_a_changed_answer_replaces_the_kept_one(server, session):
    server.cache_headers = {"Cache-Control": "max-age=0", "ETag": '"a1"'}
    request = openmeteo.forecast_request(*PLACE, base=server.base)
    first = fetch(request, contact=CONTACT, session=session, now=NOON)
    server.cache_headers = {"ETag": '"a2"'}
    again = fetch(request, contact=CONTACT, session=session, previous=first.archived(), now=NOON)
    assert again.origin == "network"
    assert again.headers["etag"] == '"a2"'


def test_a_provider_out_of_reach_gives_the_kept_answer_with_a_warning_and_its_old_age(server, session):
    request = openmeteo.forecast_request(*PLACE, base=server.base)
    first = fetch(request, contact=CONTACT, session=session, now=NOON)
    server.fault = "status-503"
    later = NOON + timedelta(hours=5)
    kept = fetch_or_keep(request, previous=first.archived(), contact=CONTACT, session=session, now=later)
    assert (kept.origin, kept.fetched_at) == ("kept", NOON)
    assert "trouble" in kept.warnings[0]
    with pytest.raises(SourceUnreachable):
        fetch_or_keep(request, previous=None, contact=CONTACT, session=session, now=later)


def archived(minutes_old: float = 0.0, **headers: str) -> Archived:
    return Archived(
        b"{}",
        NOON - timedelta(minutes=minutes_old),
        URL,
        200,
        {k.replace("_", "-"): v for k, v in headers.items()},
    )


@pytest.mark.parametrize(
    ("kept", "action"),
    [
        (None, "ask"),
        (archived(1), "use"),  # no headers: half an hour
        (archived(29), "use"),
        (archived(31), "ask"),
        (archived(31, etag='"x"'), "revalidate"),
        (archived(31, last_modified="Mon, 01 Jun 2026 09:00:00 GMT"), "revalidate"),
        (archived(4, cache_control="public, max-age=282, s-maxage=3600"), "use"),
        (archived(5, cache_control="public, max-age=282, s-maxage=3600"), "ask"),
        (archived(4, cache_control="max-age=282", age="200"), "ask"),  # already 200 s old when it came
        (archived(1, cache_control="no-cache", etag='"x"'), "revalidate"),
        (archived(1, cache_control="no-store"), "ask"),
        (archived(1, expires="0"), "ask"),
        (archived(20, date="Mon, 01 Jun 2026 20:00:00 GMT", expires="Mon, 01 Jun 2026 20:31:00 GMT"), "use"),
        (archived(32, date="Mon, 01 Jun 2026 20:00:00 GMT", expires="Mon, 01 Jun 2026 20:31:00 GMT"), "ask"),
        (archived(1500, cache_control="max-age=99999999"), "ask"),  # no header is believed beyond a day
        (archived(-90), "ask"),  # kept under a clock that was ahead
        (Archived(b"{}", NOON, "https://api.example.org/other", 200, {}), "ask"),
        (Archived(b"{}", NOON, URL, 404, {}), "ask"),
    ],
)
def test_what_is_done_about_a_kept_answer(kept, action):
    assert decide(kept, URL, NOON).action == action


def test_by_force_a_fresh_answer_is_asked_for_again():
    assert decide(archived(1, etag='"x"'), URL, NOON, force=True).action == "revalidate"


def test_a_header_that_is_broken_states_no_lifetime():
    for headers in (
        {"expires": "soon", "date": "x"},
        {"cache-control": "max-age=soon"},
        {"cache-control": ",,="},
        {},
    ):
        assert lifetime(headers) in (None, timedelta(0))


# waiting and trying again, on statuses


def told(*statuses, **headers) -> None:
    for status in statuses:
        extra = headers if status in (429, 503) else {}
        responses.get(
            URL, status=status, json={"ok": True}, headers={k.replace("_", "-"): v for k, v in extra.items()}
        )


@pytest.fixture
def naps(monkeypatch):
    """What would have been slept between tries [s]; nothing is."""
    slept: list[float] = []
    clock = SimpleNamespace(sleep=slept.append, time=time.time, monotonic=time.monotonic)
    monkeypatch.setattr("urllib3.util.retry.time", clock)
    return slept


@responses.activate(registry=OrderedRegistry)
def test_503_and_429_are_tried_again():
    told(503, 429, 200, Retry_After="1")
    answer = fetch(Request(URL), contact=CONTACT, session=new_session())
    assert answer.status == 200
    responses.assert_call_count(URL, 3)


def test_it_waits_as_long_as_it_is_asked_to(server, naps):
    server.retry_after = "7"
    server.faults = ["status-429-seconds", "status-429-seconds"]
    (answer,) = ask("open-meteo", *PLACE, contact=CONTACT, base=server.base)
    assert answer.status == 200
    assert naps == [7, 7]


@responses.activate(registry=OrderedRegistry)
@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_each_status_that_may_pass_is_tried_again(status):
    told(status, 200)
    assert fetch(Request(URL), contact=CONTACT, session=new_session()).status == 200


@responses.activate(registry=OrderedRegistry)
@pytest.mark.parametrize("status", [400, 401, 403, 404, 422])
def test_a_status_that_will_not_pass_is_not_tried_again(status):
    told(status)
    with pytest.raises(WeatherError) as raised:
        fetch(Request(URL), contact=CONTACT, session=new_session())
    assert not isinstance(raised.value, SourceUnreachable)
    responses.assert_call_count(URL, 1)


@responses.activate(registry=OrderedRegistry)
def test_it_gives_up_after_four_tries():
    told(500, 500, 500, 500)
    with pytest.raises(SourceUnreachable, match="trouble"):
        fetch(Request(URL), contact=CONTACT, session=new_session())
    responses.assert_call_count(URL, 4)


def test_the_pauses_between_tries_grow_and_stay_short(server, naps):
    server.fault = "status-500"
    with pytest.raises(SourceUnreachable):
        ask("open-meteo", *PLACE, contact=CONTACT, base=server.base)
    assert len(server.requests) == 4
    assert naps == sorted(naps)
    assert 0.5 < max(naps) < 3.0


def test_a_wait_longer_than_a_minute_is_reported_and_not_waited_for(server, naps):
    server.retry_after = "3600"
    server.fault = "status-429-seconds"
    with pytest.raises(SourceUnreachable) as raised:
        ask("open-meteo", *PLACE, contact=CONTACT, base=server.base)
    assert "wait 60 minutes" in raised.value.hint
    assert len(server.requests) == 1
    assert naps == []


def test_a_wait_until_a_date_is_understood(server, naps):
    until = datetime.now(UTC) + timedelta(seconds=20)
    server.retry_after = until.strftime("%a, %d %b %Y %H:%M:%S GMT")
    server.faults = ["status-429-seconds"]
    assert ask("open-meteo", *PLACE, contact=CONTACT, base=server.base)[0].status == 200
    assert naps == [pytest.approx(20, abs=2)]


@responses.activate(registry=OrderedRegistry)
def test_a_wait_that_cannot_be_read_is_no_crash():
    told(429, 200, Retry_After="in a while")
    assert fetch(Request(URL), contact=CONTACT, session=new_session()).status == 200


@responses.activate(registry=OrderedRegistry)
@pytest.mark.parametrize(
    "kind",
    [
        "application/json",
        "application/geo+json",
        "application/ld+json",
        "text/plain; charset=utf-8",
        "text/json",
    ],
)
def test_json_may_come_under_several_kinds(kind):
    responses.get(URL, body='{"ok": true}', content_type=kind)
    assert fetch(Request(URL), contact=CONTACT, session=new_session()).body == b'{"ok": true}'


@responses.activate(registry=OrderedRegistry)
def test_an_error_page_of_a_gate_is_not_quoted():
    responses.get(
        URL, status=403, body="<html><body>Reference #18.2 secret</body></html>", content_type="text/html"
    )
    with pytest.raises(WeatherError) as raised:
        fetch(Request(URL), contact=CONTACT, session=new_session())
    assert "Reference" not in str(raised.value)


@responses.activate(registry=OrderedRegistry)
def test_encryption_is_not_given_up_for_a_redirect():
    responses.get(URL, status=301, headers={"Location": "http://api.example.org/plain"})
    responses.get("http://api.example.org/plain", json={"ok": True})
    with pytest.raises(SourceUnreachable, match="without encryption"):
        fetch(Request(URL), contact=CONTACT, session=new_session())


@responses.activate(registry=OrderedRegistry)
@pytest.mark.parametrize("target", ["file:///etc/passwd", "ftp://example.org/x"])
def test_a_redirect_to_anything_but_the_web_is_refused(target):
    responses.get(URL, status=302, headers={"Location": target})
    with pytest.raises(SourceUnreachable, match="redirects to something|failed"):
        fetch(Request(URL), contact=CONTACT, session=new_session(attempts=0))


def test_a_compressed_answer_is_kept_uncompressed(server, session):
    raw = gzip.compress(b'{"ok": true}')
    with responses.RequestsMock() as mocked:
        mocked.get(URL, body=raw, headers={"Content-Encoding": "gzip"}, content_type="application/json")
        assert fetch(Request(URL), contact=CONTACT, session=session).body == b'{"ok": true}'


def test_a_trickle_does_not_outlast_the_deadline(server, session):
    server.fault = "slow-body"  # a byte each 20 ms, never silent for long
    started = time.monotonic()
    with pytest.raises(SourceUnreachable, match="not complete after"):
        ask(
            "open-meteo",
            *PLACE,
            contact=CONTACT,
            base=server.base,
            session=session,
            timeout=(1, 1),
            deadline=0.3,
        )
    assert time.monotonic() - started < 3.0


def test_the_defaults_are_those_that_are_documented():
    from advisor.transport import asking, wire

    assert asking.TIMEOUT == (3.05, 20.0)
    assert asking.BODY_LIMIT == 16 * 1024 * 1024
    assert wire.LONGEST_WAIT == 60.0
    assert set(transport.__all__) >= {"fetch", "ask", "decide"}
