"""The whole service as a process: signals, the lock, and being killed at any moment."""

import json
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from advisor.notify.deliver import INTERRUPTED
from advisor.service import RealClock, ServiceLock, check, serve
from advisor.store import Store, marks, notices, outbox
from advisor.store.outbox import TOO_LATE

PROGRAM = Path(__file__).with_name("program.py")
REPOSITORY = Path(__file__).parents[2]


class Service:
    """The program of the tests as a process; `lines` are its log lines so far."""

    def __init__(self, folder, **given):
        self.lines = []
        words = [f"{key}={value}" for key, value in given.items()]
        self.process = subprocess.Popen(
            [sys.executable, str(PROGRAM), str(folder), *words],
            cwd=REPOSITORY,
            env={"PYTHONPATH": str(REPOSITORY), "PATH": "/usr/bin:/bin"},
            stderr=subprocess.PIPE,
            text=True,
        )
        self.reader = threading.Thread(target=self.read, daemon=True)
        self.reader.start()

    def read(self):
        for line in self.process.stderr:
            self.lines.append(line)

    def events(self, name):
        found = [json.loads(line) for line in list(self.lines) if line.startswith("{")]
        return [line for line in found if line["event"] == name]

    def wait_for(self, name, count=1, seconds=20.0):
        deadline = time.monotonic() + seconds
        while len(self.events(name)) < count:
            assert time.monotonic() < deadline, "".join(self.lines)
            assert self.process.poll() is None, "".join(self.lines)
            time.sleep(0.01)
        return self.events(name)

    def end(self, seconds=15.0):
        code = self.process.wait(seconds)
        self.reader.join(5)
        return code


@contextmanager
def running(folder, **given):
    service = Service(folder, **given)
    try:
        yield service
    finally:
        if service.process.poll() is None:
            service.process.kill()
        service.process.wait()
        service.reader.join(5)
        service.process.stderr.close()


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_with_0(tmp_path, number):
    with running(tmp_path) as service:
        service.wait_for("cycle")
        started = time.monotonic()
        service.process.send_signal(number)
        assert service.end() == 0
        assert time.monotonic() - started < 10
        assert service.events("service_ended")
    with Store.open(tmp_path / "ledger.db") as store:
        assert store.integrity_check() == ()
    with ServiceLock(tmp_path / "service.lock"):
        pass


def test_the_step_at_work_is_finished_and_no_further_one_begun(tmp_path):
    with running(tmp_path, hang=1.0) as service:
        wait_for_file(tmp_path / "pulling")
        service.process.terminate()
        assert service.end() == 0
        (line,) = service.events("cycle")
        assert line["pulled"] is True and line["stopped"] is True and line["decided"] == 0


def test_a_step_that_hangs_is_abandoned_in_time_and_the_exit_is_still_0(tmp_path):
    with running(tmp_path, hang=60, drain=0.5) as service:
        wait_for_file(tmp_path / "pulling")
        started = time.monotonic()
        service.process.terminate()
        assert service.end() == 0
        assert time.monotonic() - started < 5
        assert service.events("step_abandoned")


def test_a_second_signal_ends_it_at_once(tmp_path):
    with running(tmp_path, hang=60) as service:
        wait_for_file(tmp_path / "pulling")
        service.process.terminate()
        service.wait_for("service_ending")
        started = time.monotonic()
        service.process.terminate()
        assert service.end() == 128 + signal.SIGTERM
        assert time.monotonic() - started < 2


def test_sighup_reads_the_files_again_at_once_and_a_bad_one_does_no_harm(tmp_path):
    with running(tmp_path) as service:
        service.wait_for("cycle")
        service.process.send_signal(signal.SIGHUP)
        service.wait_for("reloaded")
        (tmp_path / "bad").write_text("")
        service.process.send_signal(signal.SIGHUP)
        (line,) = service.wait_for("step_failed")
        assert line["step"] == "reload" and "lawn.toml:3" in line["reason"]
        service.process.terminate()
        assert service.end() == 0


def test_a_second_service_is_refused_with_75(tmp_path):
    with running(tmp_path) as first:
        first.wait_for("cycle")
        with running(tmp_path) as second:
            assert second.end() == 75
            assert f"process {first.process.pid}" in "".join(second.lines)
        assert first.process.poll() is None


