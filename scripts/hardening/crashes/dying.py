"""Processes that end in the midst of what they do: at a counted step, at any moment, or within a write.

A child is forked from this warm process, so that a run costs milliseconds. Steps are those at which something could be
half done: every few instructions of the database engine, every statement, every change of a name in a folder.
"""

from __future__ import annotations

import os
import pickle
import random
import resource
import signal
import sqlite3
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass

#: instructions of the database engine between two steps
_INSTRUCTIONS = 40
_NAMES = ("link", "replace", "rename", "unlink", "fsync")


@dataclass(frozen=True)
class End:
    """How a child ended, what it said before, and for how long it lived [s]."""

    killed: bool
    said: list
    fault: str
    seconds: float
    steps: int


class Fuse:
    def __init__(self, at: int | None):
        self.at, self.passed = at, 0

    def step(self, *_) -> None:
        self.passed += 1
        if self.passed == self.at:
            os.kill(os.getpid(), signal.SIGKILL)


def run(deed: Callable[[Callable], None], *, at_step: int | None = None, after: float | None = None,
        file_limit: int | None = None) -> End:  # fmt: skip
    """Do `deed(say)` in a child that may be killed.

    Parameters
    ----------
    deed : callable
        Given a function that sends a value to this process, whatever happens afterwards.
    at_step : int, optional
        The child kills itself at this step, SIGKILL.
    after : float, optional
        This process kills it after so many seconds, SIGKILL.
    file_limit : int, optional
        The system ends it in the write that would make a file larger than this [bytes].
    """
    reading, writing = os.pipe()
    began = time.perf_counter()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _live(deed, writing, Fuse(at_step), file_limit)
    os.close(writing)
    if after is not None:
        time.sleep(after)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reading, "rb") as pipe:
        words = _words(pipe)
    _, status = os.waitpid(child, 0)
    seconds = time.perf_counter() - began
    said = [word for kind, word in words if kind == "said"]
    fault = "".join(word for kind, word in words if kind == "fault")
    steps = sum(word for kind, word in words if kind == "steps")
    killed = os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGKILL, signal.SIGXFSZ)
    if not killed and os.waitstatus_to_exitcode(status) != 0 and not fault:
        fault = f"ended with {os.waitstatus_to_exitcode(status)}"
    return End(killed, said, fault, seconds, steps)


def draw(dice: random.Random, whole: End, *, file_limit: int = 0) -> dict:
    """Where the next child dies: mostly at a step, else at any moment or, where a limit is given, within a write."""
    kind = dice.random()
    if kind < 0.65:
        return {"at_step": dice.randint(1, max(1, whole.steps))}
    if kind < 0.85 or not file_limit:
        return {"after": dice.uniform(0.0, whole.seconds)}
    return {"file_limit": dice.randint(0, file_limit)}


def _live(deed, writing: int, fuse: Fuse, file_limit: int | None) -> None:
    status = 1
    try:
        _lay(fuse)
        if file_limit is not None:
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            resource.setrlimit(resource.RLIMIT_FSIZE, (file_limit, file_limit))
        deed(lambda word: _tell(writing, "said", word))
        _tell(writing, "steps", fuse.passed)
        status = 0
    except BaseException:
        _tell(writing, "fault", traceback.format_exc())
    finally:
        os._exit(status)


def _lay(fuse: Fuse) -> None:
    connect = sqlite3.connect

    def stepping(*given, **named):
        connection = connect(*given, **named)
        connection.set_progress_handler(fuse.step, _INSTRUCTIONS)
        connection.set_trace_callback(fuse.step)
        return connection

    sqlite3.connect = stepping
    for name in _NAMES:
        setattr(os, name, _around(getattr(os, name), fuse))


def _around(function, fuse: Fuse):
    def stepping(*given, **named):
        fuse.step()
        found = function(*given, **named)
        fuse.step()
        return found

    return stepping


def _tell(writing: int, kind: str, word: object) -> None:
    said = pickle.dumps((kind, word))
    os.write(writing, len(said).to_bytes(4, "big") + said)


def _words(pipe) -> list:
    """Everything that came through whole."""
    words = []
    while len(head := pipe.read(4)) == 4:
        size = int.from_bytes(head, "big")
        body = pipe.read(size)
        if len(body) < size:
            break
        words.append(pickle.loads(body))
    return words
