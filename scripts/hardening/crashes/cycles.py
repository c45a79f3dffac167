"""Kills, a full disk and a set clock in cycles of the real service, with real receivers; judged by the season's oracle.

The oracle works out a second time what was due, and counts what arrived at each receiver: lost, told twice, told
without cause, a go that is none, records whose chain does not fit.
"""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from season_proof import oracle
from season_proof.world import make_world
from simulate_season import simulate

from .kills import Tally

#: days of one season; long enough for passes, follow-ups and reviews
_DAYS = 9


def on_cycles(folder: Path, seed: int, kills: int, *, days: int = _DAYS) -> Tally:
    """Short lives: most die within their first few cycles."""
    tally = Tally()
    while tally.killed < kills:
        name = f"season {seed * 1000 + tally.notes['seasons']}"
        found, counts, _ = simulate(
            _DAYS, seed * 1000 + tally.notes["seasons"], folder / name, longest_fuse=30
        )
        tally.runs += counts["lives"]
        tally.killed += counts["kills"]
        _judge(tally, name, found)
    return tally


def on_full_disk(folder: Path, seed: int, beats: int) -> Tally:
    """The service goes on while nothing fits on the disk, and tells what is still news once something does again."""
    tally = Tally()
    while tally.runs < beats:
        number = seed * 1000 + 500 + tally.notes["seasons"]
        found, _, _ = simulate(_DAYS, number, folder / f"full {number}", full_disk=0.25)
        full = oracle.read_lines(folder / f"full {number}" / "full.jsonl")
        tally.runs += len(full)
        tally.notes["cycles that met it"] += sum(bool(one["errors"]) for one in full)
        _judge(tally, f"season {number} with a full disk", found)
    return tally


def on_set_clocks(folder: Path, seed: int, times: int) -> Tally:
    """The clock is set every few hours, by minutes to days, forth and back."""
    tally = Tally()
    while tally.runs < times:
        number = seed * 1000 + 700 + tally.notes["seasons"]
        dice, plain = random.Random(number), make_world(_DAYS, number)
        at, set_to = plain.begins + timedelta(days=1), []
        while at < plain.ends:
            off = dice.choice((-48, -25, -6, -1.5, -1, -0.3, 0, 0, 0, 0.3, 1, 1.5, 6, 25, 48))
            set_to.append((at, timedelta(hours=off)))
            at += timedelta(hours=dice.uniform(2, 20))
        set_to.append((plain.ends - timedelta(hours=6), timedelta(0)))
        world = replace(plain, clock_set=tuple(set_to))
        found, _, _ = simulate(_DAYS, number, folder / f"clock {number}", world=world)
        tally.runs += len(set_to)
        _judge(tally, f"season {number} with a set clock", found)
    return tally


def _judge(tally: Tally, name: str, found: oracle.Findings) -> None:
    tally.notes["seasons"] += 1
    tally.notes["notices"] += sum(found.notices.values())
    for kind in ("lost", "doubled", "unasked", "false_go", "faults"):
        wrong = getattr(found, kind)
        tally.survivors += len(wrong)
        tally.wrong += [f"{name}: {kind.replace('_', ' ')}: {one}" for one in wrong[:3]]
