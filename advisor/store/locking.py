"""A lock on a file that the system itself gives back when its holder dies, however it dies."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # pragma: no cover - not a Unix
    fcntl = None  # type: ignore[assignment]


class FileLock:
    """An exclusive lock (flock) whose file names the holder's process id.

    The file is never removed: removing it would let two processes lock two different files of the same name.
    """

    def __init__(self, path: Path | str):
        self.path = Path(path)
        self._descriptor: int | None = None

    def acquire(self) -> bool:
        """Take the lock without waiting; False when somebody else holds it."""
        if fcntl is None:  # pragma: no cover - not a Unix
            raise OSError("this system has no flock; the service runs on Unix systems only")
        if self._descriptor is not None:
            raise RuntimeError(f"{self.path} is already locked by this object")
        self.path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(descriptor)
            return False
        except BaseException:
            os.close(descriptor)
            raise
        self._descriptor = descriptor
        # Who holds it is only told; on a full disk the lock holds without a name.
        with suppress(OSError):
            os.ftruncate(descriptor, 0)
            os.pwrite(descriptor, f"{os.getpid()}\n".encode(), 0)
        return True

    def release(self) -> None:
        if self._descriptor is not None:
            with suppress(OSError):
                os.ftruncate(self._descriptor, 0)
            os.close(self._descriptor)
            self._descriptor = None

    @property
    def held(self) -> bool:
        return self._descriptor is not None

    def holder(self) -> int | None:
        """The process id of whoever holds the lock; None when nobody does or it is not known."""
        if fcntl is None or not self.path.exists():
            return None
        descriptor = os.open(self.path, os.O_RDONLY | os.O_CLOEXEC)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            text = os.pread(descriptor, 32, 0).decode(errors="replace").strip()
            return int(text) if text.isdigit() else None
        finally:
            os.close(descriptor)
        return None
