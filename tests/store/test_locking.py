"""A lock that the system gives back, whatever becomes of its holder."""

import os
import resource

import pytest

from advisor.store.locking import FileLock


def test_one_at_a_time_and_by_name(tmp_path):
    first, second = FileLock(tmp_path / "a.lock"), FileLock(tmp_path / "a.lock")
    assert first.acquire() and first.held and not second.acquire()
    assert second.holder() == os.getpid()
    first.release()
    assert second.holder() is None and second.acquire()
    second.release()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs a child process")
def test_a_full_disk_takes_the_name_and_not_the_lock(tmp_path):
    """Regression: the process id could not be written, and the lock stayed taken until the process ended: a service
    that once met a full disk delivered nothing any more and said nothing of it."""
    child = os.fork()
    if child == 0:
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        status = 1
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (0, hard))
            lock = FileLock(tmp_path / "a.lock")
            taken = lock.acquire()
            elsewhere = FileLock(tmp_path / "a.lock")
            shut = not elsewhere.acquire() and elsewhere.holder() is None
            lock.release()
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
            status = 0 if taken and shut and lock.acquire() else 2
        finally:
            os._exit(status)
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
