"""Seeded standard noise for members: correlated from hour to hour, and stratified over members.

Stratified means that at every hour the members together have mean 0 and standard deviation 1, and their ranks fill
0 to 1 evenly. A chance counted over 51 members then errs by the size of one member and not by the luck of a draw.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from advisor.clock import HOUR, iso
from advisor.forecast import Forecast


class Draws:
    """Random numbers for one forecast that do not depend on who asks for them, when, or with what laid around it.

    They are seeded from the site's key, the source and the issue time, so that chances do not flicker; where an answer
    does not say when it was issued, from its own first hour, which everyone who holds the answer knows. They are drawn
    for the answer's own hours: an axis that was made longer, or past weather laid before it, changes nothing.
    """

    def __init__(self, key: str, forecast: Forecast, what: str = ""):
        provenance = forecast.provenance
        self._first, self._hours = provenance.own_axis or (forecast.start, forecast.hours)
        since = iso(provenance.issued_at) or f"own hours from {iso(self._first)}"
        text = "\n".join((key, provenance.source, since, what))
        seed = int.from_bytes(hashlib.sha256(text.encode()).digest()[:16], "big")
        self._random = np.random.Generator(np.random.PCG64(seed))

    def red_noise(self, memory: np.ndarray, members: int, forecast: Forecast, dtype=np.float64) -> np.ndarray:
        """Standardised noise (series, site, member, hour) on a forecast's axis; outside the answer's own hours that of
        the nearest.

        `memory` (series,) [h] as in `red_noise`.
        """
        shape = (forecast.sites, members, self._hours)
        drawn = standardised(red_noise(self._random, memory, shape, dtype))
        return _placed(drawn, int((self._first - forecast.start) / HOUR), forecast.hours)

    def uniform(self, shape: tuple[int, ...], start: np.datetime64, count: int, step: int) -> np.ndarray:
        """Uniform numbers (..., period) for `count` periods of `step` hours from `start` on, which begin at whole
        multiples of their length in UTC."""
        wait = int(-self._first.astype("datetime64[h]").astype(int)) % step
        drawn = self._random.random((*shape, max((self._hours - wait) // step, 1)))
        return _placed(drawn, (int((self._first - start) / HOUR) + wait) // step, count)


def _placed(drawn: np.ndarray, at: int, length: int) -> np.ndarray:
    """`drawn` from position `at` of a last axis of another length, on which its first and last go on to either end."""
    if at == 0 and drawn.shape[-1] == length:
        return drawn
    return np.take(drawn, np.clip(np.arange(length) - at, 0, drawn.shape[-1] - 1), axis=-1)


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
