"""The service: one process in the foreground that beats until it is told to end.

SIGTERM and SIGINT let the present step finish and end with 0 within ten seconds; a second one ends at once.
SIGHUP reads the user's files again.
"""

from __future__ import annotations

import logging
import os
import select
import signal
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import AbstractContextManager, ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from advisor.clock import iso
from advisor.notify import Channel, Retry
from advisor.service.clocks import Clock
from advisor.service.cycle import Cycle, Decision, Plan
from advisor.service.due import Occasion, Schedule, Work
from advisor.service.health import Health
from advisor.service.heartbeat import Heartbeat
from advisor.service.lock import ServiceLock
from advisor.service.log import event
from advisor.store import Store

log = logging.getLogger(__name__)

#: how long the present step may still take after the first signal [s]
DRAIN = 9.0
_TICK = 0.25


@dataclass(frozen=True)
class Part:
    """One household of a service that has several: its ledger, its lock, and what a cycle of it does."""

    store_path: Path | str
    lock_path: Path | str
    schedule: Schedule
    pull: Callable[[datetime], object]
    decide: Callable[[Work, datetime], Decision]
    channels: Mapping[str, Channel] | Iterable[Channel]
    reload: Callable[[], Plan | None] | None = None
    occasions: Callable[[datetime], Iterable[Occasion]] | None = None
    keep: Callable[[], timedelta] | None = None
    #: what those who show this household may ask
    health: Health = field(default_factory=Health)


def serve(
    store_path: Path | str,
    lock_path: Path | str,
    clock: Clock,
    heartbeat_seconds: float,
    schedule: Schedule,
    pull: Callable[[datetime], object],
    decide: Callable[[Work, datetime], Decision],
    channels: Mapping[str, Channel] | Iterable[Channel],
    reload: Callable[[], Plan | None] | None = None,
    *,
    occasions: Callable[[datetime], Iterable[Occasion]] | None = None,
    keep: Callable[[], timedelta] | None = None,
    health: Health | None = None,
    retry: Retry | None = None,
    beside: Iterable[AbstractContextManager] = (),
    stop: threading.Event | None = None,
    drain_seconds: float = DRAIN,
) -> int:
    """Run one household until a signal or `stop`; the exit status, 0.

    Parameters
    ----------
    heartbeat_seconds : float
        Time between two beats by `clock` [s]; a fast clock beats faster in real time, to a limit.
    pull, decide, reload, occasions, keep : callable
        See `advisor.service.cycle.Cycle`.
    channels : mapping or iterable of Channel
        By name, or with names.
    beside : iterable of context managers
        Entered once the ledger is open and left before it is closed, such as a web server in threads of its
        own.
    stop : threading.Event, optional
        Another way to end than a signal.

    Raises
    ------
    Busy
        When another service holds the lock.
    StoreError
        When the ledger cannot be opened.
    """
    part = Part(
        store_path, lock_path, schedule, pull, decide, channels, reload, occasions, keep, health or Health()
    )
    return serve_parts(
        [part],
        clock,
        heartbeat_seconds,
        retry=retry,
        beside=beside,
        stop=stop,
        drain_seconds=drain_seconds,
    )


def serve_parts(
    parts: Iterable[Part],
    clock: Clock,
    heartbeat_seconds: float,
    *,
    retry: Retry | None = None,
    beside: Iterable[AbstractContextManager] = (),
    stop: threading.Event | None = None,
    drain_seconds: float = DRAIN,
) -> int:
    """Run several households in one process, one after the other at each beat."""
    ending = stop or threading.Event()
    with ExitStack() as stack:
        parts = list(parts)
        for part in parts:
            stack.enter_context(ServiceLock(part.lock_path))
        seconds = heartbeat_seconds / clock.rate
        stores = [stack.enter_context(Store.open(part.store_path)) for part in parts]
        signals = stack.enter_context(_signals())
        cycles = [
            _cycle(part, store, clock, retry, seconds, ending)
            for part, store in zip(parts, stores, strict=True)
        ]
        everything = _All(cycles, ending)
        heartbeat = Heartbeat(everything.run, seconds, lambda word, error: _note(cycles, word, error))
        for one in beside:
            stack.enter_context(one)
        event(
            log,
            "service_started",
            pid=os.getpid(),
            now=iso(clock.now()),
            rate=clock.rate if clock.rate != 1 else None,
            heartbeat_seconds=round(heartbeat.seconds, 3),
            households=len(cycles) if len(cycles) > 1 else None,
            channels=",".join(name for cycle in cycles for name in cycle.plan.channels) or "none",
        )
        heartbeat.start()
        _wait(signals, ending, everything, heartbeat)
        _drain(everything, heartbeat, drain_seconds, signals is not None)
    event(log, "service_ended")
    return 0


