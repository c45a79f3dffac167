"""Writes each notice as a text file of its own: `<folder>/<local date>-<kind>-<id>.txt`, whole or not at all.

Idempotent by the name: written again, it is the same file with the same text.
"""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Mapping
from datetime import UTC
from pathlib import Path

from advisor.errors import InvalidFile, NotDelivered
from advisor.notify.message import Message

#: errors that no waiting repairs
_PERMANENT = (errno.ENOTDIR, errno.EISDIR, errno.ENAMETOOLONG, errno.ELOOP)


class FileChannel:
    idempotent = True

    def __init__(self, folder: Path | str, name: str = "file"):
        self.folder = Path(folder)
        self.name = name

    def __repr__(self) -> str:
        return f"FileChannel({str(self.folder)!r}, {self.name!r})"

    def path_of(self, message: Message) -> Path:
        day = message.local_date or message.created_at.astimezone(UTC).date()
        return self.folder / f"{day.isoformat()}-{_in_a_name(message.kind)}-{_in_a_name(message.id)}.txt"

    def send(self, message: Message) -> None:
        path = self.path_of(message)
        unfinished = path.with_name(f".{path.name}.unfinished")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with unfinished.open("w", encoding="utf-8", newline="\n") as file:
                file.write(message.text.rstrip() + "\n")
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(path)
            self._fsync_folder()
        except OSError as error:
            raise NotDelivered(
                f"the notice could not be written ({error.strerror or error})",
                permanent=error.errno in _PERMANENT,
                where=str(path),
                hint="check that the folder exists, that this user may write there, and the space left",
            ) from error

    def _fsync_folder(self) -> None:
        """The name itself must be on the disk, not only what it names."""
        descriptor = os.open(self.folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _in_a_name(text: str) -> str:
    return re.sub(r"[^A-Za-z0-9_]+", "-", text).strip("-") or "x"


def from_settings(settings: Mapping[str, object], name: str, folder: Path) -> FileChannel:
    """`path` names the folder that receives the files, relative to the household's own folder."""
    path = settings.get("path")
    if not isinstance(path, (str, Path)) or not str(path):
        raise InvalidFile(
            f'the channel "{name}" names no folder', where="notices.channel", hint='write path = "notices"'
        )
    return FileChannel(folder / Path(path).expanduser(), name)
