"""How fast and how many at once a host is asked by this process, whatever the number of sites.

=====================  =======  ==========  ==============================================================
host                   at once  spacing     why
=====================  =======  ==========  ==============================================================
api.met.no             4        0.1 s       20 a second for all installations of a program together; ours
                                            takes half of that at most
api.weather.gov        4        0.25 s      the limit is not published; over it, errors that clear in
                                            about 5 s
*.open-meteo.com       4        0.15 s      600 calls a minute of the free service; a call weighs more
                                            when it asks for many variables and members
any other              2        0.5 s       common practice, no source
this computer          8        none        nobody else is asked
=====================  =======  ==========  ==============================================================

The spacing is from the beginning of one request to that of the next, times the weight of the request before. Other
processes are not seen: a household has one service, and many sites share one process.
"""

from __future__ import annotations

import ipaddress
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limit:
    """`at_once` requests at a time, `spacing` between the beginnings of two [s]."""

    at_once: int
    spacing: float


LIMITS: dict[str, Limit] = {
    "api.met.no": Limit(4, 0.1),
    "api.weather.gov": Limit(4, 0.25),
    "open-meteo.com": Limit(4, 0.15),
}
ANY_OTHER = Limit(2, 0.5)
THIS_COMPUTER = Limit(8, 0.0)


def limit_of(host: str) -> Limit:
    """The limit of a host, by its name or that of the domain it belongs to."""
    host = host.lower().rstrip(".")
    if host == "localhost" or _is_loopback(host):
        return THIS_COMPUTER
    return next(
        (limit for name, limit in LIMITS.items() if host == name or host.endswith("." + name)), ANY_OTHER
    )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _shared_by(host: str) -> str:
    """Hosts of one provider share one allowance."""
    host = host.lower().rstrip(".")
    return next((name for name in LIMITS if host.endswith("." + name)), host)


class Gate:
    """Lets requests to each host through at its pace. Safe to use from several threads.

    Parameters
    ----------
    clock, sleep : callable
        Seconds that only go forward, and waiting; replaced by tests.
    """

    def __init__(
        self, clock: Callable[[], float] = time.monotonic, sleep: Callable[[float], None] = time.sleep
    ):
        self._clock, self._sleep = clock, sleep
        self._guard = threading.Lock()
        self._places: dict[str, threading.BoundedSemaphore] = {}
        self._free_at: dict[str, float] = {}

    @contextmanager
    def passing(self, host: str, weight: float = 1.0) -> Iterator[None]:
        """Wait for a place and for the host's turn; the place is given back at the end."""
        limit, key = limit_of(host), _shared_by(host)
        with self._guard:
            place = self._places.setdefault(key, threading.BoundedSemaphore(limit.at_once))
        with place:
            self._wait(key, limit.spacing * max(weight, 1.0))
            yield

    def _wait(self, key: str, spacing: float) -> None:
        with self._guard:
            now = self._clock()
            turn = max(now, self._free_at.get(key, now))
            self._free_at[key] = turn + spacing
        if turn > now:
            self._sleep(turn - now)


#: the gate of this process
GATE = Gate()
