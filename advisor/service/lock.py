"""One service a household: a second one is refused and told who is running."""

from __future__ import annotations

from pathlib import Path

from advisor.errors import Busy
from advisor.store.faults import file_explained
from advisor.store.locking import FileLock


class ServiceLock:
    """Held from `with` to the end of the process, however it ends."""

    def __init__(self, path: Path | str):
        self.path = Path(path)
        self._lock = FileLock(self.path)

    def __enter__(self) -> ServiceLock:
        with file_explained(self.path):
            taken = self._lock.acquire()
            holder = None if taken else self._lock.holder()
        if not taken:
            who = f"process {holder}" if holder else "its process is not known"
            raise Busy(
                f"another service is running ({who})",
                where=str(self.path),
                hint=f"end it first: kill {holder}" if holder else "end it first, or wait a moment",
            )
        return self

    def __exit__(self, *_) -> None:
        self._lock.release()

    def holder(self) -> int | None:
        """The process id of the running service; None when there is none."""
        with file_explained(self.path):
            return self._lock.holder()
