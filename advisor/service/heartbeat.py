"""Calls one function again and again: one interval trigger in UTC, in memory, never twice at once.

What is owed is decided elsewhere, from the ledger; so a beat that comes late or not at all costs time, not
notices.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.interval import IntervalTrigger

#: shortest real time between two beats [s]
SHORTEST = 0.05
_JOB = "heartbeat"


class Heartbeat:
    """
    Parameters
    ----------
    beat : callable
        What to do; one call at a time, in a thread of its own.
    seconds : float
        Real time between two beats [s].
    on_trouble : callable
        Called with a word ("error", "missed" or "busy") and the exception, if there is one.
    """

    def __init__(
        self,
        beat: Callable[[], None],
        seconds: float,
        on_trouble: Callable[[str, BaseException | None], None] = lambda word, error: None,
    ):
        self.seconds = max(seconds, SHORTEST)
        self._on_trouble = on_trouble
        self._scheduler = BackgroundScheduler(
            timezone=UTC,
            daemon=True,
            jobstores={"default": MemoryJobStore()},
            executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
        )
        self._scheduler.add_listener(
            self._listen, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES
        )
        self._scheduler.add_job(
            beat,
            IntervalTrigger(seconds=self.seconds, timezone=UTC),
            id=_JOB,
            next_run_time=datetime.now(UTC),
        )

    def start(self) -> None:
        """Begin; the first beat comes at once."""
        self._scheduler.start()

    def poke(self) -> None:
        """Beat now."""
        self._scheduler.modify_job(_JOB, next_run_time=datetime.now(UTC))

    def watch(self) -> bool:
        """Beat now if the next beat is further away than it can be: the computer's clock was set back.

        The trigger counts in clock time and would wait until the clock has caught up.
        """
        job = self._scheduler.get_job(_JOB)
        if job is None or job.next_run_time is None:
            return False
        late = job.next_run_time - datetime.now(UTC) > timedelta(seconds=1.5 * self.seconds + 1.0)
        if late:
            self.poke()
        return late

    def pause(self) -> None:
        """No further beats; one that is running goes on."""
        self._scheduler.pause()

    def stop(self) -> None:
        """No further beats, and wait for the one that is running."""
        self._scheduler.shutdown(wait=True)

    def _listen(self, event) -> None:
        word = {EVENT_JOB_ERROR: "error", EVENT_JOB_MISSED: "missed"}.get(event.code, "busy")
        self._on_trouble(word, getattr(event, "exception", None))
