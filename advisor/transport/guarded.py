"""Connections that go where they were meant to, and end when their time is over.

The address that a person wrote into a file may be any: a mirror in the house is a fair wish. Where a server sends us on
to another host, that host must be on the public network: its name is looked up, every number it has is judged, and the
connection goes to one of the very numbers that were judged. So no answer of a provider makes this program ask a device
of the house or the machine's own services. Through a proxy, the proxy looks names up, and this check does not reach.

Time limits of a socket are for one wait each; a server that sends a byte now and then would outlast them all. A watch
ends the connection itself when the whole answer has taken too long, its headers included.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from urllib.parse import urlsplit

from requests import Session
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import HTTPError, NewConnectionError

from advisor.web_address import is_public

_PORTS = {"http": 80, "https": 443}


class NotPublic(HTTPError):
    """A server sent us on to a host that is not on the public network."""


class Watch:
    """One request and its time.

    Parameters
    ----------
    own : (str, int)
        Host and port that were asked for: the only ones that need not be public, with the same host's port for https
        where its port for http was asked for.
    seconds : float
        For each attempt, from sending the question to the last byte of the answer [s].
    """

    def __init__(self, own: tuple[str, int], seconds: float):
        host, port = own
        self.own = (own, (host, _PORTS["https"])) if port == _PORTS["http"] else (own,)
        self.seconds = seconds
        self.expired = False
        self.began = time.monotonic()
        self._timer: threading.Timer | None = None

    def begin(self, connection: HTTPConnection) -> None:
        """An attempt begins on this connection."""
        self.end()
        self.began = time.monotonic()
        self._timer = threading.Timer(self.seconds, self._cut, [connection])
        self._timer.daemon = True
        self._timer.start()

    def end(self) -> None:
        if self._timer is not None:
            self._timer.cancel()

    def _cut(self, connection: HTTPConnection) -> None:
        self.expired = True
        with suppress(OSError, AttributeError):
            connection.sock.shutdown(socket.SHUT_RDWR)


WATCH: ContextVar[Watch | None] = ContextVar("watch", default=None)


@contextmanager
def watched(address: str, seconds: float) -> Iterator[Watch]:
    """What is asked inside may lead to the host of `address` or to the public network, and takes `seconds` at most."""
    watch = Watch(place(address), seconds)
    kept = WATCH.set(watch)
    try:
        yield watch
    finally:
        WATCH.reset(kept)
        watch.end()


def place(address: str) -> tuple[str, int]:
    """Host and port of an address."""
    parts = urlsplit(address)
    return (parts.hostname or "").rstrip("."), parts.port or _PORTS.get(parts.scheme, 0)


class _Guarded:
    """What both kinds of connection add."""

    def request(self, *arguments, **options):
        watch = WATCH.get()
        if watch is not None:
            watch.begin(self)
        return super().request(*arguments, **options)

    def _new_conn(self):
        watch = WATCH.get()
        if watch is None or (self.host.lower(), self.port) in watch.own:
            return super()._new_conn()
        name, problem = self._dns_host, None
        for number in self._judged():
            self._dns_host = number
            try:
                return super()._new_conn()
            except HTTPError as error:
                problem = error
            finally:
                self._dns_host = name
        raise problem or NewConnectionError(self, f"{name} has no address")

    def _judged(self) -> list[str]:
        """The numbers of this connection's host, every one of them public."""
        try:
            found = socket.getaddrinfo(self._dns_host, self.port, type=socket.SOCK_STREAM)
        except (OSError, UnicodeError) as error:
            raise NewConnectionError(self, f"Name or service not known: {self.host}") from error
        numbers = list(dict.fromkeys(str(one[4][0]) for one in found))
        closed = [number for number in numbers if not is_public(number)]
        if closed:
            raise NotPublic(f"{self.host} is {closed[0]}")
        return numbers


class _Plain(_Guarded, HTTPConnection):
    pass


class _Secure(_Guarded, HTTPSConnection):
    pass


class _PlainPool(HTTPConnectionPool):
    ConnectionCls = _Plain


class _SecurePool(HTTPSConnectionPool):
    ConnectionCls = _Secure


class GuardedAdapter(HTTPAdapter):
    """Asks over connections that a `Watch` looks after; without one they are ordinary."""

    def init_poolmanager(self, *arguments, **options):
        super().init_poolmanager(*arguments, **options)
        self.poolmanager.pool_classes_by_scheme = {"http": _PlainPool, "https": _SecurePool}


class OneAnswer(Session):
    """A session that takes each answer as it is: a redirection is handed back, and its body is not read."""

    def resolve_redirects(self, *arguments, **options):
        return iter(())


def guarded_session(**adapter) -> OneAnswer:
    """A session over guarded connections; `adapter` goes to `HTTPAdapter`."""
    session = OneAnswer()
    for scheme in ("https://", "http://"):
        session.mount(scheme, GuardedAdapter(**adapter))
    return session
