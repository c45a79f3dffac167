"""The command line in a forked child: what it said, how it ended, and whether a person can do something with that."""

from __future__ import annotations

import io
import os
import shutil
import sys
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

from advisor.store import copies, database

from . import dying
from .ledgers import NOW

ROOT = Path(__file__).resolve().parents[3]
#: what the exit statuses of commands may be, by the programme's own help
_STATUSES = {0, 1, 2, 5, 6, 7, 75}


@dataclass(frozen=True)
class Answer:
    status: int
    out: str
    err: str

    def complaints(self, name: str) -> list[str]:
        """What is wrong with it: a fault of the program, a status of no meaning, an error that says not what to do."""
        found = []
        if "Traceback" in self.out + self.err or "unexpected fault" in self.out + self.err:
            found.append(f"{name}: {(self.err or self.out).strip().splitlines()[-1]}")
        elif self.status not in _STATUSES:
            found.append(f"{name} ended with {self.status}")
        elif self.status and not self.out.strip() and self.err.count("\n") < 2:
            found.append(f"{name} does not say what to do: {self.err.strip()}")
        return found


def warm(home: Path) -> None:
    """Do once in this process what its children will do, so that all is loaded that they could not or would each load
    again."""
    for name in ("backup", "doctor", "record", "records", "records_verify"):
        import_module(f"advisor.cli.{name}")
    for name in ("store.restoring", "recording.table", "messages.record_text", "replay"):
        import_module(f"advisor.{name}")
    import_module("advisor.service.doctor").examine(home, NOW)


def household(folder: Path) -> Path:
    """A household of its own, from the demonstration's."""
    shutil.copytree(ROOT / "fixtures" / "prairie-lawn", folder)
    return folder


def impatient() -> None:
    """Do not wait seconds for a lock."""
    database.BUSY_TIMEOUT = copies.PATIENCE = 0.15
    database.Store.open.__func__.__kwdefaults__["busy_timeout"] = 0.15
    copies.copy_pages.__defaults__ = (0.15,)


def command(*words: object, before: Callable[[], None] = lambda: None) -> Answer:
    """`advisor WORDS` in a child, after `before`."""

    def act(say) -> None:
        from advisor.cli import main

        before()
        out, err, status = io.StringIO(), io.StringIO(), 0
        sys.argv = ["advisor", *map(str, words)]
        with redirect_stdout(out), redirect_stderr(err):
            try:
                main()
            except SystemExit as stop:
                status = stop.code or 0
        say((status, out.getvalue(), err.getvalue()))

    end = dying.run(act)
    if end.fault or not end.said:
        return Answer(1, "", f"Traceback: {end.fault or 'it ended without a word'}")
    return Answer(*end.said[0])


def as_nobody() -> None:
    """Become a user who owns nothing, since root may write everywhere."""
    if os.geteuid() == 0:
        os.setgroups([])
        os.setgid(65534)
        os.setuid(65534)
