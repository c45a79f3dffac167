"""The whole service on the demonstration household, as a process, against a provider on the loopback, on a fast clock.

Two days pass while the process is killed again and again; what is due is told exactly once. Hours in which nothing is
due are slept through, as a computer does; around each notice the clock goes on from where it was killed.
"""

from __future__ import annotations

import json
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
import urllib.request
from collections import Counter
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta

import pytest
from command import FIXTURES, REPOSITORY
from weather_server import WeatherServer

from advisor.store import Store, marks, notices, outbox

BEGIN = datetime(2026, 9, 21, 12, tzinfo=UTC)
#: two days: the evenings of the 21st and 22nd at 18:30 and the mornings of the 22nd and 23rd at 06:00, in Chicago
END = BEGIN + timedelta(hours=48)
#: real time after which a service that says nothing more counts as stuck, on however busy a computer [s]
PATIENCE = 180.0
#: the pace after a kill: hardly any time passes until what is due has been told, however long that takes
SLOWLY, QUICKLY = 60.0, 1800.0
DUE = [("evening", date(2026, 9, 21)), ("morning", date(2026, 9, 22)), ("evening", date(2026, 9, 22)),
       ("morning", date(2026, 9, 23))]  # fmt: skip


class Simulated:
    """A clock that stands still while no process lives: the next one goes on where the last one was killed."""

    def __init__(self, rate: float):
        self.rate, self.at, self.since = rate, BEGIN, None

    def now(self) -> datetime:
        if self.since is None:
            return self.at
        return self.at + timedelta(seconds=(time.monotonic() - self.since) * self.rate)

    def run(self, at: datetime) -> None:
        self.at, self.since = at, time.monotonic()

    def stop(self) -> None:
        self.at, self.since = self.now(), None

    def sleep_until(self, at: datetime) -> None:
        assert self.since is None
        self.at = max(self.at, at)


class Provider(WeatherServer):
    """Makes its forecasts for the simulated time."""

    def __init__(self, clock: Simulated):
        self.clock = clock
        super().__init__()

    @property
    def now(self):
        return self.clock.now()

    @now.setter
    def now(self, _):
        pass


class Service:
    """`advisor serve` from the simulated present on; `events` are its log lines so far."""

    def __init__(self, home, clock: Simulated, *more: str, all_lawns: bool = False):
        self.clock, self.events, self.other = clock, [], []
        words = [
            "--all" if all_lawns else "--home",
            home,
            "--clock",
            f"{clock.now():%Y-%m-%dT%H:%M:%SZ}@{clock.rate}",
            "--heartbeat",
            "900",
            *(() if all_lawns else ("--no-page",)),
            *more,
        ]
        self.printed = (home.parent / "terminal.txt").open("a", encoding="utf-8")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "advisor", "serve", *map(str, words)], cwd=REPOSITORY, stdout=self.printed,
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.said = threading.Condition()
        self.reader = threading.Thread(target=self.read, daemon=True)
        self.reader.start()

    def read(self) -> None:
        for line in self.process.stderr:
            if not line.startswith("{"):
                self.other.append(line)
                continue
            event = json.loads(line)
            if event["event"] == "service_started":
                self.clock.run(datetime.fromisoformat(event["now"]))
            with self.said:
                self.events.append(event)
                self.said.notify_all()
        with self.said:
            self.said.notify_all()

    def wait_for(self, holds) -> None:
        """Until something holds; it is looked at again whenever the service has said something."""
        deadline = time.monotonic() + PATIENCE
        with self.said:
            while not holds():
                assert self.process.poll() is None, "".join(self.other)
                assert self.said.wait(deadline - time.monotonic()), f"nothing more after {self.events[-1:]}"

    def heard(self, name: str) -> bool:
        return any(event["event"] == name for event in self.events)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(PATIENCE)
        self.clock.stop()
        self.reader.join(5)
        self.process.stderr.close()
        self.printed.close()


@contextmanager
def serving(home, clock, *more, **given):
    service = Service(home, clock, *more, **given)
    try:
        service.wait_for(lambda: service.heard("service_started"))
        yield service
    finally:
        service.close()


@pytest.fixture
def home(tmp_path):
    """A copy of the demonstration household that tells every evening and morning, on the source's single run."""
    folder = shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "home")
    path = folder / "lawn.toml"
    text = path.read_text(encoding="utf-8")
    for before, after in (
        ('units = "us"\n', 'units = "us"\ncontact = "test@example.org"\n'),
        ("[notices]\n", "[notices]\nrepeat_unchanged = true\n"),
        ("[decision]\n", "[decision]\nassumed_members = 0\n"),
    ):
        assert before in text
        text = text.replace(before, after, 1)
    path.write_text(text, encoding="utf-8")
    return folder


def connect(home, provider) -> None:
    with (home / "lawn.toml").open("a", encoding="utf-8") as file:
        file.write(f'\n[weather.hosts]\nopen-meteo = "{provider.base}"\n')


def wait_until(clock: Simulated, at: datetime, service: Service) -> None:
    try:
        service.process.wait(max((at - clock.now()).total_seconds() / clock.rate, 0.0))
    except subprocess.TimeoutExpired:
        return  # it lives, as it should
    raise AssertionError("".join(service.other))


