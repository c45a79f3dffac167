"""One life of the service in a process of its own, from its start to a kill, a sleep or the end of the season."""

from __future__ import annotations

import json
import os
import random
import resource
import signal
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from advisor.notify.channels.email import EmailChannel
from advisor.notify.channels.file import FileChannel
from advisor.notify.channels.webhook import WebhookChannel
from advisor.service import Cycle, Plan, SetClock
from advisor.service.told import last_told, of_day
from advisor.store import Store, payloads
from advisor.weather import site_key

from .house import SOURCE, SeasonService
from .receivers import SECRET
from .world import ZONE

BEAT = timedelta(minutes=30)


class Fuse:
    """Counts the steps at which a process may die, and kills it at one of them, from within and without a word."""

    def __init__(self, at: int | None, folder: Path):
        self.left, self.folder = at, folder

    def step(self, name: str) -> None:
        if self.left is None:
            return
        self.left -= 1
        if self.left <= 0:
            _note(self.folder / "kills.jsonl", {"step": name})
            os.kill(os.getpid(), signal.SIGKILL)


def _note(path: Path, said: dict) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
    os.write(descriptor, (json.dumps(said) + "\n").encode())
    os.close(descriptor)


class DiskFull:
    """Now and then nothing more fits: no file may grow beyond what its log has now, while a cycle runs."""

    def __init__(self, share: float, seed: int):
        self._share, self._dice = share, random.Random(seed)

    @contextmanager
    def perhaps(self, database: Path):
        """Whether the disk is full within."""
        full = self._dice.random() < self._share
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        if full:
            log = database.with_name(database.name + "-wal")
            most = (log.stat().st_size if log.exists() else 0) + self._dice.choice((0, 100, 5_000, 20_000))
            resource.setrlimit(resource.RLIMIT_FSIZE, (most, hard))
        try:
            yield full
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


NEVER = DiskFull(0.0, 0)


def live(
    service: SeasonService,
    folder: Path,
    true: datetime,
    beats: int,
    fuse_at: int | None,
    ports,
    disk: DiskFull = NEVER,
) -> None:
    """Run `beats` cycles, or fewer. What it does is written down as it happens, so that a kill takes nothing back."""
    world, fuse = service.world, Fuse(fuse_at, folder)
    _lay(fuse)
    clock = SetClock(world.clock(true))
    with Store.open(service.database) as store:
        plan = Plan(service.schedule(), _channels(folder, ports, fuse))
        cycle = Cycle(
            store, clock, plan, pull=_stepping(service.pull, "pull", fuse),
            decide=_stepping(service.decide, "decide", fuse), occasions=service.occasions, keep=service.kept_for,
            seconds=BEAT.total_seconds(),
        )  # fmt: skip
        for _ in range(beats):
            if true >= world.ends:
                return
            now = world.clock(true)
            clock.set(now)
            _switch(folder / "hook-down", world.is_down(world.hook_down, now))
            _note(folder / "beats.jsonl", {"true": true.isoformat(), "now": now.isoformat(), "word": "begin"})
            with disk.perhaps(service.database) as full:
                outcome = cycle.run()
            if full:
                # Nothing is owed in such a beat, as in one that a kill cut off; what was told must not come twice.
                _note(folder / "full.jsonl", {"now": now.isoformat(), "errors": outcome.errors})
                true += BEAT
                continue
            faults = [one for one in outcome.errors if not one.startswith("pull: ")]
            said = {"true": true.isoformat(), "now": now.isoformat(), "word": "end", "errors": faults}
            _note(folder / "beats.jsonl", {**said, **_state(service, store, now)})
            true += BEAT


def _state(service: SeasonService, store: Store, now: datetime) -> dict:
    """What stands after a cycle: whether a pass is open, since when no source answers, and whether the last word about
    today names a start that is no go any more."""
    found = service.evidence(now)
    outlook = found.outlook(service.household)
    answered = None if found.newest is None else found.newest.confirmed_at
    ahead = payloads.newest(store, SOURCE, site_key(service.household.site))
    told = of_day(last_told(store), now.astimezone(ZONE).date())
    return {
        "open": bool(outlook.tasks),
        "answered": None if answered is None else answered.isoformat(),
        # A clock that was set back does not see what was pulled before: what was told rests on more than it knows.
        "behind": ahead is not None and ahead.fetched_at > now,
        "false_go": told is not None and any(_false(scored, told, now) for scored in outlook.tasks),
        "missed_go": told is not None and any(_missed(scored, told) for scored in outlook.tasks),
        "closes": None if told is None else _closes(outlook.tasks, told),
        "go": any(day.verdict == "go" and day.day == now.astimezone(ZONE).date()
                  for scored in outlook.tasks for day in scored.days),
    }  # fmt: skip


def _missed(scored, told) -> bool:
    """Whether today is a go of which nothing was said."""
    day = next(one for one in scored.days if one.day == told.day)
    before = told.verdicts.get(f"{scored.task.id}#{scored.task.pass_number}")
    return day.verdict == "go" and before is not None and before != "go"


def _closes(tasks, told) -> str | None:
    """The last start that was told of today, of the open pass that closes first."""
    ends = [max(last for _, last in windows) for scored in tasks
            if (windows := told.windows.get(f"{scored.task.id}#{scored.task.pass_number}"))]  # fmt: skip
    return min(ends, default=None)


def _false(scored, told, now: datetime) -> bool:
    """Whether a start that was told, and is still to come, is no go by the newest answer."""
    windows = told.windows.get(f"{scored.task.id}#{scored.task.pass_number}", ())
    day = next(one for one in scored.days if one.day == told.day)
    sure = {str(start) for start in day.candidates} if day.verdict == "go" else set()
    for first, last in windows:
        hour = datetime.fromisoformat(first)
        while hour <= datetime.fromisoformat(last):
            if hour >= now and hour.strftime("%Y-%m-%dT%H") not in sure:
                return True
            hour += timedelta(hours=1)
    return False


class Tape:
    """A way to a person that must never be used twice: what was printed stays printed."""

    name, idempotent = "tape", False

    def __init__(self, path: Path):
        self._path = path

    def send(self, message) -> None:
        _note(self._path, {"id": message.id, "kind": message.kind, "good": bool(message.text)})


def _channels(folder: Path, ports, fuse: Fuse) -> dict:
    hook, mail = ports
    found = [
        FileChannel(folder / "notices"),
        Tape(folder / "tape.jsonl"),
        WebhookChannel(f"http://127.0.0.1:{hook}/", SECRET, drops_repeats=True),
    ]
    if mail is not None:
        found.append(
            EmailChannel("127.0.0.1", "advisor@example.org", "you@example.org", security="none", port=mail)
        )
    for channel in found:
        channel.send = _stepping(channel.send, f"send by {channel.name}", fuse)
    return {channel.name: channel for channel in found}


def _stepping(function, name: str, fuse: Fuse):
    def stepping(*given):
        fuse.step(f"before {name}")
        found = function(*given)
        fuse.step(f"after {name}")
        return found

    return stepping


def _lay(fuse: Fuse) -> None:
    """Steps around every transaction of the ledger."""
    write = Store.write

    @contextmanager
    def stepping(self, **given):
        fuse.step("before a transaction")
        with write(self, **given) as connection:
            yield connection
            fuse.step("before a commit")
        fuse.step("after a commit")

    Store.write = stepping


def _switch(path: Path, on: bool) -> None:
    if on:
        path.touch()
    else:
        path.unlink(missing_ok=True)
