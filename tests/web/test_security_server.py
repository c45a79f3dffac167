"""What the server does before a page sees a request: names, first lines, patience. RFC 9112 where it is named."""

from __future__ import annotations

import contextlib
import socket
import time

import pytest

from advisor.service.clocks import SetClock
from advisor.service.household import HouseholdService
from advisor.web import channel, open_page
from advisor.web.security import HEADERS, host_name
from tests.demo_page import NOW, demo_home


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    home = demo_home(tmp_path_factory.mktemp("server"), members=0)
    with open_page(HouseholdService.open(home), SetClock(NOW), None, host="localhost", port=0) as opened:
        yield opened


def said(page, text: str, seconds: float = 5.0) -> str:
    with socket.create_connection(("127.0.0.1", page.port), timeout=seconds) as connection:
        connection.sendall(text.encode("latin-1"))
        whole = b""
        # what was sent and not read makes the system break the connection off behind the answer
        with contextlib.suppress(ConnectionResetError):
            while piece := connection.recv(65536):
                whole += piece
    return whole.decode("utf-8", "replace")


def test_a_name_with_several_addresses_has_one_port(page):
    assert page.port > 0 and page.address == f"http://localhost:{page.port}/"
    assert said(page, "GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").startswith(
        "HTTP/1.1 200"
    )


# RFC 9112, 3.2.2: a host in the first line counts, and the Host header is to be ignored
@pytest.mark.parametrize(
    ("first", "host", "status"),
    [
        ("http://localhost/healthz", "evil.example", 200),
        ("http://evil.example/healthz", "localhost", 421),
        ("/healthz", "localhost", 200),
        ("http://[/healthz", "localhost", 400),
    ],
)
def test_a_host_in_the_first_line_counts(page, first, host, status):
    answer = said(page, f"GET {first} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n")
    assert answer.startswith(f"HTTP/1.1 {status}"), answer[:60]


@pytest.mark.parametrize(
    "request_text", ["nonsense\r\n\r\n", "GET / HTTP/1.1\r\nX: " + "y" * 20_000 + "\r\n\r\n"]
)
def test_what_the_server_itself_refuses_has_the_same_headers(page, request_text):
    answer = said(page, request_text)
    assert answer.startswith("HTTP/1.0 4") or answer.startswith("HTTP/1.1 4")
    assert all(f"{name}: {value}\r\n" in answer for name, value in HEADERS.items())


@pytest.mark.parametrize(
    "host",
    [
        "",
        "localhost:",
        "localhost:x",
        "localhost:80:80",
        "[::1",
        "::1",
        "[::1]x",
        "a b",
        "a,b",
        "a/b",
        "a@b",
        "\xe9",
        "a\nb",
    ],
)
def test_what_is_no_host(host):
    assert host_name(host) == ""


def test_one_dot_behind_a_name_belongs_to_it_and_two_do_not():
    assert host_name("localhost.") == "localhost" and host_name("localhost..") == "localhost."


@pytest.mark.parametrize(
    "beginning",
    ["GET / HTTP/1.1\r\nX: ", "POST /tell/soil HTTP/1.1\r\nHost: localhost\r\nContent-Length: 900\r\n\r\n"],
)
def test_a_request_has_a_bounded_time(page, monkeypatch, beginning):
    monkeypatch.setattr(channel, "REQUEST_SECONDS", 0.3)
    with socket.create_connection(("127.0.0.1", page.port), timeout=5.0) as connection:
        connection.sendall(beginning.encode())
        began = time.monotonic()
        with pytest.raises(OSError):
            while time.monotonic() - began < 5.0:
                connection.sendall(b"x")
                time.sleep(0.05)
        assert time.monotonic() - began < 3.0


def test_a_connection_may_be_used_again_after_a_while(page, monkeypatch):
    """The time is that of a request, not of a connection."""
    monkeypatch.setattr(channel, "REQUEST_SECONDS", 1.0)
    request = b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n"
    with socket.create_connection(("127.0.0.1", page.port), timeout=5.0) as connection:
        for _ in range(2):
            connection.sendall(request[:20])
            time.sleep(0.1)
            connection.sendall(request[20:])
            answer = b""
            while not answer.endswith(b"\r\n\r\nok\n"):
                piece = connection.recv(65536)
                assert piece, "the connection was ended"
                answer += piece
            assert answer.startswith(b"HTTP/1.1 200")
            time.sleep(1.1)
