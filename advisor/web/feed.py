"""The calendar feed's own address, for calendar programs that cannot give the page's word.

The address holds a token that opens the feed and nothing else. Only its hash is kept, in a file of the household's
folder; the address is shown once, when it is made. To make another, to withdraw it, or to delete the file ends the old
one at once.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
from collections.abc import Callable
from pathlib import Path

from flask import Flask, abort, request

from advisor.web import units_choice
from advisor.web.desk import Desk
from advisor.web.page import Page

FILE_NAME = "calendar-token"


class FeedToken:
    """The token of one household's feed; `path` holds its hash."""

    def __init__(self, folder: Path | str):
        self.path = Path(folder) / FILE_NAME

    def __call__(self, given: str) -> bool:
        """Whether it is the token, compared in constant time; never where none was made."""
        kept = self._kept()
        return bool(kept) and hmac.compare_digest(_hash(given), kept)

    @property
    def given_out(self) -> bool:
        return bool(self._kept())

    def make(self) -> str:
        """A new token; the one before opens nothing any more."""
        token = secrets.token_urlsafe(24)
        unfinished = self.path.with_name(f".{FILE_NAME}.unfinished")
        unfinished.unlink(missing_ok=True)
        with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(_hash(token) + b"\n")
        unfinished.replace(self.path)
        return token

    def withdraw(self) -> None:
        self.path.unlink(missing_ok=True)

    def _kept(self) -> bytes:
        try:
            return self.path.read_bytes().strip()
        except OSError:
            return b""


def _hash(token: str) -> bytes:
    return hashlib.sha256(token.encode()).hexdigest().encode()


def register(app: Flask, desk: Desk, feed: FeedToken, add: Callable, show: Callable, guarded: bool) -> None:
    add("/calendar", "calendar", lambda desk, scene: feed_page(feed, guarded))

    @app.post("/calendar")
    def change():
        if not guarded:
            abort(404)  # nothing is closed here that an address would have to open
        address = ""
        if request.form.get("do") == "make":
            # The browser's own word for where we are: behind a proxy that adds TLS only it knows.
            here = request.headers.get("Origin") or request.host_url
            address = f"{here.rstrip('/')}{desk.path}/calendar.ics?token={feed.make()}"
        else:
            feed.withdraw()
        response = show(feed_page(feed, guarded, address), desk.scene(units_choice.chosen()))
        response.headers["Cache-Control"] = "no-store"
        return response


def feed_page(feed: FeedToken, guarded: bool, address: str = "") -> Page:
    return Page(
        "Calendar",
        "calendar.html",
        {"address": address, "given_out": feed.given_out, "closed": guarded},
        {"closed": guarded, "given_out": feed.given_out},
    )
