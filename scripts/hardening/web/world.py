"""Everything that the attacks are made on, made when it is first wanted."""

from __future__ import annotations

import contextlib
import datetime
import socket
import ssl
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from unittest import mock

import trustme

from advisor.web import channel
from hardening.web.served import Served, ServedLawns
from hardening.web.texts import Household
from tests.demo_page import demo_home

WORD = "a word of some length"


class World:
    """Page servers and certificates of one run; `close` ends them.

    Parameters
    ----------
    folder : Path
        For the households' files.
    patience : float
        How long the page server waits for the end of a request in this run [s].
    """

    def __init__(self, folder: Path, patience: float = 2.0):
        self.folder, self.patience = folder, patience
        self._open: list[object] = []
        self._households: dict[str, Household] = {}
        self._patched = mock.patch.object(channel, "REQUEST_SECONDS", patience)
        self._patched.start()

    def close(self) -> None:
        for one in self._open:
            one.close()
        self._patched.stop()

    def _serve(self, name: str, **given) -> Served:
        folder = self.folder / name
        folder.mkdir(parents=True)
        served = Served(demo_home(folder, members=0), **given)
        self._open.append(served)
        return served

    @cached_property
    def open(self) -> Served:
        """Without a word, as on one's own computer."""
        return self._serve("open")

    @cached_property
    def guarded(self) -> Served:
        return self._serve("guarded", word=WORD)

    @cached_property
    def guessed(self) -> Served:
        """For guesses, whose limits would disturb the other attacks."""
        return self._serve("guessed", word=WORD)

    @cached_property
    def lawns(self) -> ServedLawns:
        """Two lawns behind one page, with a word."""
        folder = self.folder / "lawns"
        folder.mkdir()
        for name in ("north", "south"):
            demo_home(folder, members=0).rename(folder / name)
        served = ServedLawns(folder, word=WORD)
        self._open.append(served)
        return served

    @cached_property
    def old_token(self) -> str:
        """A form's token of a service that has ended."""
        served = self._serve("old")
        return served.form()[1]

    def household(self, payload: str) -> Household:
        if payload not in self._households:
            folder = self.folder / f"texts-{len(self._households)}"
            self._households[payload] = Household(folder, payload)
            self._open.append(self._households[payload])
        return self._households[payload]

    # certificates

    @cached_property
    def _authority(self) -> trustme.CA:
        authority = trustme.CA()
        authority.cert_pem.write_to_path(str(self.folder / "authority.pem"))
        return authority

    @cached_property
    def trusted_server(self) -> ssl.SSLContext:
        return _server(self._authority.issue_cert("localhost"))

    @cached_property
    def old_server(self) -> ssl.SSLContext:
        past = datetime.datetime(2020, 1, 1, tzinfo=datetime.UTC)
        return _server(
            self._authority.issue_cert(
                "localhost", not_before=past, not_after=past + datetime.timedelta(days=9)
            )
        )

    @cached_property
    def stranger_server(self) -> ssl.SSLContext:
        return _server(trustme.CA().issue_cert("localhost"))

    @cached_property
    def self_signed_server(self) -> ssl.SSLContext:
        own = trustme.CA()
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        file = self.folder / "self.pem"
        file.write_bytes(own.private_key_pem.bytes() + own.cert_pem.bytes())
        context.load_cert_chain(str(file))
        return context

    @contextlib.contextmanager
    def trust(self) -> Iterator[None]:
        """This run's own authority is believed, as a computer's owner might have it."""
        path = str((self._authority and self.folder) / "authority.pem")
        with mock.patch.dict("os.environ", {"REQUESTS_CA_BUNDLE": path}):
            yield

    @contextlib.contextmanager
    def names(self) -> Iterator[None]:
        """The name lookalike.example is this computer's."""
        real = socket.getaddrinfo

        def look_up(host, port, *arguments, **options):
            return real("127.0.0.1" if host == "lookalike.example" else host, port, *arguments, **options)

        with mock.patch.object(socket, "getaddrinfo", look_up):
            yield


def _server(issued) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    issued.configure_cert(context)
    return context
