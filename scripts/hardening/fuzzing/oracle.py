"""What a reader promises for any bytes: an answer, or the error that it declares, soon and within bounded memory."""

from __future__ import annotations

import re
import resource
import signal
import traceback
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from advisor.errors import AdvisorError

#: processor time for one input [s] and memory above what the program holds already [bytes]
SECONDS, MEMORY = 2.0, 400 * 2**20
#: letters of one problem that a person is told
LONGEST_MESSAGE = 2000
_ROOT = Path(__file__).resolve().parents[3]
#: what only programmers read
_INSIDE = re.compile(
    r"Traceback|object at 0x|<class |NoneType|\b(?:Key|Type|Value|Index|Attribute|Overflow|Recursion)Error\b|"
    r"sys\.set_int_max_str_digits|codec can't|unhashable|not subscriptable|positional argument"
)


class TooLong(BaseException):
    """Not an Exception, so that no reader can catch it."""


@dataclass(frozen=True)
class Target:
    """A reader and what it declares.

    Attributes
    ----------
    group : str
        The line of the table that it is counted in.
    seeds : callable () -> list of bytes
        Valid inputs, made by this project's own generators.
    change : callable (Random, bytes, list of bytes) -> bytes
        Changes that know the grammar.
    read : callable (bytes) -> object
    errors : tuple of types
        What it may raise; an error of ours must also tell what is wrong.
    check : callable (object) -> str
        What is wrong with an answer; empty where nothing is.
    share : float
        How many inputs it gets, beside the others.
    seconds : float
        Processor time for one input [s].
    """

    name: str
    group: str
    seeds: Callable[[], list[bytes]]
    change: Callable
    read: Callable[[bytes], object]
    errors: tuple[type[BaseException], ...]
    check: Callable[[object], str] = lambda found: ""
    share: float = 1.0
    seconds: float = SECONDS


@dataclass(frozen=True)
class Fault:
    """How an input ended as it must not; `place` makes two faults the same one."""

    kind: str
    place: str
    says: str


def judge(target: Target, data: bytes) -> Fault | None:
    """What is wrong with how a reader took these bytes; None when it kept its promise."""
    try:
        with cut_off(target.seconds):
            found = target.read(data)
            wrong = target.check(found)
    except target.errors as error:
        wrong = message_fault(error)
        return (
            Fault("message", f"{_place(error)}: {wrong}", f"{type(error).__name__}: {wrong}")
            if wrong
            else None
        )
    except TooLong as error:
        return Fault("hang", _place(error), f"no answer within {target.seconds:g} s of processor time")
    except MemoryError as error:
        return Fault("memory", _place(error), f"more than {MEMORY // 2**20} MB for {len(data):,} bytes")
    except Exception as error:
        first = (str(error).splitlines() or [""])[0]
        return Fault(
            "traceback",
            f"{type(error).__name__} at {_place(error)}",
            f"{type(error).__name__}: {first[:160]}",
        )
    return Fault("answer", wrong.split(":")[0], wrong) if wrong else None


def message_fault(error: BaseException) -> str:
    """What is wrong with the words of an error; empty when it tells what, to a person."""
    if not isinstance(error, AdvisorError):
        return "" if str(error).strip() else "an error without words"
    for problem in error.problems:
        if not problem.what.strip():
            return "a problem without words"
        text = str(problem)
        if len(text) > LONGEST_MESSAGE:
            return f"a message of more than {LONGEST_MESSAGE} letters"
        # what the person wrote is told back in quotes, and may hold anything
        inside = _INSIDE.search(re.sub(r'".*?"', "", text, flags=re.DOTALL))
        if inside:
            return f'a message for programmers, "{inside[0]}"'
    return ""


@contextmanager
def cut_off(seconds: float):
    """Raise `TooLong` after so much processor time of this process."""

    def ring(number, frame):
        raise TooLong

    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


@contextmanager
def bounded_memory(more: int = MEMORY):
    """This process may take so much more memory than it holds now [bytes]; where the system cannot say, no bound."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    try:
        held = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    except OSError:
        yield
        return
    resource.setrlimit(resource.RLIMIT_AS, (held + more, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, before)


def _place(error: BaseException) -> str:
    """File and line of ours where it broke, the innermost one."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [one for one in frames if one.filename.startswith(str(_ROOT / "advisor"))]
    last = (ours or frames)[-1]
    name = Path(last.filename)
    return f"{name.relative_to(_ROOT) if name.is_relative_to(_ROOT) else name.name}:{last.lineno}"
