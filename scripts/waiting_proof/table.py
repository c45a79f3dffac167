"""Paired differences in completed passes, with bounds that respect how alike neighbouring intervals are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from chance_proof.airports import STATIONS

from waiting_proof.simulation import INTERVAL, POLICIES, World

#: intervals overlap, and the three airports share their weather: days are drawn in blocks of this length, for all
#: airports at once [days]
BLOCK, DRAWS = 2 * INTERVAL, 4000


@dataclass(frozen=True, slots=True)
class Row:
    """A policy against ours, in passes of a hundred intervals."""

    policy: str
    completed: float
    difference: float
    lower: float
    upper: float


def compare(runs: Sequence[np.ndarray], world: World) -> list[Row]:
    """Ours first, then the others with the paired difference ours less theirs and its bootstrap bounds."""
    done = np.mean([run.astype(float) for run in runs], axis=0)  # (policy, station, start)
    rows = [Row(POLICIES[0], 100.0 * done[0].mean(), 0.0, 0.0, 0.0)]
    for at, policy in enumerate(POLICIES[1:], start=1):
        away = 100.0 * (done[0] - done[at]).mean(axis=0)  # (start,)
        lower, upper = bounds(away)
        rows.append(Row(policy, 100.0 * done[at].mean(), float(away.mean()), lower, upper))
    return rows


def bounds(away: np.ndarray, seed: int = 7) -> tuple[float, float]:
    """95 % bounds of a mean by the moving-block bootstrap (Kuensch 1989, from memory)."""
    random = np.random.default_rng(seed)
    length = min(BLOCK, len(away))
    blocks = np.lib.stride_tricks.sliding_window_view(np.concatenate([away, away[: length - 1]]), length)
    count = -(-len(away) // length)
    picked = random.integers(0, len(away), (DRAWS, count))
    means = blocks[picked].reshape(DRAWS, -1)[:, : len(away)].mean(axis=1)
    low, high = np.quantile(means, (0.025, 0.975))
    return float(low), float(high)


def show(rows: Sequence[Row], world: World, runs: Sequence[np.ndarray], reach: int, aim: float) -> bool:
    """Print the table; whether the aim is kept."""
    trials = runs[0][0].size * len(runs)
    share = world.windows[:, world.starts].mean()
    what = f"{len(STATIONS)} airports, {len(world.starts)} starts, {len(runs)} seeds"
    print(f"{what}: {trials:,} intervals of {INTERVAL} days; {share:.0%} of days have a window")
    beyond = "to the interval's end" if reach >= INTERVAL else f"{reach} days, then the climate's frequency"
    print(f"  the forecast reaches {beyond}")
    print("  policy               passes completed   ours less theirs   95 % bounds, in 100")
    good = True
    for row in rows:
        if row is rows[0]:
            print(f"  {row.policy:<20} {row.completed:>10.2f} in 100")
            continue
        kept = row.lower >= aim
        good &= kept
        told = "kept" if kept else "MISSED"
        between = f"{row.lower:+.2f} to {row.upper:+.2f}"
        print(f"  {row.policy:<20} {row.completed:>10.2f} in 100 {row.difference:>+14.2f}      {between:<16} "
              f"aim at least {aim:+.0f}: {told}")  # fmt: skip
    return good
