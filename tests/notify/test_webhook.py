"""The webhook against a real HTTP receiver on the loopback address."""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import socket
import struct
import threading
import time
from datetime import date, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from advisor.errors import InvalidFile, NotDelivered
from advisor.notify import Message, deliver_due
from advisor.notify.channels.webhook import WebhookChannel, from_settings, verify
from advisor.store import outbox
from advisor.store.masking import Secret

SECRET = Secret("0123456789abcdef0123456789abcdef")


class Receiver:
    """Answers with `statuses` one after the other, the last one again and again; keeps what arrived."""

    def __init__(self):
        self.statuses, self.requests, self.hang, self.reset = [200], [], 0.0, False
        self.retry_after = ""
        outer = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self):  # noqa: N802
                body = self.rfile.read(int(self.headers["Content-Length"]))
                outer.requests.append((self.path, dict(self.headers), body))
                time.sleep(outer.hang)
                if outer.reset:
                    self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                    self.connection.close()
                    return
                status = outer.statuses.pop(0) if len(outer.statuses) > 1 else outer.statuses[0]
                self.send_response(status)
                if outer.retry_after:
                    self.send_header("Retry-After", outer.retry_after)
                if 300 <= status < 400:
                    self.send_header("Location", f"http://127.0.0.1:{outer.port}/elsewhere")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_):
                pass

            def handle_one_request(self):
                try:
                    super().handle_one_request()
                except OSError:
                    self.close_connection = True

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.port = self.server.server_port
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def url(self):
        return f"http://127.0.0.1:{self.port}/notices?token=sesame"


@pytest.fixture
def receiver():
    one = Receiver()
    yield one
    one.server.shutdown()
    one.server.server_close()


@pytest.fixture
def message(now):
    return Message(
        "n-0123456789abcdef", "Go, front", "Go on Friday, 72 °F.", "<p>Go</p>", created_at=now, kind="evening",
        local_date=date(2026, 9, 20),
    )  # fmt: skip


def hook(url, **changes):
    return WebhookChannel(url, SECRET, "hook", **{"timeout": (1.0, 0.5), **changes})


def test_a_notice_arrives_as_json_signed_with_the_secret(receiver, message):
    hook(receiver.url).send(message)
    ((path, headers, body),) = receiver.requests
    assert path == "/notices?token=sesame"
    assert json.loads(body) == {
        "schema": "advisor.notice/1", "id": message.id, "kind": "evening", "local_date": "2026-09-20",
        "created_at": "2026-09-20T23:30:00Z", "subject": "Go, front", "text": "Go on Friday, 72 °F.",
        "html": "<p>Go</p>",
    }  # fmt: skip
    assert headers["Advisor-Notice-Id"] == message.id
    # RFC 2104, worked out here from the parts, without the code under test
    signed = headers["Advisor-Timestamp"].encode() + b"\n" + message.id.encode() + b"\n" + body
    digest = hmac.new(SECRET.reveal().encode(), signed, hashlib.sha256).hexdigest()
    assert headers["Advisor-Signature"] == f"hmac-sha256 {digest}"
    assert abs(time.time() - int(headers["Advisor-Timestamp"])) < 10
    assert verify(SECRET, headers, body, time.time())


def test_a_receiver_finds_out_what_was_changed_or_is_old(receiver, message):
    hook(receiver.url).send(message)
    ((_, headers, body),) = receiver.requests
    now = time.time()
    assert not verify(SECRET, headers, body + b" ", now)
    assert not verify(Secret("another secret of 32 characters."), headers, body, now)
    assert not verify(SECRET, {**headers, "Advisor-Notice-Id": "n-other"}, body, now)
    assert not verify(SECRET, {**headers, "Advisor-Timestamp": str(int(now) - 200)}, body, now)
    assert not verify(SECRET, headers, body, now + 3600)
    assert not verify(SECRET, {}, body, now)
    assert not verify(SECRET, {**headers, "Advisor-Signature": "hmac-sha256 é"}, body, now)
    assert verify(SECRET, headers, body, now)


