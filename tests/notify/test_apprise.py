"""The channel that goes through apprise, against a real HTTP receiver; skipped where the extra is not installed."""

from __future__ import annotations

import logging
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from advisor.errors import InvalidFile, NotDelivered
from advisor.notify import Message
from advisor.notify.channels.apprise import AppriseChannel, from_settings
from advisor.store.masking import Secret

pytest.importorskip("apprise")


@pytest.fixture
def receiver():
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):  # noqa: N802
            server.bodies.append(self.rfile.read(int(self.headers["Content-Length"])))
            time.sleep(server.hang)
            self.send_response(server.status)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    server.bodies, server.status, server.hang = [], 200, 0.0
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server
    server.shutdown()
    server.server_close()


@pytest.fixture
def message(now):
    return Message("n-1", "Go, front", "Go on Friday.\n\nBefore you start: the label.", created_at=now)


def channel(receiver, more=""):
    return AppriseChannel(Secret(f"json://127.0.0.1:{receiver.server_port}/verysecretkey{more}"), "push")


def test_a_notice_arrives(receiver, message):
    channel(receiver).send(message)
    (body,) = receiver.bodies
    assert b"Go, front" in body and b"Before you start" in body


def test_a_refusal_is_tried_again(receiver, message):
    receiver.status = 500
    with pytest.raises(NotDelivered, match="500") as caught:
        channel(receiver).send(message)
    assert not caught.value.permanent


def test_nobody_listens(message):
    with pytest.raises(NotDelivered, match="no connection"):
        AppriseChannel(Secret("json://127.0.0.1:1/verysecretkey"), "push").send(message)


def test_no_answer_in_time_means_that_nobody_knows(receiver, message):
    receiver.hang = 1.5
    with pytest.raises(RuntimeError, match="did not say") as caught:
        channel(receiver, "?rto=0.5").send(message)
    assert not isinstance(caught.value, NotDelivered)


def test_its_key_is_in_no_log_and_no_error(receiver, message, caplog):
    caplog.set_level(logging.DEBUG)
    receiver.status = 404
    one = channel(receiver)
    with pytest.raises(NotDelivered) as caught:
        one.send(message)
    assert "verysecretkey" not in f"{caught.value}{one!r}"
    # urllib3 names addresses while debugging; the service keeps it at warnings, see advisor.service.log
    told = [record for record in caplog.records if not record.name.startswith("urllib3")]
    assert not [record for record in told if record.name.startswith("apprise")]
    assert not [record for record in told if "verysecretkey" in record.getMessage()]
    assert any(secret.reveal() == "verysecretkey" for secret in one.secrets)


def test_settings(tmp_path, monkeypatch):
    (tmp_path / "service").write_text("json://127.0.0.1/verysecretkey\n")
    (tmp_path / "service").chmod(0o600)
    assert from_settings({"kind": "apprise", "url_file": "service"}, "push", tmp_path).name == "push"
    monkeypatch.setenv("PUSH", "nosuchservice://x/verysecretkey")
    with pytest.raises(InvalidFile, match="does not know") as caught:
        from_settings({"kind": "apprise", "url_env": "PUSH"}, "push", tmp_path)
    assert "verysecretkey" not in str(caught.value)
    with pytest.raises(InvalidFile, match="names no service"):
        from_settings({"kind": "apprise"}, "push", tmp_path)


def test_without_the_library_it_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "apprise", None)
    (tmp_path / "service").write_text("json://127.0.0.1/x")
    (tmp_path / "service").chmod(0o600)
    with pytest.raises(InvalidFile, match="needs the library") as caught:
        from_settings({"kind": "apprise", "url_file": "service"}, "push", tmp_path)
    assert "[notify]" in caught.value.hint
