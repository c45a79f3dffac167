"""Folders in which readers find the files that are given to them, taken away when the campaign is over."""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

#: names the folder that holds those of all processes, which end without tidying up
HELD_IN = "ADVISOR_FUZZ_FOLDER"
_MEMORY = Path("/dev/shm")


def _fastest() -> Path | None:
    """A folder in memory, where the system has one."""
    return _MEMORY if os.access(_MEMORY, os.W_OK) else None


@contextmanager
def held() -> Iterator[Path]:
    """Every folder that is made meanwhile, by this process or by those that it starts, lies in one that is removed."""
    before = os.environ.get(HELD_IN)
    with tempfile.TemporaryDirectory(
        prefix="advisor-fuzz-", dir=_fastest(), ignore_cleanup_errors=True
    ) as name:
        os.environ[HELD_IN] = name
        try:
            yield Path(name)
        finally:
            if before is None:
                del os.environ[HELD_IN]
            else:
                os.environ[HELD_IN] = before


def folder() -> Path:
    """A new folder; where nothing holds it, it goes with this process."""
    inside = os.environ.get(HELD_IN)
    made = Path(tempfile.mkdtemp(prefix="advisor-fuzz-", dir=inside or _fastest()))
    if inside is None:
        atexit.register(shutil.rmtree, made, True)
    return made
