"""How often what was given a chance near p then happened, with an interval from resampling blocks of days."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

#: bins of width 0.1 about 0, 0.1, ..., 1
CENTRES = np.linspace(0.0, 1.0, 11)
#: weather persists, so days are drawn in blocks of a week
BLOCK_DAYS = 7
RESAMPLES = 2000
#: what the proof demands of each bin that has days enough
LEAST_DAYS, WITHIN = 200, 0.05


@dataclass(frozen=True, slots=True)
class Bin:
    """One bin; `low` to `high` is the 95 % interval of the share in which it then happened."""

    centre: float
    starts: int
    days: int
    chance: float
    happened: float
    low: float
    high: float

    @property
    def counts(self) -> bool:
        return self.days >= LEAST_DAYS

    @property
    def true(self) -> bool:
        return abs(self.happened - self.chance) <= WITHIN or self.low <= self.chance <= self.high


def bins(chance: np.ndarray, held: np.ndarray, day: np.ndarray, seed: int = 11) -> list[Bin]:
    """Bins of starts (start,), empty ones left out."""
    random = np.random.default_rng(seed)
    which = np.rint(chance * 10).astype(int)
    blocks = int(day.max()) // BLOCK_DAYS + 1
    drawn = random.integers(0, blocks, (RESAMPLES, blocks))
    found = []
    for at, centre in enumerate(CENTRES):
        rows = which == at
        if not rows.any():
            continue
        block = day[rows] // BLOCK_DAYS
        count = np.bincount(block, minlength=blocks)[drawn].sum(axis=1)
        happened = np.bincount(block, weights=held[rows], minlength=blocks)[drawn].sum(axis=1)
        share = happened[count > 0] / count[count > 0]
        low, high = np.quantile(share, [0.025, 0.975])
        found.append(Bin(float(centre), int(rows.sum()), len(np.unique(day[rows])), float(chance[rows].mean()),
                         float(held[rows].mean()), float(low), float(high)))  # fmt: skip
    return found


def table(found: list[Bin]) -> str:
    lines = ["  near   starts  days  chance   held  difference  95 % interval"]
    for one in found:
        note = ("" if one.true else "  NOT TRUE") if one.counts else f"  fewer than {LEAST_DAYS} days"
        lines.append(
            f"  {one.centre:4.1f}  {one.starts:7d}  {one.days:4d}   {one.chance:.3f}  {one.happened:.3f}"
            f"      {one.happened - one.chance:+.3f}  {one.low:.3f} to {one.high:.3f}{note}"
        )
    return "\n".join(lines)
