#!/usr/bin/env python3
"""Live through a season in minutes: the real service, killed, put to sleep, its clock set and its providers cut off.

    python scripts/simulate_season.py                  120 days, across the end of daylight saving
    python scripts/simulate_season.py --days 20 --seed 7 --keep /tmp/season

The ledger, the decisions about what is due and what is told, the words, the outbox, a file, a webhook and a mail server
are real; the weather is a script, so that months pass in minutes. Each life of the service is a process of its own and
most end by SIGKILL: at a counted step (around transactions, commits, sends, pulls, decisions) or at any moment. At the
end every notice that was due is looked for, by rules that are written down a second time in season_proof/oracle.py. The
exit status is 0 when none was lost, none came twice, and nobody was left with a go that is none.
"""

from __future__ import annotations

import argparse
import logging
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

from season_proof import oracle, receivers  # noqa: E402
from season_proof.house import SeasonService  # noqa: E402
from season_proof.life import BEAT, DiskFull, live  # noqa: E402
from season_proof.world import FIRST_START, ZONE, World, make_world  # noqa: E402

from advisor.clock import local_instant  # noqa: E402
from advisor.model import Record  # noqa: E402
from advisor.sequence import follow_up_span  # noqa: E402
from advisor.service.told import last_told, of_day  # noqa: E402
from advisor.store import Store, records  # noqa: E402


def simulate(
    days: int,
    seed: int,
    folder: Path,
    say=lambda text: None,
    *,
    world: World | None = None,
    longest_fuse: int = 400,
    full_disk: float = 0.0,
) -> tuple[oracle.Findings, Counter, World]:
    """(what was found, what happened, the world) of one season; `folder` is empty or new.

    A life dies at one of its first `longest_fuse` steps; the disk is full in a share `full_disk` of the beats.
    """
    world, dice, counts = world or make_world(days, seed), random.Random(seed), Counter()
    trouble = (longest_fuse, full_disk)
    folder.mkdir(parents=True, exist_ok=True)
    service = SeasonService.make(folder, world, ROOT / "fixtures" / "prairie-lawn")
    process, hook, mail = receivers.start(folder)
    try:
        true = world.begins
        while true < world.ends:
            true = _one_life(service, folder, true, dice, counts, (hook, mail), trouble)
            _person(service, folder, world.clock(true), true, counts)
            lived = (true - world.begins) / timedelta(days=1)
            say(f"{lived:6.1f} of {days} days, {counts['lives']} lives, {counts['kills']} kills")
        # a day without trouble, so that what waits is delivered
        lived = (true - world.begins) // timedelta(days=1)
        service.world = replace(world, days=lived + 2, hook_down=(), provider_down=(), clock_set=())
        _in_a_child(lambda: live(service, folder, true, 48, None, (hook, mail)))
    finally:
        receivers.stop(process)
    counts["mail server"] = mail is not None
    return oracle.judge(folder, world), counts, world


def _one_life(
    service, folder: Path, true: datetime, dice: random.Random, counts: Counter, ports, trouble
) -> datetime:
    """Live until a kill or for some hours, then perhaps sleep; when the next life begins."""
    draw = dice.random()
    fuse = dice.randint(1, trouble[0]) if draw < 0.75 else None
    beats = dice.randint(10, 90)
    disk = DiskFull(trouble[1], dice.randint(0, 10**9))
    child = os.fork()
    if child == 0:
        status = 1
        try:
            live(service, folder, true, beats, fuse, ports, disk)
            status = 0
        finally:
            os._exit(status)
    if 0.75 <= draw < 0.9:
        time.sleep(dice.uniform(0.01, 0.6))
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    counts["lives"] += 1
    if os.WIFSIGNALED(status):
        counts["kills"] += 1
        counts["kills at a counted step" if draw < 0.75 else "kills at any moment"] += 1
    elif os.WEXITSTATUS(status):
        raise SystemExit("a life ended by a fault of this program; see above")
    last = oracle.read_beats(folder)
    if last and last[-1].true >= true:
        true = last[-1].true + (BEAT if last[-1].whole else timedelta(minutes=dice.uniform(0.2, 12.0)))
    nap = dice.random()
    if nap < 0.2:
        counts["sleeps"] += 1
        true += timedelta(hours=dice.uniform(0.3, 26.0))
    elif nap < 0.225:
        counts["sleeps"] += 1
        true += timedelta(days=dice.uniform(1.5, 4.0))
    return true


