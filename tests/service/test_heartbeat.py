"""The heartbeat: at once, again and again, never twice at once, not stopped by an error or a clock."""

import threading
import time
from datetime import UTC, datetime, timedelta

import pytest
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.triggers.interval import IntervalTrigger

from advisor.service.heartbeat import SHORTEST, Heartbeat


def until(condition, seconds=5.0):
    deadline = time.monotonic() + seconds
    while not condition() and time.monotonic() < deadline:
        time.sleep(0.005)
    return condition()


@pytest.fixture
def run():
    """Start a heartbeat that is stopped after the test."""
    started = []

    def run(beat, seconds, *rest):
        heartbeat = Heartbeat(beat, seconds, *rest)
        heartbeat.start()
        started.append(heartbeat)
        return heartbeat

    yield run
    for heartbeat in started:
        heartbeat.stop()


def test_it_beats_at_once_and_goes_on(run):
    beats = []
    run(lambda: beats.append(time.monotonic()), 0.05)
    assert until(lambda: len(beats) >= 4)


def test_the_first_beat_does_not_wait_for_the_interval(run):
    beats = []
    run(lambda: beats.append(1), 3600)
    assert until(lambda: beats)


def test_an_error_is_told_and_the_beats_go_on(run):
    beats, trouble = [], []

    def beat():
        beats.append(1)
        raise ValueError("a bug")

    run(beat, 0.05, lambda word, error: trouble.append((word, str(error))))
    assert until(lambda: len(beats) >= 3)
    assert ("error", "a bug") in trouble


def test_a_slow_beat_is_not_doubled(run):
    running, most, trouble = [], [], []

    def beat():
        running.append(1)
        most.append(len(running))
        time.sleep(0.2)
        running.pop()

    run(beat, 0.05, lambda word, error: trouble.append(word))
    assert until(lambda: len(most) >= 3)
    assert max(most) == 1 and "busy" in trouble


def test_a_poke_beats_now(run):
    beats = []
    heartbeat = run(lambda: beats.append(1), 3600)
    assert until(lambda: len(beats) == 1)
    heartbeat.poke()
    assert until(lambda: len(beats) == 2)


def test_after_a_clock_set_back_it_does_not_wait_until_the_clock_has_caught_up(run):
    """The same state as after setting the clock back by a day: the next beat lies a day ahead."""
    beats = []
    heartbeat = run(lambda: beats.append(1), 60)
    assert until(lambda: len(beats) == 1)
    assert not heartbeat.watch()
    heartbeat._scheduler.modify_job("heartbeat", next_run_time=datetime.now(UTC) + timedelta(days=1))
    assert heartbeat.watch()
    assert until(lambda: len(beats) == 2)


def test_a_pause_lets_the_running_beat_finish_and_starts_no_other(run):
    entered, leave, finished = threading.Event(), threading.Event(), []

    def beat():
        entered.set()
        leave.wait(5)
        finished.append(1)

    heartbeat = run(beat, 0.05)
    assert entered.wait(5)
    heartbeat.pause()
    leave.set()
    assert until(lambda: finished)
    time.sleep(0.2)
    assert finished == [1]


def test_the_settings_are_those_that_known_faults_ask_for():
    """Interval trigger in UTC, memory store, late beats never dropped, lost ones made good by one."""
    heartbeat = Heartbeat(lambda: None, 0.0)
    assert heartbeat.seconds == SHORTEST
    heartbeat._scheduler.start(paused=True)
    job = heartbeat._scheduler.get_job("heartbeat")
    assert isinstance(job.trigger, IntervalTrigger) and job.trigger.timezone.utcoffset(None) == timedelta(0)
    assert isinstance(heartbeat._scheduler._jobstores["default"], MemoryJobStore)
    assert (job.coalesce, job.max_instances, job.misfire_grace_time) == (True, 1, None)
    heartbeat.stop()
