"""One beat of the service: reload, see what is owed, pull, decide, keep, deliver, and say so in one line."""

from __future__ import annotations

import logging
import os
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from advisor.clock import iso
from advisor.errors import AdvisorError
from advisor.notify import Channel, Retry, deliver_due
from advisor.notify.deliver import Report
from advisor.service.clocks import Clock
from advisor.service.due import (
    HEARTBEAT,
    Occasion,
    Schedule,
    Work,
    changed_key,
    changed_mark,
    due,
    notice_mark,
    notices_prefix,
    pull_key,
    pull_mark,
)
from advisor.service.health import Health
from advisor.service.log import event, new_run_id
from advisor.service.prune import prune
from advisor.store import Store, marks, notices
from advisor.store.marks import Mark
from advisor.store.masking import masked
from advisor.store.notices import Notice

log = logging.getLogger(__name__)

#: what a decision may hand back
Decision = Notice | Iterable[Notice] | None


@dataclass(frozen=True, slots=True)
class Plan:
    """What a reload may change: the timetable and the channels by name."""

    schedule: Schedule
    channels: Mapping[str, Channel]


@dataclass(slots=True)
class Outcome:
    """What one cycle did; the fields of its log line."""

    now: datetime
    due: int = 0
    missed: int = 0
    pulled: bool | None = None
    decided: int = 0
    notices: int = 0
    delivery: Report = field(default_factory=Report)
    pruned: int | None = None
    reloaded: bool | None = None
    stopped: bool = False
    errors: list[str] = field(default_factory=list)