def _in_a_child(deed) -> None:
    child = os.fork()
    if child == 0:
        status = 1
        try:
            deed()
            status = 0
        finally:
            os._exit(status)
    if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]):
        raise SystemExit("the last day of the season failed; see above")


def _person(service: SeasonService, folder: Path, now: datetime, true: datetime, counts: Counter) -> None:
    """Somebody acts on a go that was told for today, once its first start has come."""
    day = now.astimezone(ZONE).date()
    start = local_instant(day, datetime.min.time().replace(hour=FIRST_START), ZONE)  # noqa: DTZ901
    if (
        not service.database.exists()
        or now < start + timedelta(hours=1)
        or not service.world.makes_the_pass(day)
    ):
        return

    def act():
        with Store.open(service.database) as store:
            told = of_day(last_told(store), day)
            for scored in service.evidence(now).outlook(service.household).tasks:
                task, span = scored.task, follow_up_span(scored.task)
                key = f"{task.id}#{task.pass_number}"
                if told is None or told.verdicts.get(key) != "go" or (span is not None and span[0] > start):
                    continue
                label = task.label
                made = Record(
                    task.area.id, task.treatment.id, label.product, tuple(one.name for one in label.active_ingredients),
                    start, start + timedelta(minutes=30), 100.0, 200.0,
                )  # fmt: skip
                records.add(store, made, written_at=true)

    _in_a_child(act)


def report(found: oracle.Findings, counts: Counter, world: World, seconds: float) -> str:
    hours = sum((until - since for since, until in world.provider_down), timedelta(0)) / timedelta(hours=1)
    hook = sum((until - since for since, until in world.hook_down), timedelta(0)) / timedelta(hours=1)
    lines = [
        f"A season of {world.days} days (seed {world.seed}) in {seconds:.0f} s",
        f"  lives of the service      {counts['lives']:6d}",
        f"  killed with SIGKILL       {counts['kills']:6d}   at a counted step {counts['kills at a counted step']}, "
        f"at any moment {counts['kills at any moment']}",
        f"  sleeps                    {counts['sleeps']:6d}",
        f"  clock set                 {len(world.clock_set):6d}   times",
        f"  no provider answers       {hours:6.0f} h in {len(world.provider_down)} outages",
        f"  the webhook is down       {hook:6.0f} h in {len(world.hook_down)} outages",
        "",
        "  notices                   due   kept",
    ]
    for kind in ("evening", "morning", "changed", "closing", "follow-up", "overdue", "review", "source-down"):
        due = f"{found.expected[kind]:5d}" if kind in found.expected else "    -"
        lines.append(f"    {kind:<20}   {due}  {found.notices[kind]:5d}")
    lines += ["", "  channel       sent  uncertain  too late   arrived"]
    for channel in ("file", "webhook", "email", "tape"):
        sent, unsure, late = (found.deliveries[channel, state] for state in ("sent", "uncertain", "failed"))
        lines.append(f"    {channel:<9}  {sent:6d} {unsure:10d} {late:9d} {found.arrived[channel]:9d}")
    if not counts["mail server"]:
        lines.append("    (no mail server: aiosmtpd is not installed)")
    lines += [
        "",
        f"  lost {len(found.lost)}, doubled {len(found.doubled)}, told without cause {len(found.unasked)}, "
        f"left with a false go {len(found.false_go)}, faults {len(found.faults)}",
    ]
    for title in ("lost", "doubled", "unasked", "false_go", "faults"):
        lines += [f"    {title}: {one}" for one in getattr(found, title)[:12]]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep everything there")
    given = parser.parse_args()
    started, said = time.monotonic(), [0.0]

    def say(text: str) -> None:
        if sys.stderr.isatty() and time.monotonic() - said[0] > 0.5:
            said[0] = time.monotonic()
            print(f"\r{text}", end="", file=sys.stderr, flush=True)

    logging.disable(logging.CRITICAL)  # what goes wrong here goes wrong on purpose
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as scratch:
        folder = given.keep or Path(scratch) / "season"
        if folder.exists() and any(folder.iterdir()):
            parser.error(f"{folder} is not empty")
        found, counts, world = simulate(given.days, given.seed, folder, say)
    print("\r" if sys.stderr.isatty() else "", end="", file=sys.stderr)
    print(report(found, counts, world, time.monotonic() - started))
    sys.exit(0 if found.clean else 1)


if __name__ == "__main__":
    main()
