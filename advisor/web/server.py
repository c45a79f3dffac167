"""The pages' server: waitress in threads of its own, beside the service."""

from __future__ import annotations

import logging
import socket
import threading
from ipaddress import ip_address
from typing import Self

from flask import Flask

from advisor.errors import UsageError
from advisor.service.clocks import Clock
from advisor.service.health import Health
from advisor.service.household import HouseholdService
from advisor.service.log import event
from advisor.web.app import create_app
from advisor.web.desk import Desk
from advisor.web.desks import Desks
from advisor.web.security import BODY_LIMIT

log = logging.getLogger(__name__)

DEFAULT_PORT = 8642
#: letters of a page's word
LEAST_WORD = 12
_THREADS = 4
_PREPARE_EVERY = 20.0


def open_page(
    service: HouseholdService,
    clock: Clock,
    health: Health | None,
    *,
    host: str = "127.0.0.1",
    port: int | None = None,
    names: tuple[str, ...] = (),
    word: str | None = None,
) -> PageServer:
    """The pages of a household, listening; see `open_desks`."""
    desks = Desks.of(Desk(service, clock, health))
    return open_desks(desks, host=host, port=port, names=names, word=word)


def open_desks(
    desks: Desks,
    *,
    host: str = "127.0.0.1",
    port: int | None = None,
    names: tuple[str, ...] = (),
    word: str | None = None,
) -> PageServer:
    """The pages of one household or of several, listening.

    Parameters
    ----------
    port : int, optional
        None takes the usual one, or a free one where that is taken.
    names : tuple of str
        Names under which other computers ask for the pages.
    word : str, optional
        What visitors must give first; needed for any address that is not the loopback one.
    """
    if not is_loopback(host):
        if not word:
            raise UsageError(
                f"the address {host} is open to other computers, and the page has no word that visitors must give",
                hint="name a file with the word: --word-file FILE; or leave --host out and use a tunnel",
            )
        if len(word) < LEAST_WORD:
            raise UsageError(f"the page's word has {len(word)} letters", hint=f"take at least {LEAST_WORD}")
    app = create_app(desks, (*names, f"[{host}]" if ":" in host else host), word)
    try:
        return PageServer(app, desks, host, DEFAULT_PORT if port is None else port)
    except UsageError:
        if port is not None:
            raise
        return PageServer(app, desks, host, 0)


def is_loopback(host: str) -> bool:
    if host.lower() == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def _one_address(host: str) -> str:
    """One address of a name: a name may have several, and each would be given a port of its own."""
    found = socket.getaddrinfo(host, None, type=socket.SOCK_STREAM)
    return sorted(found, key=lambda one: one[0] != socket.AF_INET)[0][4][0]


class PageServer:
    """Listens from the moment it is made; serves between `with` and its end.

    Parameters
    ----------
    host : str
        The loopback address unless the person asks for another.
    port : int
        0 takes a free one; `port` then says which.

    Raises
    ------
    UsageError
        When the address is taken or is not one of this computer.
    """

    def __init__(self, app: Flask, desks: Desks, host: str = "127.0.0.1", port: int = DEFAULT_PORT):
        from waitress.server import create_server

        from advisor.web.channel import PatientChannel

        try:
            self._server = create_server(
                app, host=_one_address(host), port=port, threads=_THREADS, ident=None,
                max_request_body_size=BODY_LIMIT, max_request_header_size=16 * 1024, channel_timeout=30,
                cleanup_interval=5, connection_limit=200, asyncore_use_poll=True, clear_untrusted_proxy_headers=True,
            )  # fmt: skip
            self._server.channel_class = PatientChannel
        except OSError as error:
            raise UsageError(
                f"the page cannot listen on {host}, port {port}: {error.strerror or error}",
                hint="name another with --port, or leave the page out with --no-page",
            ) from error
        self._desks = desks
        self.host, self.port = host, int(self._server.effective_port)
        self._ending = threading.Event()
        self._threads: list[threading.Thread] = []

    @property
    def address(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"http://{host}:{self.port}/"

    def __enter__(self) -> Self:
        for name, run in (("page", self._serve), ("page-prepare", self._prepare)):
            thread = threading.Thread(target=run, name=name, daemon=True)
            thread.start()
            self._threads.append(thread)
        event(log, "page_opened", address=self.address)
        return self

    def __exit__(self, *_) -> None:
        self._ending.set()
        self._server.close()
        self._server.task_dispatcher.shutdown(cancel_pending=True, timeout=3)
        for thread in self._threads:
            thread.join(timeout=3)
        self._desks.close()

    def _serve(self) -> None:
        try:
            self._server.run()
        except OSError as error:  # its socket was closed under it, which is how it ends
            if not self._ending.is_set():
                event(log, "page_stopped", logging.ERROR, reason=str(error))

    def _prepare(self) -> None:
        """Keep the answer of the present minute ready, so that nobody waits for it."""
        while not self._ending.wait(_PREPARE_EVERY):
            try:
                self._desks.prepare()
            except Exception as error:
                event(log, "page_not_prepared", logging.DEBUG, reason=str(error))
