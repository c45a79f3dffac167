"""Every error that a person may meet, each with what, where, why and what to do next.

AdvisorError
├── UsageError            exit 2    the command was asked for something it cannot do
├── InvalidFile           exit 5    a rule, label, treatment or household file is wrong
├── WeatherError          exit 6    an answer cannot be read, or is of another place
│   └── SourceUnreachable exit 6    the network or the provider failed
├── NotDelivered          exit 7    a notice did not reach its channel
├── StoreError            exit 1    the database is newer, damaged or unwritable
└── Busy                  exit 75   another service holds the lock
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

#: letters of each part of a message; what was written may be of any length, and is told back in it
LONGEST_PART = 600


def clipped(text: str, most: int = LONGEST_PART) -> str:
    """The text, or its beginning and its end where it is too long to be read."""
    if not isinstance(text, str) or len(text) <= most:
        return text
    return f"{text[: most - 103]} … {text[-100:]}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong: `where` is file:line, a key path or an address."""

    what: str
    where: str = ""
    hint: str = ""

    def __post_init__(self):
        for name in ("what", "where", "hint"):
            object.__setattr__(self, name, clipped(getattr(self, name)))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        hint = f"\n    {self.hint}" if self.hint else ""
        return f"{place}{self.what}{hint}"


class AdvisorError(Exception):
    """Base of all expected errors; never shown with a traceback."""

    code = "error"
    exit_status = 1

    def __init__(self, what: str, *, where: str = "", hint: str = "", problems: Iterable[Problem] = ()):
        self.problems = tuple(problems) or (Problem(what, where, hint),)
        self.what, self.where, self.hint = clipped(what), clipped(where), clipped(hint)
        super().__init__(self.what)

    def __str__(self) -> str:
        if len(self.problems) == 1 and self.problems[0].what == self.what:
            return str(self.problems[0])
        return "\n".join([self.what, *(f"  {problem}" for problem in self.problems)])

    def __reduce__(self):
        return _rebuild, (type(self), self.what, self.where, self.hint, self.problems)


def _rebuild(kind, what, where, hint, problems):
    return kind(what, where=where, hint=hint, problems=problems)


class UsageError(AdvisorError):
    code, exit_status = "usage", 2


class InvalidFile(AdvisorError, ValueError):
    code, exit_status = "invalid_file", 5


class WeatherError(AdvisorError):
    code, exit_status = "weather", 6


class SourceUnreachable(WeatherError):
    code = "unreachable"


class NotDelivered(AdvisorError):
    """`permanent` errors are not tried again, others not before `not_before` [s], which the receiver asked for."""

    code, exit_status = "not_delivered", 7

    def __init__(self, what: str, *, permanent: bool = False, not_before: float = 0.0, **details):
        super().__init__(what, **details)
        self.permanent, self.not_before = permanent, not_before


class StoreError(AdvisorError):
    code = "store"


class Busy(AdvisorError):
    code, exit_status = "busy", 75


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """'did you mean "x"?' or the list of what is known, for hints."""
    known = sorted(known)
    close = difflib.get_close_matches(word, known, n=1, cutoff=0.6)
    # "night-temperature" means a rule of the nights before it means the one of the soil's temperature
    subject = word.lower().partition("-")[0].rstrip("s")
    akin = [one for one in known if len(subject) >= 4 and one.startswith(subject)]
    if akin and (
        not close or close[0] not in akin and difflib.SequenceMatcher(None, word, close[0]).ratio() < 0.85
    ):
        return "did you mean " + " or ".join(f'"{one}"' for one in akin[:3]) + "?"
    if close:
        return f'did you mean "{close[0]}"?'
    return "known: " + ", ".join(known) if len(known) <= 24 else ""