class Cycle:
    """The steps of a beat with everything that they need handed in.

    Parameters
    ----------
    pull : callable
        `pull(now)` fetches weather into the archive. It may fail: the cycle goes on with what is there.
    decide : callable
        `decide(work, now)` gives the notice (or notices) for one piece of work, or None when there is nothing
        to tell. It is asked again in a later cycle when it raises, until the work is of no use.
    reload : callable, optional
        `reload()` reads the user's files again and gives a `Plan`, or None when nothing of it has changed.
    occasions : callable, optional
        `occasions(now)` gives what the ledger and the weather give cause to tell, see `advisor.service.due`.
    keep : callable, optional
        `keep()` is how long answers of weather services are kept; those that a notice rests on stay for ever.
    seconds : float
        Real time between beats, for those who look whether the service lives [s].
    """

    def __init__(
        self,
        store: Store,
        clock: Clock,
        plan: Plan,
        *,
        pull: Callable[[datetime], object],
        decide: Callable[[Work, datetime], Decision],
        reload: Callable[[], Plan | None] | None = None,
        occasions: Callable[[datetime], Iterable[Occasion]] | None = None,
        keep: Callable[[], timedelta] | None = None,
        health: Health | None = None,
        retry: Retry | None = None,
        seconds: float = 300.0,
        should_stop: Callable[[], bool] = lambda: False,
    ):
        self.store, self.clock, self.plan = store, clock, plan
        self.health = health or Health()
        self._pull, self._decide, self._reload = pull, decide, reload
        self._occasions, self._keep = occasions, keep
        self._retry = retry or Retry()
        self._seconds = seconds
        self._should_stop = should_stop
        self._reload_asked = threading.Event()
        self._reload_trouble: str | None = None
        self._running = threading.Lock()

    def ask_reload(self) -> None:
        """Read the user's files again at the beginning of the next cycle."""
        self._reload_asked.set()

    def wait_idle(self, seconds: float) -> bool:
        """Wait until no cycle is running; False when one still is after so long."""
        idle = self._running.acquire(timeout=seconds)
        if idle:
            self._running.release()
        return idle

    def run(self) -> Outcome:
        """One cycle. Expected faults end in the outcome, the log and the health; faults of this program are
        raised after the line is written."""
        with self._running:
            run_id = new_run_id()
            started = time.monotonic()
            outcome = Outcome(self.clock.now())
            fault: Exception | None = None
            try:
                self._steps(outcome)
            except AdvisorError as error:
                self._failed(outcome, "cycle", error)
            except Exception as error:
                self._failed(outcome, "cycle", error)
                fault = error
            self._beat(outcome, run_id)
            self._tell(outcome, time.monotonic() - started)
        if fault is not None:
            raise fault
        return outcome

    # -- the steps

    def _steps(self, outcome: Outcome) -> None:
        if self._reload_asked.is_set():
            self._reload_asked.clear()
            self._read_again(outcome)
        schedule = self.plan.schedule
        work = due(outcome.now, schedule, self._marks(schedule), self._causes(outcome))
        outcome.due = sum(not one.missed for one in work)
        for one in work:
            if self._should_stop():
                outcome.stopped = True
                return
            now = self.clock.now()
            if one.missed:
                marks.put(self.store, one.key, now, notice_mark(now, one).data)
                outcome.missed += 1
                event(log, "notice_missed", logging.WARNING, kind=one.kind, local_date=one.local_date)
            elif one.kind == "pull":
                self._pull_weather(one, now, outcome)
            elif one.planned_at <= now <= one.good_until or one.kind == "changed":
                self._decide_and_keep(one, now, outcome)
        if self._should_stop():
            outcome.stopped = True
            return
        outcome.delivery = deliver_due(
            self.store, self.plan.channels, self.clock.now(), retry=self._retry, should_stop=self._should_stop
        )
        for text in outcome.delivery.errors:
            event(log, "delivery_failed", logging.WARNING, reason=text)
        if self._keep is not None:
            outcome.pruned = prune(self.store, self.plan.schedule.key, self.clock.now(), self._keep())

    def _causes(self, outcome: Outcome) -> tuple[Occasion, ...]:
        if self._occasions is None:
            return ()
        try:
            return tuple(self._occasions(outcome.now))
        except Exception as error:
            # The notices of the day must not wait for a fault in the others.
            self._failed(outcome, "occasions", error)
            return ()

    def _read_again(self, outcome: Outcome) -> None:
        if self._reload is None:
            return
        try:
            self.plan = self._reload() or self.plan
        except Exception as error:
            # A file with a fault in it must not stop the service: what was read before still holds.
            outcome.reloaded = False
            self._failed(outcome, "reload", error)
            self._reload_trouble = f"{outcome.errors[-1]} (the earlier files are still in use)"
            event(log, "reload_refused", logging.WARNING, in_use="the earlier files")
        else:
            outcome.reloaded = True
            self._reload_trouble = None
            event(log, "reloaded", channels=",".join(self.plan.channels) or "none")

    def _marks(self, schedule: Schedule) -> dict[str, Mark]:
        found = marks.with_prefix(self.store, notices_prefix(schedule))
        for key in (HEARTBEAT, pull_key(schedule), changed_key(schedule)):
            mark = marks.get(self.store, key)
            if mark is not None:
                found[key] = mark
        return found

    def _pull_weather(self, work: Work, now: datetime, outcome: Outcome) -> None:
        try:
            self._pull(now)
            outcome.pulled = True
        except Exception as error:
            outcome.pulled = False
            self._failed(outcome, "pull", error)
        before = marks.get(self.store, work.key)
        mark = pull_mark(now, self.plan.schedule, before, outcome.pulled)
        marks.put(self.store, work.key, mark.at, mark.data)

    def _decide_and_keep(self, work: Work, now: datetime, outcome: Outcome) -> None:
        try:
            decision = self._decide(work, now)
            told = (
                () if decision is None else (decision,) if isinstance(decision, Notice) else tuple(decision)
            )
        except Exception as error:
            self._failed(outcome, f"decide {work.kind}", error)
            return
        outcome.decided += 1
        with self.store.write():
            for notice in told:
                if notice.good_until is None:
                    notice = replace(notice, good_until=work.good_until)
                kept = notices.put(self.store, notice, self.plan.channels, now)
                outcome.notices += kept is not None
            if work.kind == "changed":
                mark = changed_mark(now, marks.get(self.store, pull_key(self.plan.schedule)))
            else:
                mark = notice_mark(now, work)
            marks.put(self.store, work.key, mark.at, mark.data)

    # -- saying so

    def _failed(self, outcome: Outcome, step: str, error: Exception) -> None:
        text = masked(_in_one_line(error) or type(error).__name__)
        outcome.errors.append(f"{step}: {text}")
        self.health.note(step, text)
        # The traceback of an expected fault tells nothing; that of a bug tells where it is.
        bug = None if isinstance(error, AdvisorError) else error
        level = logging.WARNING if bug is None else logging.ERROR
        event(log, "step_failed", level, error=bug, step=step, reason=text)

    def _beat(self, outcome: Outcome, run_id: str) -> None:
        if self._reload_trouble is not None:
            self.health.note("reload", self._reload_trouble)
        elif not outcome.errors:
            self.health.clear()
        errors = [text for text in outcome.errors if not text.startswith("reload: ")]
        trouble = [*errors, *([self._reload_trouble] if self._reload_trouble else [])]
        data = {
            "run_id": run_id,
            "pid": os.getpid(),
            "real_at": datetime.now(UTC),
            "seconds": self._seconds,
            "trouble": "; ".join(trouble) or None,
        }
        try:
            marks.put(self.store, HEARTBEAT, outcome.now, data)
        except AdvisorError as error:
            self._failed(outcome, "heartbeat", error)

    def _tell(self, outcome: Outcome, seconds: float) -> None:
        delivery = outcome.delivery
        event(
            log,
            "cycle",
            logging.WARNING if outcome.errors else logging.INFO,
            now=iso(outcome.now),
            site=self.plan.schedule.key,
            due=outcome.due,
            missed=outcome.missed,
            pulled=outcome.pulled,
            decided=outcome.decided,
            notices=outcome.notices,
            sent=delivery.sent,
            postponed=delivery.postponed,
            failed=delivery.failed,
            uncertain=delivery.uncertain,
            too_late=delivery.too_late,
            pruned=outcome.pruned or None,
            reloaded=outcome.reloaded,
            stopped=outcome.stopped or None,
            errors=len(outcome.errors),
            duration_ms=round(1000 * seconds),
        )


def _in_one_line(error: Exception) -> str:
    """What is wrong, where and what to do, which stand on lines of their own, with semicolons between them."""
    return "; ".join(" ".join(line.split()) for line in str(error).splitlines() if line.strip())
