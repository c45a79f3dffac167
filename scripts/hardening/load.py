"""Fifty readers at once while the service runs its cycles: no request may fail, no cycle may be lost.

The service is the real command with the invented household and the stored weather of `scripts/weather_server.py`, on a
clock that runs 300 times as fast and reaches the evening's notice while the readers read. Readers and service share the
machine, so the waits that are told are those of a machine with everything on it.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import re
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from urllib.parse import urlencode

from hardening.lines import Line

ROOT = Path(__file__).resolve().parents[2]
READERS = 50
RATE, HEARTBEAT = 300, 900  # a beat each 3 s of real time
#: a quarter of an hour before the household's evening notice, which is 3 s of ours: the second beat sends it
BEGIN = "2026-09-21T23:15Z"
PATHS = (
    "/",
    "/",
    "/",
    "/index.json",
    "/day/2026-09-23",
    "/day/2026-09-24.json",
    "/sequence",
    "/start",
    "/mix",
    "/tell",
    "/records",
    "/reviews",
    "/almanac",
    "/sources",
    "/settings",
    "/calendar.ics",
    "/static/page.css",
    "/readyz",
    "/healthz",
)
#: the longest that a reader waits before it counts as an error [s]
PATIENCE = 20.0
#: how late a cycle may begin, on a machine that does other things too [s]
_LATE = 2.0


@dataclass
class Tally:
    """What the readers saw."""

    waits: list[float] = field(default_factory=list)
    statuses: Counter = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)
    written: int = 0

    def wait(self, share: float) -> float:
        """The wait that this share of the requests did not outlast [s]."""
        waits = sorted(self.waits)
        return waits[min(int(share * len(waits)), len(waits) - 1)] if waits else float("nan")


class Service:
    """`advisor serve` on a copy of the demonstration household, with a weather server beside it."""

    def __init__(self, folder: Path):
        self.home = folder / "home"
        shutil.copytree(ROOT / "fixtures" / "prairie-lawn", self.home)
        self.log = folder / "service.log"
        self._environment = {
            name: value for name, value in os.environ.items() if not name.startswith("ADVISOR")
        }
        self._environment["PYTHONPATH"] = str(ROOT)
        weather = ROOT / "fixtures" / "weather" / "prairie-open-meteo.json"
        server = [sys.executable, str(ROOT / "scripts" / "weather_server.py"), "--open-meteo", str(weather)]
        self._weather = subprocess.Popen(server, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        address = self._weather.stdout.readline().strip()
        lawn = self.home / "lawn.toml"
        text = lawn.read_text(encoding="utf-8")
        hosts = f'\n[weather.hosts]\nopen-meteo = "{address}"\n'
        lawn.write_text(f'contact = "nobody@example.org"\n{text}{hosts}', encoding="utf-8")
        command = [
            sys.executable,
            "-m",
            "advisor",
            "serve",
            "--home",
            str(self.home),
            "--port",
            "0",
            "--heartbeat",
            str(HEARTBEAT),
            "--clock",
            f"{BEGIN}@{RATE}",
        ]
        self._service = subprocess.Popen(
            command, cwd=ROOT, env=self._environment, stdout=subprocess.DEVNULL, stderr=self.log.open("wb")
        )
        self.port = self._opened()

    def _opened(self) -> int:
        """The port of the page, once there is weather to show."""
        deadline = time.monotonic() + 40.0
        while time.monotonic() < deadline and self._service.poll() is None:
            found = re.search(r'"page_opened".*?"address": "http://127\.0\.0\.1:(\d+)/"', self.said())
            if found and '"event": "cycle"' in self.said():
                return int(found[1])
            select.select([], [], [], 0.1)
        raise RuntimeError(f"the service did not open its page: {self.said()[-400:]}")

    def said(self) -> str:
        return self.log.read_text(encoding="utf-8", errors="replace")

    def events(self) -> list[dict]:
        return [json.loads(line) for line in self.said().splitlines() if line.startswith("{")]

    def close(self) -> int:
        """End both; the exit code of the service."""
        self._service.send_signal(signal.SIGTERM)
        try:
            status = self._service.wait(timeout=20)
        except subprocess.TimeoutExpired:
            self._service.kill()
            status = self._service.wait()
        self._weather.terminate()
        self._weather.wait()
        self._weather.stdout.close()
        return status


def read(
    port: int, ending: threading.Event, seed: int, tally: Tally, guard: threading.Lock, writes: bool
) -> None:
    """One reader: page after page over one connection, as long as `ending` is not set."""
    draw, kept, tags = random.Random(seed), None, {}
    while not ending.is_set():
        path, wrong = draw.choice(PATHS), ""
        began = time.monotonic()
        try:
            kept = kept or http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE)
            if writes and (not tally.written or draw.random() < 0.05):
                path, status = "POST /tell/soil", _write(kept, draw)
            else:
                known = {"If-None-Match": tags[path]} if path in tags and draw.random() < 0.5 else {}
                kept.request("GET", path, headers=known)
                answer = kept.getresponse()
                body, status = answer.read(), answer.status
                tags[path] = answer.headers.get("ETag") or ""
                if status == 200 and not body:
                    status, wrong = 0, "nothing in the answer"
        except (OSError, http.client.HTTPException) as error:
            kept, status, wrong = None, 0, f"{type(error).__name__}: {error}"
        wait = time.monotonic() - began
        with guard:
            tally.waits.append(wait)
            tally.statuses[status] += 1
            tally.written += path.startswith("POST") and status == 303
            if status not in (200, 303, 304):
                tally.errors.append(f"{path}: {wrong or f'status {status}'}")
        ending.wait(draw.uniform(0.0, 0.1))
    if kept is not None:
        kept.close()


def _write(connection: http.client.HTTPConnection, draw: random.Random) -> int:
    """A look at the soil, told by the form as a browser would."""
    connection.request("GET", "/tell")
    answer = connection.getresponse()
    page = answer.read().decode()
    cookie = (answer.headers.get("Set-Cookie") or "").partition(";")[0]
    token = re.search(r'name="token" value="([0-9a-f]+)"', page)
    fields = {
        "token": token[1] if token else "",
        "area": draw.choice(("front", "back")),
        "state": draw.choice(("dry", "moist")),
    }
    headers = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": cookie}
    connection.request("POST", "/tell/soil", urlencode(fields), headers)
    done = connection.getresponse()
    done.read()
    return done.status


@dataclass(frozen=True)
class Beats:
    """The cycles of a span of time: due, done, left out because the one before still ran, and lost."""

    due: int
    done: int
    passed_over: int
    lost: int


def beats(cycles: Sequence[tuple[float, float]], begin: float, end: float, every: float) -> Beats:
    """Count the cycles.

    Parameters
    ----------
    cycles : sequence of (float, float)
        Beginning and end of each cycle that was told [s].
    begin, end : float
        The first beat, and when to stop counting [s].
    every : float
        Between two beats [s].
    """
    due = done = passed_over = lost = 0
    moment = begin
    while moment + _LATE < end:
        due += 1
        if any(moment - 0.5 <= first <= moment + _LATE for first, _ in cycles):
            done += 1
        elif any(first < moment <= last for first, last in cycles):
            passed_over += 1
        else:
            lost += 1
        moment += every
    return Beats(due, done, passed_over, lost)


def measured(seconds: float, seed: int, readers: int = READERS) -> tuple[Tally, Beats, list[str]]:
    """What the readers saw, how the cycles went, and what else was wrong."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        service = Service(Path(folder))
        tally, guard, ending = Tally(), threading.Lock(), threading.Event()
        try:
            crowd = [
                threading.Thread(
                    target=read,
                    args=(service.port, ending, 1000 * seed + at, tally, guard, at == 0),
                    daemon=True,
                )
                for at in range(readers)
            ]
            for one in crowd:
                one.start()
            ending.wait(seconds)
            ending.set()
            for one in crowd:
                one.join(PATIENCE + 5.0)
            over = time.time()
        finally:
            status = service.close()
        events = service.events()
        notices = sorted(one.name for one in (service.home / "notices").glob("*.txt"))
    wrong = [f"the service ended with {status}"] * (status != 0)
    wrong += [
        f"{one['event']}: {one.get('error', one.get('reason', ''))}"
        for one in events
        if one.get("level") == "error" or one.get("errors", 0) or one["event"] == "notice_missed"
    ]
    evening = [name for name in notices if "-evening-" in name]
    if len(evening) != 1:
        wrong.append(f"{len(evening)} evening notices in place of one: {notices}")
    told = [(_moment(one), one["duration_ms"] / 1000.0) for one in events if one["event"] == "cycle"]
    started = next(_moment(one) for one in events if one["event"] == "service_started")
    return tally, beats([(end - took, end) for end, took in told], started, over, HEARTBEAT / RATE), wrong


def _moment(one: dict) -> float:
    return datetime.fromisoformat(one["time"]).timestamp()


def lines(
    tally: Tally, cycles: Beats, wrong: Sequence[str], seconds: float, readers: int = READERS
) -> list[Line]:
    waits = ", ".join(
        f"{name} {1000 * tally.wait(share):.0f} ms"
        for name, share in (("p50", 0.5), ("p95", 0.95), ("p99", 0.99), ("longest", 1.0))
    )
    load = os.getloadavg()[0]
    return [
        Line(
            "load",
            f"requests of {readers} readers in {seconds:.0f} s",
            len(tally.waits),
            len(tally.errors),
            f"{waits}; {tally.written} forms written; load {load:.1f}",
            tuple(tally.errors[:5]),
        ),
        Line(
            "load",
            "cycles meanwhile",
            cycles.due,
            cycles.lost + len(wrong),
            f"{cycles.done} done, {cycles.passed_over} passed over while one ran, {cycles.lost} lost",
            tuple(wrong[:5]),
        ),
    ]


def run(quick: bool, seed: int) -> list[Line]:
    """`seed` draws which pages each reader reads."""
    seconds = 10.0 if quick else 30.0
    return lines(*measured(seconds, seed), seconds)
