"""The demonstration household behind its pages, on a real port of the loopback address, asked over bare sockets."""

from __future__ import annotations

import hashlib
import re
import socket
import sqlite3
import time
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from advisor.service.clocks import SetClock
from advisor.service.household import HouseholdService
from advisor.service.round import RoundService
from advisor.web import Desks, open_desks, open_page
from tests.demo_page import NOW

#: pages with text of the household on them
PAGES = (
    "/",
    "/day/2026-09-23",
    "/sequence",
    "/start",
    "/mix",
    "/tell",
    "/records",
    "/reviews",
    "/almanac",
    "/score",
    "/sources",
    "/settings",
    "/calendar",
)
#: nobody but a page of the household says this
MARK = "Prairie lawn"


@dataclass(frozen=True)
class Answer:
    """What came back; status 0 where nothing did."""

    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes
    seconds: float = 0.0

    def header(self, name: str) -> str:
        return ", ".join(value for one, value in self.headers if one.lower() == name.lower())

    @property
    def text(self) -> str:
        return self.body.decode("utf-8", "replace")

    @property
    def told(self) -> str:
        return f"status {self.status}" if self.status else "closed without an answer"


class Served:
    """A page server of its own for one household.

    Parameters
    ----------
    word : str, optional
        The word that visitors must give.
    names : tuple of str
        Names by which other computers would ask for it.
    """

    def __init__(self, home: Path, word: str | None = None, names: tuple[str, ...] = ()):
        self.home, self.word = home, word
        self._page = self._opened(names)
        self.port = self._page.port
        self.host = f"127.0.0.1:{self.port}"
        self._page.__enter__()

    def _opened(self, names: tuple[str, ...]):
        service = HouseholdService.open(self.home)
        return open_page(service, SetClock(NOW), None, port=0, word=self.word, names=names)

    def close(self) -> None:
        self._page.__exit__(None, None, None)

    # asking

    def raw(self, request: bytes, seconds: float = 30.0, source: str | None = None) -> Answer:
        """What comes back for these bytes, until the server closes or `seconds` are over."""
        began = time.monotonic()
        whole = b""
        try:
            here = (source, 0) if source else None
            with socket.create_connection(
                ("127.0.0.1", self.port), timeout=seconds, source_address=here
            ) as connection:
                connection.sendall(request)
                while piece := connection.recv(65536):
                    whole += piece
                    if _complete(whole):
                        break
        except OSError:
            pass
        return _read(whole, time.monotonic() - began)

    def ask(
        self, method: str, path: str, headers=(), body: bytes = b"", host: str | None = None, **how
    ) -> Answer:
        """One request with the headers given, and with Host, Connection and Content-Length where none are given."""
        given = list(dict(headers).items() if isinstance(headers, dict) else headers)
        names = {name.lower() for name, _ in given}
        lines = [f"{method} {path} HTTP/1.1"]
        if "host" not in names:
            lines.append(f"Host: {self.host if host is None else host}")
        lines += [f"{name}: {value}" for name, value in given]
        lines.append("Connection: close")
        if body and "content-length" not in names and "transfer-encoding" not in names:
            lines.append(f"Content-Length: {len(body)}")
        return self.raw("\r\n".join(lines).encode("utf-8") + b"\r\n\r\n" + body, **how)

    def get(self, path: str, **headers: str) -> Answer:
        return self.ask("GET", path, {name.replace("_", "-"): value for name, value in headers.items()})

    def post(self, path: str, fields: dict[str, str], headers=(), **how) -> Answer:
        given = [("Content-Type", "application/x-www-form-urlencoded"), *dict(headers).items()]
        return self.ask("POST", path, given, urlencode(fields).encode(), **how)

    def form(self, path: str = "/tell", cookie: str = "") -> tuple[str, str]:
        """(cookie, token) as a browser would have them after looking at a page with a form."""
        answer = self.get(path, **({"Cookie": cookie} if cookie else {}))
        token = re.search(r'name="token" value="([0-9a-f]+)"', answer.text)
        given = "; ".join(
            value.partition(";")[0] for name, value in answer.headers if name.lower() == "set-cookie"
        )
        return given or cookie, token[1] if token else ""

    def entered(self) -> str:
        """The cookies of a visitor who has given the word."""
        cookie, token = self.form("/enter")
        answer = self.post("/enter", {"token": token, "word": self.word or ""}, {"Cookie": cookie})
        return "; ".join(
            value.partition(";")[0] for name, value in answer.headers if name.lower() == "set-cookie"
        )

    # what is on record

    def ledger(self) -> str:
        """Changes whenever a row of the ledger or a file of the household does."""
        digest = hashlib.sha256()
        with sqlite3.connect(f"file:{self.home / 'advisor.db'}?mode=ro", uri=True) as connection:
            for table in ("records", "measurements", "plans", "notices", "outbox", "payloads"):
                digest.update(repr(connection.execute(f"SELECT * FROM {table}").fetchall()).encode())
        for path in sorted(self.home.rglob("*")):
            if path.is_file() and not path.name.startswith("advisor.db"):
                digest.update(path.name.encode() + path.read_bytes())
        return digest.hexdigest()


class ServedLawns(Served):
    """Several lawns behind one page; `home` is the folder that holds them."""

    def _opened(self, names: tuple[str, ...]):
        service = RoundService.open(self.home)
        desks = Desks.of_round(service, SetClock(NOW), [None] * len(service.services))
        return open_desks(desks, port=0, word=self.word, names=names)

    def ledger(self) -> str:
        """Changes whenever a file below the folder does."""
        files = sorted(path for path in self.home.rglob("*") if path.is_file())
        return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()


def _complete(whole: bytes) -> bool:
    head, found, body = whole.partition(b"\r\n\r\n")
    length = re.search(rb"(?i)\r\ncontent-length: *(\d+)", head)
    return bool(found and length and len(body) >= int(length[1]))


def _read(whole: bytes, seconds: float) -> Answer:
    head, _, body = whole.partition(b"\r\n\r\n")
    lines = head.decode("latin-1").split("\r\n")
    found = re.match(r"HTTP/1\.[01] (\d{3})", lines[0]) if lines else None
    headers = tuple((one.partition(":")[0], one.partition(":")[2].strip()) for one in lines[1:])
    return Answer(int(found[1]) if found else 0, headers, body, seconds)
