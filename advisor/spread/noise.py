"""Seeded standard noise for members: correlated from hour to hour, and stratified over members.

Stratified means that at every hour the members together have mean 0 and standard deviation 1, and their ranks fill
0 to 1 evenly. A chance counted over 51 members then errs by the size of one member and not by the luck of a draw.
"""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from advisor.clock import iso
from advisor.forecast import Provenance

#: sources that do not say when they issued are taken to issue as often as the global models run [h]
CYCLE_HOURS = 6


def generator(key: str, provenance: Provenance, what: str = "") -> np.random.Generator:
    """Generator seeded from the site's key, the source and the issue time, so that chances do not flicker.

    A source that does not say when it issued counts by the six hours of UTC in which it was asked.
    """
    since = provenance.issued_at or _cycle(provenance.fetched_at)
    text = "\n".join((key, provenance.source, iso(since) or "", what))
    return np.random.Generator(
        np.random.PCG64(int.from_bytes(hashlib.sha256(text.encode()).digest()[:16], "big"))
    )


def _cycle(fetched_at: datetime | None) -> datetime | None:
    if fetched_at is None:
        return None
    whole = fetched_at.replace(minute=0, second=0, microsecond=0)
    return whole - timedelta(hours=whole.hour % CYCLE_HOURS)


def red_noise(
    random: np.random.Generator, memory: np.ndarray, shape: tuple[int, ...], dtype=np.float64
) -> np.ndarray:
    """Stationary first-order autoregressive noise x_t = r x_t-1 + sqrt(1 - r^2) e_t, r = exp(-1 h / memory).

    Parameters
    ----------
    memory : ndarray (series,)
        [h] at which the correlation has fallen to 1/e.
    shape : tuple
        Of one series, (..., hour).

    Returns
    -------
    numpy.ndarray (series, ..., hour)
        Standard normal at each hour. The recursion is summed by doubling: log2(hours) passes.
    """
    series = len(memory)
    out = random.standard_normal((series, *shape), dtype=np.float32 if dtype == np.float32 else np.float64)
    ratio = np.exp(-1.0 / np.asarray(memory, dtype=float)).reshape(series, *[1] * len(shape))
    out[..., 1:] *= np.sqrt(1.0 - ratio**2).astype(out.dtype)
    step, hours = 1, shape[-1]
    while step < hours:
        later = out[..., step:] + (ratio**step).astype(out.dtype) * out[..., :-step]
        out[..., step:] = later
        step *= 2
    return out


def standardised(noise: np.ndarray, axis: int = -2) -> np.ndarray:
    """Noise with mean 0 and standard deviation 1 over the members of every hour."""
    if noise.shape[axis] < 2:
        return np.zeros_like(noise)
    away = noise - noise.mean(axis=axis, keepdims=True)
    return away / np.sqrt(np.mean(away * away, axis=axis, keepdims=True))


def ranked(noise: np.ndarray, axis: int = -2) -> np.ndarray:
    """Position of each member among the members of its hour, (rank + 1/2) / members, between 0 and 1."""
    members = noise.shape[axis]
    rank = np.argsort(np.argsort(noise, axis=axis), axis=axis)
    return ((rank + 0.5) / members).astype(noise.dtype)


@lru_cache(maxsize=32)
def normal_scores(count: int) -> np.ndarray:
    """Normal quantiles at (rank + 1/2) / count, (count,); AS 241 (Wichura 1988) through the standard library."""
    normal = NormalDist()
    scores = np.array([normal.inv_cdf((rank + 0.5) / count) for rank in range(count)])
    scores.setflags(write=False)
    return scores
