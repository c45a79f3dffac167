"""Where a redirection may lead, and how long a whole answer may take, over real sockets on the loopback address."""

from __future__ import annotations

import contextlib
import socket
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from advisor.errors import SourceUnreachable
from advisor.sources.request import Request
from advisor.transport import fetch, new_session
from advisor.transport.guarded import WATCH, Watch, place, watched
from advisor.transport.wire import MOST_REDIRECTIONS

CONTACT = "keeper@example.org"


class Server:
    """Leads from /0 to `target`; /good has an answer; counts who asked for what."""

    def __init__(self, host: str = "127.0.0.1"):
        self.target, self.asked = "", []
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):  # noqa: N802
                outer.asked.append((self.headers["Host"], self.path))
                body = b'{"ok": true}'
                self.send_response(200 if self.path == "/good" else 302)
                if self.path != "/good":
                    self.send_header("Location", outer.target)
                self.send_header("Content-Type", "application/json")
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_):
                pass

        kind = type("Six", (ThreadingHTTPServer,), {"address_family": socket.AF_INET6}) if ":" in host else (
            ThreadingHTTPServer)  # fmt: skip
        self.server = kind((host, 0), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_port
        self.base = f"http://[{host}]:{self.port}" if ":" in host else f"http://{host}:{self.port}"
        threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True).start()

    def close(self):
        self.server.shutdown()
        self.server.server_close()


@pytest.fixture
def servers():
    made = []

    def make(host="127.0.0.1"):
        made.append(Server(host))
        return made[-1]

    yield make
    for one in made:
        one.close()


def asked(address: str, **options):
    with new_session(attempts=0) as session:
        return fetch(Request(address), contact=CONTACT, session=session, timeout=(2.0, 2.0), **options)


def test_the_same_host_may_send_us_on_to_itself(servers):
    one = servers()
    for target in ("/good", f"{one.base}/good", "good"):
        one.target = target
        assert asked(f"{one.base}/0").body == b'{"ok": true}'


@pytest.mark.parametrize(
    "written", ["127.0.0.1", "localhost", "127.1", "2130706433", "0x7f000001", "[::ffff:127.0.0.1]"]
)
def test_another_port_of_this_computer_is_never_asked(servers, written):
    one, other = servers(), servers()
    one.target = f"http://{written}:{other.port}/good"
    with pytest.raises(SourceUnreachable, match="not public|no web address") as raised:
        asked(f"{one.base}/0")
    assert other.asked == [] and raised.value.hint


@pytest.mark.parametrize("target", ["http://10.0.0.1/", "http://169.254.169.254/latest", "http://192.168.1.1/", "http://[::1]/",
                                    "http://[fe80::1]/", "http://[64:ff9b::a9fe:a9fe]/", "http://0/"])  # fmt: skip
def test_the_house_and_the_machine_are_not_reached_through_a_redirection(servers, target):
    one = servers()
    one.target = target
    started = time.monotonic()
    with pytest.raises(SourceUnreachable, match="not public|no web address"):
        asked(f"{one.base}/0")
    assert time.monotonic() - started < 1.0, "it was refused, not tried"


def answers_of(monkeypatch, *rounds: list[str]):
    """Name look-ups of "lookalike.example" give these numbers, one list after the other; all others are real."""
    real, looked = socket.getaddrinfo, []

    def look_up(host, port, *arguments, **options):
        if host != "lookalike.example":
            return real(host, port, *arguments, **options)
        looked.append(host)
        numbers = rounds[min(len(looked), len(rounds)) - 1]
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (number, port)) for number in numbers]

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    return looked


def test_a_name_of_a_private_number_is_found_out_when_it_is_looked_up(servers, monkeypatch):
    one, other = servers(), servers()
    answers_of(monkeypatch, ["127.0.0.1"])
    one.target = f"http://lookalike.example:{other.port}/good"
    with pytest.raises(SourceUnreachable, match="lookalike.example is 127.0.0.1"):
        asked(f"{one.base}/0")
    assert other.asked == []


