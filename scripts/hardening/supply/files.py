"""Whether the installed files are those that were installed: each package keeps the hashes of its own."""

from __future__ import annotations

import base64
import csv
import hashlib
from importlib import metadata
from pathlib import Path


def changed(one: metadata.Distribution) -> tuple[int, list[str]]:
    """(files looked at, what is wrong with one of them), by the package's RECORD."""
    text = one.read_text("RECORD")
    if text is None:
        return 0, [f"{one.metadata['Name']} keeps no list of its files"]
    looked, wrong = 0, []
    for name, digest, size in csv.reader(text.splitlines()):
        kind, _, expected = digest.partition("=")
        if not expected:
            continue  # the list itself, and what Python makes of its modules
        looked += 1
        try:
            if kind not in hashlib.algorithms_guaranteed:
                wrong.append(f"{name}: hashed by {kind}")
            elif _hash(Path(str(one.locate_file(name))), kind) != expected:
                wrong.append(f"{name} is not the file that was installed ({size} bytes then)")
        except OSError as error:
            wrong.append(f"{name} cannot be read: {error.strerror}")
    return looked, wrong


def _hash(path: Path, kind: str) -> str:
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, kind).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode()
