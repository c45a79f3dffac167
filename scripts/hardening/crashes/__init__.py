"""Kills and faults of the disk: is any record lost or changed, any notice lost or told twice, does the next start work?

Kills are real: a child process of this one is ended by SIGKILL at a counted step or at any moment, or by the system in
the midst of a write. What must hold afterwards is worked out from what the child had said to be kept.
"""

from __future__ import annotations

import logging
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from hardening.lines import Line

from . import cycles, disk, kills

NAME = "crashes"


def run(quick: bool, seed: int) -> Iterator[Line]:
    """The lines of the campaign."""
    logging.disable(logging.CRITICAL)  # what goes wrong here goes wrong on purpose
    share = 0.1 if quick else 1.0
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as scratch:
        folder = Path(scratch)
        folder.chmod(0o755)
        for name, what, campaign, count in (
            ("records", "kills while records are written", kills.on_records, 200),
            ("migrations", "kills while an old ledger is brought up to date", kills.on_migrations, 150),
            ("backups", "kills while a backup is written", kills.on_backups, 80),
            ("restores", "kills while a backup is put back", kills.on_restores, 100),
            ("cycles", "kills in cycles of the service", cycles.on_cycles, 150),
        ):
            yield _line(what, campaign(_room(folder, name), seed, max(1, int(count * share))), kills=True)
        for name, what, campaign, count in disk.FAULTS:
            yield _line(what, campaign(_room(folder, name), seed, max(2, int(count * share))))


def _room(folder: Path, name: str) -> Path:
    room = folder / name
    room.mkdir()
    return room


def _line(what: str, tally: kills.Tally, *, kills: bool = False) -> Line:
    said = [f"{count} {name}" for name, count in tally.notes.items()]
    if kills:
        said.insert(0, f"{tally.runs} runs, {tally.killed} killed")
    return Line(
        NAME,
        what,
        tally.killed if kills else tally.runs,
        tally.survivors,
        ", ".join(said),
        tuple(tally.wrong[:8]),
    )
