"""A server of our own that says what it was given to say, and what comes of asking it."""

from __future__ import annotations

import contextlib
import socket
import ssl
import threading
import time
from collections.abc import Callable

from advisor.errors import AdvisorError, NotDelivered
from advisor.notify.channels.webhook import WebhookChannel
from advisor.notify.message import Message
from advisor.sources.request import Request
from advisor.store.masking import Secret
from advisor.transport import fetch, new_session
from tests.demo_page import NOW


class Mouth:
    """A server that says what it was given to say, byte by byte; counts who came.

    Parameters
    ----------
    says : callable
        Takes the connection and the first line of the request.
    context : ssl.SSLContext, optional
        With it, the server speaks TLS.
    """

    def __init__(self, says: Callable[[socket.socket, str], None], context: ssl.SSLContext | None = None):
        self.says, self.context, self.came = says, context, 0
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        self._ended = threading.Event()
        threading.Thread(target=self._run, daemon=True).start()

    def __enter__(self):
        return self

    def __exit__(self, *_) -> None:
        self._ended.set()
        self._listening.close()

    def _run(self) -> None:
        while not self._ended.is_set():
            try:
                connection, _ = self._listening.accept()
            except OSError:
                return
            threading.Thread(target=self._answer, args=(connection,), daemon=True).start()

    def _answer(self, connection: socket.socket) -> None:
        with contextlib.suppress(OSError, ssl.SSLError), connection:
            if self.context is not None:
                connection = self.context.wrap_socket(connection, server_side=True)
            asked = b""
            while b"\r\n\r\n" not in asked:
                piece = connection.recv(65536)
                if not piece:
                    return
                asked += piece
            self.came += 1
            self.says(connection, asked.split(b"\r\n")[0].decode("latin-1"))
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_WR)
                time.sleep(0.05)


def whole(body: bytes, status: str = "200 OK", *headers: str) -> bytes:
    lines = [f"HTTP/1.1 {status}", "Content-Type: application/json", f"Content-Length: {len(body)}", *headers]
    return ("\r\n".join(lines) + "\r\nConnection: close\r\n\r\n").encode() + body


def asked_of(address: str, **options) -> str:
    """What comes of asking: "taken", or what went wrong in a few words."""
    limits = {"timeout": (2.0, 2.0), "deadline": 1.0, "body_limit": 200_000, **options}
    with new_session(attempts=0) as session:
        try:
            fetch(Request(address), contact="keeper@example.org", session=session, **limits)
        except AdvisorError as error:
            return error.what
    return "taken"


def sent_to(url: str, deadline: float = 1.0) -> str:
    channel = WebhookChannel(url, Secret("0123456789abcdef"), timeout=(2.0, 2.0), deadline=deadline)
    try:
        channel.send(Message("n-1", "Go", "Go.", created_at=NOW))
    except (NotDelivered, RuntimeError) as error:
        return str(error)
    return "taken"
