"""Writes notices to a stream, each under a rule line. Not idempotent: what has been printed stays printed."""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import TextIO

from advisor.errors import NotDelivered
from advisor.notify.message import Message

RULE = "-" * 72


class TerminalChannel:
    """`stream` None means the standard output at the moment of sending."""

    idempotent = False

    def __init__(self, name: str = "terminal", stream: TextIO | None = None):
        self.name = name
        self._stream = stream

    def __repr__(self) -> str:
        return f"TerminalChannel({self.name!r})"

    def send(self, message: Message) -> None:
        stream = sys.stdout if self._stream is None else self._stream
        if stream is None or stream.closed:
            raise NotDelivered("there is no terminal to write to", permanent=True, where=self.name)
        encoding = getattr(stream, "encoding", None) or "utf-8"
        text = f"{RULE}\n{printable(message.text.rstrip())}\n"
        try:
            stream.write(text.encode(encoding, errors="replace").decode(encoding))
            stream.flush()
        except BrokenPipeError as error:
            raise NotDelivered(
                "nobody reads the terminal any more", permanent=True, where=self.name
            ) from error
        # Any other error may come after part has been shown and is passed on as it is: nobody knows.


def printable(text: str) -> str:
    """The text without control characters, which could make a terminal act; line ends and tabs stay."""
    return "".join(
        char for char in text if char in "\n\t" or char.isprintable() or unicodedata.category(char) == "Zs"
    )


def from_settings(settings: Mapping[str, object], name: str, folder: Path) -> TerminalChannel:
    return TerminalChannel(name)