# RFC 9110, 15: 4xx is the sender's fault, 5xx may pass; RFC 6585: 429 asks to wait; RFC 9110, 15.5.9: 408
@pytest.mark.parametrize(
    ("status", "permanent"),
    [(301, True), (308, True), (400, True), (401, True), (404, True), (410, True), (408, False), (425, False),
     (429, False), (500, False), (502, False), (503, False)],
)  # fmt: skip
def test_answers_that_refuse(receiver, message, status, permanent):
    receiver.statuses = [status]
    with pytest.raises(NotDelivered, match=str(status)) as caught:
        hook(receiver.url).send(message)
    assert caught.value.permanent is permanent
    assert len(receiver.requests) == 1, "redirections are not followed"
    assert "sesame" not in str(caught.value)


# RFC 9110, 10.2.3: seconds or a date; with 503 and, by RFC 6585, 429
@pytest.mark.parametrize(
    ("status", "asked", "seconds"),
    [(503, "120", 120), (429, "120", 120), (503, "", 0), (503, "soon", 0), (503, "-5", 0), (400, "120", 0),
     (503, "999999999", 999_999_999), (503, "Mon, 21 Sep 2026 00:10:00 GMT", 600),
     (503, "Sun, 20 Sep 2026 00:00:00 GMT", 0)],
)  # fmt: skip
def test_a_receiver_may_ask_for_more_time(receiver, message, status, asked, seconds):
    receiver.statuses, receiver.retry_after = [status], asked
    midnight = 1_789_948_800.0  # 2026-09-21T00:00Z
    with pytest.raises(NotDelivered) as caught:
        hook(receiver.url, clock=lambda: midnight).send(message)
    assert caught.value.not_before == seconds


@pytest.mark.parametrize(
    ("asked", "minutes"), [("", 1), ("30", 1), ("600", 10), ("3600", 60), ("86400", 60), ("999999999", 60)]
)
def test_the_outbox_waits_as_long_as_it_is_asked_to_up_to_its_longest_wait(store, put, now, receiver, asked, minutes):
    receiver.statuses, receiver.retry_after = [503], asked
    put("front", "hook")
    assert deliver_due(store, [hook(receiver.url)], now).postponed == 1
    (row,) = outbox.listing(store)
    assert row.next_try_at - now == timedelta(minutes=minutes)
    receiver.statuses = [200]
    assert deliver_due(store, [hook(receiver.url)], now + timedelta(minutes=minutes, seconds=-1)).sent == 0
    assert deliver_due(store, [hook(receiver.url)], now + timedelta(minutes=minutes)).sent == 1


def test_a_head_that_trickles_does_not_hold_the_delivery_up(message):
    """A byte each 50 ms, for ever: whether it was taken is not known, and is told so in time."""
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def drip():
            connection, _ = listening.accept()
            with connection, contextlib.suppress(OSError):
                connection.recv(65536)
                connection.sendall(b"HTTP/1.1 ")
                for _ in range(200):
                    connection.sendall(b"x")
                    time.sleep(0.05)

        threading.Thread(target=drip, daemon=True).start()
        started = time.monotonic()
        with pytest.raises(RuntimeError, match="after the notice was sent"):
            hook(f"http://127.0.0.1:{listening.getsockname()[1]}/", deadline=0.4).send(message)
        assert time.monotonic() - started < 3.0


@pytest.mark.parametrize("status", [200, 201, 202, 204])
def test_answers_that_take_it(receiver, message, status):
    receiver.statuses = [status]
    hook(receiver.url).send(message)


def test_nobody_listens(message):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    with pytest.raises(NotDelivered, match="no connection") as caught:
        hook(f"http://127.0.0.1:{port}/").send(message)
    assert not caught.value.permanent


def test_no_such_name(message):
    with pytest.raises(NotDelivered, match="no connection"):
        hook("http://nowhere.invalid/").send(message)