def _cycle(part, store, clock, retry, seconds, ending) -> Cycle:
    given = part.channels
    by_name = dict(given) if isinstance(given, Mapping) else {one.name: one for one in given}
    return Cycle(
        store,
        clock,
        Plan(part.schedule, by_name),
        pull=part.pull,
        decide=part.decide,
        reload=part.reload,
        occasions=part.occasions,
        keep=part.keep,
        health=part.health,
        retry=retry,
        seconds=seconds,
        should_stop=ending.is_set,
    )


class _All:
    """The cycles of all households as one: a fault in one of them does not keep the others from theirs."""

    def __init__(self, cycles: list[Cycle], ending: threading.Event):
        self._cycles, self._ending = cycles, ending
        self._running = threading.Lock()

    def run(self) -> None:
        fault = None
        with self._running:
            for at, cycle in enumerate(self._cycles):
                if at and self._ending.is_set():
                    break
                try:
                    cycle.run()
                except Exception as error:
                    fault = fault or error
        if fault is not None:
            raise fault

    def ask_reload(self) -> None:
        for cycle in self._cycles:
            cycle.ask_reload()

    def wait_idle(self, seconds: float) -> bool:
        idle = self._running.acquire(timeout=seconds)
        if idle:
            self._running.release()
        return idle


def _wait(signals: int | None, ending: threading.Event, cycle: _All, heartbeat: Heartbeat) -> None:
    """Until told to end; meanwhile reload when asked, and keep beating when the clock is set back."""
    while not ending.is_set():
        if signals is None:
            ending.wait(_TICK)
        elif select.select([signals], [], [], _TICK)[0]:
            for number in os.read(signals, 64):
                if number == signal.SIGHUP:
                    cycle.ask_reload()
                    heartbeat.poke()
                else:
                    event(log, "service_ending", signal=signal.Signals(number).name)
                    ending.set()
        if heartbeat.watch():
            event(log, "clock_set_back", logging.WARNING)


def _drain(cycle: _All, heartbeat: Heartbeat, seconds: float, own_process: bool) -> None:
    heartbeat.pause()
    started = time.monotonic()
    if cycle.wait_idle(seconds):
        heartbeat.stop()
        return
    event(log, "step_abandoned", logging.WARNING, waited_seconds=round(time.monotonic() - started, 1))
    if own_process:
        # The step hangs in a thread that cannot be ended. What it has not kept is done again after the next
        # start, exactly as after a loss of power.
        logging.shutdown()
        os._exit(0)


def _note(cycles: Iterable[Cycle], word: str, error: BaseException | None) -> None:
    if word != "error":  # the cycle itself tells its errors
        for cycle in cycles:
            cycle.health.note(word, str(error or word))
        event(log, f"heartbeat_{word}", logging.DEBUG if word == "busy" else logging.WARNING)


@contextmanager
def _signals():
    """The reading end of a pipe that receives each signal's number; None outside the main thread.

    The handler does nothing but write a byte: whatever takes a lock could wait for the very code it
    interrupts.
    """
    if threading.current_thread() is not threading.main_thread():
        yield None
        return
    reading, writing = os.pipe()
    os.set_blocking(writing, False)
    asked = []

    def handle(number, frame):
        if number != signal.SIGHUP:
            asked.append(number)
            if len(asked) > 1:
                os._exit(128 + number)
        with suppress(BlockingIOError):
            os.write(writing, bytes([number]))

    before = {
        number: signal.signal(number, handle) for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    }
    try:
        yield reading
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        os.close(reading)
        os.close(writing)