def test_two_days_with_kills_tell_each_due_notice_once(home):
    """Killed while idle, and at random moments of the half hour after each notice falls due."""
    clock, chance = Simulated(QUICKLY), random.Random(11)
    due_at = [datetime(2026, 9, 21, 23, 30, tzinfo=UTC), datetime(2026, 9, 22, 11, 0, tzinfo=UTC),
              datetime(2026, 9, 22, 23, 30, tzinfo=UTC), datetime(2026, 9, 23, 11, 0, tzinfo=UTC)]  # fmt: skip
    faults = []
    with Provider(clock) as provider:
        connect(home, provider)
        for count, at in enumerate([BEGIN + timedelta(minutes=20), *due_at]):
            clock.sleep_until(at - timedelta(minutes=20))
            clock.rate = QUICKLY
            with serving(home, clock) as service:
                wait_until(clock, at + timedelta(minutes=chance.uniform(0, 30)), service)
                kill(service)
                faults += service.other
            clock.rate = SLOWLY
            with serving(home, clock) as service:
                service.wait_for(lambda count=count: delivered(home, count))
                service.process.terminate()
                assert service.process.wait(15) == 0
                faults += service.other
        assert any(path.startswith("/v1/forecast") for path, _ in provider.requests)
    assert not faults, "".join(faults)
    assert clock.now() > END - timedelta(hours=1)

    with Store.open_readonly(home / "advisor.db") as store:
        assert store.integrity_check() == ()
        kept = notices.recent(store, 200)
        rows = outbox.listing(store)
        found = marks.with_prefix(store, "notice:")
    for kind, day in DUE:
        state = [mark.data["state"] for key, mark in found.items() if key.endswith(f":{kind}:{day}")]
        assert state == ["done"], (kind, day, state)
        assert sum(one.kind == kind and one.local_date == day for one in kept) == 1, (kind, day)
    told_once = Counter((one.kind, one.local_date, one.task, one.answer) for one in kept)
    assert max(told_once.values()) == 1
    # the database knows each as sent to the folder, and the folder holds each once
    to_file = [row for row in rows if row.channel == "file"]
    assert {row.notice_id for row in to_file} == {one.id for one in kept} and len(to_file) == len(kept)
    assert {row.state for row in to_file} == {"sent"}, [(row.state, row.last_error) for row in to_file]
    files = sorted(path.name for path in (home / "notices").iterdir() if path.suffix == ".txt")
    assert len(files) == len(kept), (files, [one.id for one in kept])
    for kind, day in DUE:
        assert sum(name.startswith(f"{day}-{kind}") for name in files) == 1, files
    for one in kept:
        (path,) = [
            path for path in (home / "notices").iterdir() if path.suffix == ".txt" and one.id in path.name
        ]
        text = path.read_text(encoding="utf-8")
        assert one.text.splitlines()[0] in text
    # a terminal can not be asked what it has shown: never twice, and only then not at all when killed in the act
    printed = (home.parent / "terminal.txt").read_text(encoding="utf-8")
    states = {row.notice_id: row.state for row in rows if row.channel == "terminal"}
    for one in kept:
        times = printed.count(one.text.splitlines()[0] + "\n" + one.text.splitlines()[1])
        assert times == 1 or (times == 0 and states[one.id] == "uncertain"), (
            one.subject,
            times,
            states[one.id],
        )


def kill(service: Service) -> None:
    service.process.send_signal(signal.SIGKILL)
    assert service.process.wait(PATIENCE) == -signal.SIGKILL


def delivered(home, count: int) -> bool:
    """Whether the first so many of what is due are marked, and nothing waits to be delivered."""
    with Store.open_readonly(home / "advisor.db") as store:
        found = marks.with_prefix(store, "notice:")
        open_rows = [row for row in outbox.listing(store) if row.state in ("waiting", "claimed")]
    return not open_rows and all(
        any(key.endswith(f":{kind}:{day}") for key in found) for kind, day in DUE[:count]
    )


def test_it_ends_with_0_on_sigterm_and_after_its_hours(home):
    clock = Simulated(14400.0)
    with Provider(clock) as provider:
        connect(home, provider)
        with serving(home, clock, "--for-hours", "1") as service:
            assert service.process.wait(PATIENCE) == 0
        assert [event["event"] for event in service.events][-1] == "service_ended" and not service.other
        clock.rate = 900.0
        with serving(home, clock) as service:
            service.process.terminate()
            assert service.process.wait(12) == 0
        assert not service.other


def test_all_lawns_are_served_with_one_page_of_the_round(home, tmp_path):
    """Two lawns in one process: the round at the front, both lawns' pages below, each lawn's weather in its ledger."""
    folder = tmp_path / "lawns"
    clock = Simulated(SLOWLY)
    with Provider(clock) as provider:
        connect(home, provider)
        for name in ("hill-road", "maple-street"):
            shutil.copytree(home, folder / name)
            path = folder / name / "lawn.toml"
            path.write_text(path.read_text().replace('name = "Prairie lawn"', f'name = "{name}"', 1))
        with serving(folder, clock, "--port", "0", all_lawns=True) as service:
            # every lawn and the round have a cycle of their own
            service.wait_for(lambda: sum(event["event"] == "cycle" for event in service.events) >= 3)
            (address,) = [one["address"] for one in service.events if one["event"] == "page_opened"]
            found = {}
            for path in ("", "index.json", "lawn/hill-road/", "lawn/maple-street/index.json", "readyz"):
                with urllib.request.urlopen(address + path, timeout=PATIENCE) as answer:
                    found[path] = answer.read().decode()
            service.process.terminate()
            assert service.process.wait(15) == 0
        assert not service.other
    assert "Every lawn, day by day" in found[""] and "hill-road" in found["lawn/hill-road/"]
    stops = json.loads(found["index.json"])
    assert [one["lawn"] for one in stops["lawns"]] == ["hill-road", "maple-street"] and not stops["faults"]
    assert json.loads(found["lawn/maple-street/index.json"])["weather"]["source"] == "open-meteo"
    assert json.loads(found["readyz"]) == {"ready": True, "reasons": []}