def test_one_private_number_among_public_ones_is_enough(servers, monkeypatch):
    one, other = servers(), servers()
    answers_of(monkeypatch, ["8.8.8.8", "127.0.0.1"])
    one.target = f"http://lookalike.example:{other.port}/good"
    with pytest.raises(SourceUnreachable, match="not public"):
        asked(f"{one.base}/0")
    assert other.asked == []


def test_the_connection_goes_to_the_very_number_that_was_judged(servers, monkeypatch):
    """A name that changes its number between the judging and the connecting gains nothing."""
    one, other = servers(), servers()
    looked = answers_of(monkeypatch, ["8.8.8.8"], ["127.0.0.1"])
    connected = []

    def connect(address, *arguments, **options):
        connected.append(address[0])
        raise TimeoutError

    monkeypatch.setattr("urllib3.util.connection.create_connection", connect)
    with watched("http://127.0.0.1:1/", 5.0), new_session(attempts=0) as session, pytest.raises(Exception):  # noqa: B017
        session.get(f"http://lookalike.example:{other.port}/good", timeout=1.0)
    assert connected == ["8.8.8.8"] and looked == ["lookalike.example"] and other.asked == []
    assert one.asked == []


def test_an_address_of_version_six_may_be_ones_own(servers):
    try:
        one = servers("::1")
    except OSError:
        pytest.skip("this computer has no IPv6")
    one.target = f"{one.base}/good"
    assert asked(f"{one.base}/0").body == b'{"ok": true}'


def test_the_port_for_encryption_of_the_same_host_is_its_own_too():
    assert Watch(place("http://mirror.example/"), 1.0).own == (
        ("mirror.example", 80),
        ("mirror.example", 443),
    )
    assert Watch(place("http://mirror.example:81/"), 1.0).own == (("mirror.example", 81),)


def test_circles_end(servers):
    one = servers()
    one.target = "/again"
    with pytest.raises(SourceUnreachable, match="in circles"):
        asked(f"{one.base}/0")
    assert len(one.asked) == MOST_REDIRECTIONS + 1


def test_a_head_that_trickles_does_not_outlast_the_deadline():
    """A byte each 50 ms: no wait for a byte is ever long, the head never ends."""
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def drip():
            while True:
                try:
                    connection, _ = listening.accept()
                    with connection:
                        connection.recv(4096)
                        connection.sendall(b"HTTP/1.1 200 OK\r\nX-Long: ")
                        for _ in range(200):
                            connection.sendall(b"x")
                            time.sleep(0.05)
                except OSError:
                    if listening.fileno() == -1:
                        return

        threading.Thread(target=drip, daemon=True).start()
        started = time.monotonic()
        with pytest.raises(SourceUnreachable, match="not complete after 0.4 s"):
            asked(f"http://127.0.0.1:{listening.getsockname()[1]}/", deadline=0.4)
        assert time.monotonic() - started < 3.0
    assert WATCH.get() is None


def test_the_body_of_a_redirection_is_not_read():
    """An answer that leads on needs no body: one without end must not fill the memory."""
    sent = 0
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def speak():
            nonlocal sent
            connection, _ = listening.accept()
            with connection, contextlib.suppress(OSError):
                connection.recv(4096)
                connection.sendall(b"HTTP/1.1 302 Found\r\nLocation: http://10.0.0.1/\r\n\r\n")
                for _ in range(1000):
                    sent += connection.send(b"x" * 65536)

        thread = threading.Thread(target=speak, daemon=True)
        thread.start()
        with pytest.raises(SourceUnreachable, match="not public"):
            asked(f"http://127.0.0.1:{listening.getsockname()[1]}/", deadline=5.0)
        thread.join(5.0)
    assert sent < 20_000_000, "what fits into the buffers of the system, not 65 MB"


@pytest.mark.parametrize(
    "target", ["http://[", "http://[::1", "\x00", "http://a:b:c/", "http://\u2100.example/"]
)
def test_a_redirection_that_cannot_be_read_is_told_as_one(servers, target):
    one = servers()
    one.target = target.encode("utf-8", "surrogateescape").decode("latin-1")
    with pytest.raises(SourceUnreachable):
        asked(f"{one.base}/0")