def test_a_newer_ledger_is_refused_without_a_traceback(tmp_path):
    with Store.open(tmp_path / "ledger.db") as store, store.write() as connection:
        connection.execute("PRAGMA user_version = 99")
    with running(tmp_path) as service:
        assert service.end() == 1
        text = "".join(service.lines)
    assert "newer version" in text and "Traceback" not in text


def test_days_on_a_fast_clock_with_kills_tell_every_notice_once(tmp_path, schedule):
    """A day a second, killed again and again at random moments while the clock runs on."""
    rate, anchor, chance = 24 * 3600.0, time.monotonic(), random.Random(7)
    begun = []
    for _ in range(5):
        with running(tmp_path, rate=rate, anchor=anchor, seconds=3600) as service:
            begun.append(datetime.fromisoformat(service.wait_for("cycle")[0]["now"]))
            time.sleep(chance.uniform(0.0, 0.4))
            service.process.kill()
    with running(tmp_path, rate=rate, anchor=anchor, seconds=3600) as service:
        service.wait_for("cycle", 60)
        service.process.terminate()
        assert service.end() == 0

    files = [path.name for path in (tmp_path / "notices").glob("*.txt")]
    of_day = Counter(name.split("-n-")[0] for name in files)
    assert files and max(of_day.values()) == 1
    printed = Counter((tmp_path / "terminal.txt").read_text().splitlines())
    texts = {line: times for line, times in printed.items() if line.startswith("Go")}
    assert texts and max(texts.values()) == 1
    with Store.open_readonly(tmp_path / "ledger.db") as store:
        assert store.integrity_check() == ()
        rows = outbox.listing(store)
        kept = {notice.id: f"{notice.local_date}-{notice.kind}" for notice in notices.recent(store, 1000)}
        last = marks.get(store, "heartbeat").at
        found = marks.with_prefix(store, "notice:")
    assert len(set(kept.values())) == len(kept)
    assert {kept[row.notice_id] for row in rows if row.channel == "file" and row.state == "sent"} <= set(
        of_day
    )
    assert set(of_day) <= set(kept.values())
    # What did not arrive says why: it was no longer news when the service lived again, or it died while
    # printing.
    assert all(TOO_LATE in row.last_error for row in rows if row.state == "failed")
    assert all(row.last_error == INTERRUPTED for row in rows if row.state == "uncertain")
    # Each evening and morning from the day after the first beat (which a busy machine is late with) to the last
    # beat is accounted for: kept, or missed while dead.
    day = begun[0].astimezone(schedule.zone).date() + timedelta(days=1)
    while schedule.planned("evening", day) + schedule.grace < last:
        for kind in ("morning", "evening"):
            state = found[f"notice:home:{kind}:{day}"].data["state"]
            assert (state == "done") == (f"{day}-{kind}" in kept.values())
        day += timedelta(days=1)
    assert day > date(2026, 9, 23)


def test_within_another_thread_it_ends_by_an_event_and_leaves_signals_alone(tmp_path, schedule):
    before = signal.getsignal(signal.SIGTERM)
    stop, codes, entered = threading.Event(), [], []

    @contextmanager
    def page():
        entered.append("page")
        yield
        entered.append("page ended")

    def run():
        codes.append(
            serve(
                tmp_path / "ledger.db",
                tmp_path / "service.lock",
                RealClock(),
                300.0,
                schedule,
                lambda now: None,
                lambda work, now: None,
                [],
                beside=[page()],
                stop=stop,
            )
        )

    thread = threading.Thread(target=run)
    thread.start()
    with Store.open_readonly(tmp_path / "ledger.db") as store:
        wait_until(lambda: marks.get(store, "heartbeat") is not None)
        assert check(store, datetime.now(UTC)) == ()
    stop.set()
    thread.join(10)
    assert codes == [0] and entered == ["page", "page ended"]
    assert signal.getsignal(signal.SIGTERM) is before


def wait_until(condition, seconds=20.0):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.01)


def wait_for_file(path):
    wait_until(path.exists)
