"""A webhook receiver and a mail server in a process of their own; each arrival is one line of JSON in a file."""

from __future__ import annotations

import email
import email.policy
import json
import os
import signal
import socket
from contextlib import suppress
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

from advisor.notify.channels.webhook import verify
from advisor.store.masking import Secret

SECRET = Secret("the secret of a season that is only simulated")


def start(folder: Path) -> tuple[int, int, int | None]:
    """(process, port of the webhook, port of the mail server or None where no such server is installed)."""
    ready, tell = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(ready)
        try:
            _serve(folder, tell)
        finally:
            os._exit(0)
    os.close(tell)
    with os.fdopen(ready) as told:
        hook, mail = json.loads(told.readline())
    return process, hook, mail


def stop(process: int) -> None:
    os.kill(process, signal.SIGTERM)
    os.waitpid(process, 0)


def _serve(folder: Path, tell: int) -> None:
    signal.signal(signal.SIGTERM, lambda *_: os._exit(0))
    mail = _mail(folder)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):  # noqa: N802
            body = self.rfile.read(int(self.headers["Content-Length"]))
            status = 503 if (folder / "hook-down").exists() else 200
            if status == 200:
                said = json.loads(body)
                real = int(self.headers["Advisor-Timestamp"])
                note(folder / "hook.jsonl", said["id"], said["kind"], verify(SECRET, self.headers, body, real))
            self.send_response(status)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

        def handle(self):
            with suppress(OSError):  # the service was killed while it was talking
                super().handle()

    server = HTTPServer(("127.0.0.1", 0), Handler)
    os.write(tell, (json.dumps([server.server_port, mail]) + "\n").encode())
    os.close(tell)
    server.serve_forever()


def note(path: Path, notice_id: str, kind: str, good: bool) -> None:
    line = json.dumps({"id": notice_id, "kind": kind, "good": good}) + "\n"
    with path.open("ab") as file:
        file.write(line.encode())


def _mail(folder: Path) -> int | None:
    try:
        from aiosmtpd.controller import Controller
    except ImportError:
        return None

    class Sink:
        async def handle_DATA(self, server, session, envelope):  # noqa: N802
            mail = email.message_from_bytes(envelope.content, policy=email.policy.default)
            notice_id = str(mail["Message-ID"]).strip("<>").split(".")[0]
            note(folder / "mail.jsonl", notice_id, "", bool(mail["Subject"]))
            return "250 taken"

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    controller = Controller(Sink(), hostname="127.0.0.1", port=port)
    controller.start()
    return port
