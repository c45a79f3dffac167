"""The page's word: the file that holds it, and who may try to give it.

Wrong words are counted by the address they come from, so that a stranger's guesses do not keep the household out. All
strangers together have an allowance too: it bounds the guesses of many addresses and the memory that counting them
takes. An address from which the right word came keeps a place of its own when that allowance is used up.
"""

from __future__ import annotations

import hmac
import os
import stat
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from ipaddress import ip_address, ip_network
from pathlib import Path

from advisor.errors import UsageError

#: wrong words of one address, and of all strangers together, before they may not try for a while, and that while [s]
WRONG_WORDS, WRONG_IN_ALL, PAUSE = 5, 100, 60.0
#: addresses that are remembered because the right word came from them
MOST_KNOWN = 64


class Attempts:
    """Counts wrong words. Safe to ask from several threads.

    Parameters
    ----------
    clock : callable
        Seconds that only go forward; replaced by tests.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic):
        self._clock = clock
        self._guard = threading.Lock()
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()
        self._known: OrderedDict[str, None] = OrderedDict()

    def __len__(self) -> int:
        """Addresses that are remembered, for whatever reason."""
        return len(self._wrong) + len(self._known)

    def judge(self, address: str | None, given: str, word: str) -> bool | None:
        """Whether it is the word, compared in constant time; None where this address may not try now."""
        return self.judged(address, lambda: hmac.compare_digest(given.encode(), word.encode()))

    def judged(self, address: str | None, is_right: Callable[[], bool]) -> bool | None:
        """As `judge`, by another comparison."""
        source = neighbourhood(address)
        with self._guard:
            self._forget()
            tried = len(self._wrong.get(source, ()))
            in_all = sum(map(len, self._wrong.values()))
            if tried >= WRONG_WORDS or (in_all >= WRONG_IN_ALL and source not in self._known):
                return None
            if is_right():
                self._remember(source)
                return True
            self._wrong.setdefault(source, []).append(self._clock())
            return False

    def _forget(self) -> None:
        since = self._clock() - PAUSE
        for source in list(self._wrong):
            self._wrong[source] = [moment for moment in self._wrong[source] if moment > since]
            if not self._wrong[source]:
                del self._wrong[source]

    def _remember(self, source: str) -> None:
        self._wrong.pop(source, None)
        self._known[source] = None
        self._known.move_to_end(source)
        if len(self._known) > MOST_KNOWN:
            self._known.popitem(last=False)


def neighbourhood(address: str | None) -> str:
    """What one visitor can easily hold: an IPv4 address, or the 64 bits that a network of IPv6 is given."""
    try:
        found = ip_address((address or "").partition("%")[0])
    except ValueError:
        return "unknown"
    found = getattr(found, "ipv4_mapped", None) or found
    return str(found) if found.version == 4 else str(ip_network((found, 64), strict=False))


def read_word(file: str | Path) -> str:
    """The page's word: the first line of a file that only its owner can read.

    Raises
    ------
    UsageError
        When it cannot be read, is empty, or other users of this computer can read it.
    """
    where = str(file)
    try:
        with Path(file).open("rb") as opened:
            mode = stat.S_IMODE(os.fstat(opened.fileno()).st_mode)
            text = opened.read(4096).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(
            f"the file of the page's word cannot be read: {error}",
            where=where,
            hint="write the word alone into it",
        ) from error
    # what systemd hands over lies in a folder that only this service sees, and may be readable by the group there
    handed_over = os.environ.get("CREDENTIALS_DIRECTORY")
    if os.name == "posix" and mode & 0o077 and not (handed_over and Path(file).parent == Path(handed_over)):
        raise UsageError(
            f"other users can read the file of the page's word (mode {mode:04o})",
            where=where,
            hint=f"chmod 600 {where}",
        )
    word = text.split("\n")[0].strip()
    if not word:
        raise UsageError(
            "the file of the page's word is empty", where=where, hint="write the word alone into it"
        )
    return word