@pytest.mark.parametrize("trouble", ["hang", "reset"])
@pytest.mark.parametrize("drops_repeats", [False, True])
def test_what_broke_off_is_sent_again_only_to_a_receiver_that_drops_repeats(
    receiver, store, put, now, trouble, drops_repeats
):
    setattr(receiver, trouble, 1.5 if trouble == "hang" else True)
    channel = hook(receiver.url, drops_repeats=drops_repeats)
    put("front", "hook")
    report = deliver_due(store, [channel], now)
    assert (report.uncertain, report.postponed) == ((0, 1) if drops_repeats else (1, 0))
    receiver.hang, receiver.reset = 0.0, False
    for row in outbox.listing(store):
        deliver_due(store, [channel], row.next_try_at)
    states = {row.state for row in outbox.listing(store)}
    assert states == ({"sent"} if drops_repeats else {"uncertain"})
    ids = [headers["Advisor-Notice-Id"] for _, headers, _ in receiver.requests]
    assert len(set(ids)) == 1 and len(ids) == (2 if drops_repeats else 1)


def test_it_backs_off_and_arrives_once(receiver, store, put, now):
    receiver.statuses = [503, 429, 200]
    channel = hook(receiver.url)
    put("front", "hook")
    for _ in range(5):
        row = outbox.listing(store)[0]
        deliver_due(store, [channel], row.next_try_at)
    assert outbox.listing(store)[0].state == "sent" and outbox.listing(store)[0].attempts == 3
    assert len(receiver.requests) == 3
    moments = [int(headers["Advisor-Timestamp"]) for _, headers, _ in receiver.requests]
    assert moments == sorted(moments)


def test_an_endless_answer_is_not_read(message):
    """A receiver that never stops talking does not hold the service up."""
    listening = socket.create_server(("127.0.0.1", 0))
    ended = threading.Event()

    def talk():
        connection, _ = listening.accept()
        connection.recv(65536)
        connection.sendall(b"HTTP/1.1 200 OK\r\nContent-Type: text/plain\r\n\r\n")
        try:
            while not ended.is_set():
                connection.sendall(b"x" * 65536)
        except OSError:
            pass
        connection.close()

    thread = threading.Thread(target=talk, daemon=True)
    thread.start()
    started = time.monotonic()
    hook(f"http://127.0.0.1:{listening.getsockname()[1]}/").send(message)
    assert time.monotonic() - started < 3.0
    ended.set()
    thread.join(3)
    listening.close()


def settings(tmp_path, **changes):
    (tmp_path / "secret").write_text(SECRET.reveal() + "\n")
    (tmp_path / "secret").chmod(0o600)
    return {"kind": "webhook", "url": "https://example.org/notices", "secret_file": "secret", **changes}


def test_settings(tmp_path, monkeypatch):
    made = from_settings(settings(tmp_path), "hook", tmp_path)
    assert not made.idempotent and SECRET.reveal() not in repr(made)
    assert from_settings(settings(tmp_path, receiver_drops_repeats=True), "hook", tmp_path).idempotent
    monkeypatch.setenv("HOOK", "https://example.org/T0123/secret-part")
    hidden = from_settings({**settings(tmp_path, url_env="HOOK"), "url": None}, "hook", tmp_path)
    assert "secret-part" not in repr(hidden) and "example.org" in repr(hidden)
    assert any("secret-part" in secret.reveal() for secret in hidden.secrets)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"url": "ftp://example.org/"}, "not an http or https address"),
        ({"url": "file:///etc/passwd"}, "not an http or https address"),
        ({"url": "https:///x"}, "not an http or https address"),
        ({"url": "https://me:hunter2@"}, "not an http or https address"),
        ({"secret_file": "short"}, "at least 16 characters"),
        ({"secret_file": "gone"}, "cannot be read"),
        ({"secret_file": "open"}, "other users can read"),
        ({"secret_file": None}, "at least 16 characters"),
        ({"secret_file": None, "secret_env": "ADVISOR_TEST_NOT_SET"}, "not set"),
    ],
)
def test_settings_that_cannot_be_used(tmp_path, change, says):
    given = settings(tmp_path, **change)
    (tmp_path / "short").write_text("too short")
    (tmp_path / "short").chmod(0o600)
    (tmp_path / "open").write_text(SECRET.reveal())
    (tmp_path / "open").chmod(0o644)
    with pytest.raises(InvalidFile, match=says) as caught:
        from_settings(given, "hook", tmp_path)
    assert "hunter2" not in str(caught.value) and SECRET.reveal() not in str(caught.value)
