"""The floor: as many float32 exp of numpy as the rules need transcendental functions, over the same chunks."""

from __future__ import annotations

import time

import numpy as np

#: Transcendental functions (exp, log, power, cosine) of one value (site, member, hour) that the shipped rules cannot do
#: without, frozen. What a limit is compared with has to be a number that can be shown, so Delta T is solved for and not
#: only compared.
TRANSCENDENTALS = {
    "saturation vapour pressure of the air, for Delta T": 1,
    "saturation vapour pressure at the wet bulb, two Newton steps": 2,
    "cosine of the angle off the wind, for drift at one neighbour": 1,
    "power of that cosine, for drift: a logarithm and an exponential": 2,
}
#: What is needed besides, but not by every value: its share of one function a value. Together it is less than one, and
#: K does not count it. Everything else (wind profile, stability, wet leaves, soil water) is arithmetic and tables.
LESS_THAN_ONE = {
    "vapour pressures of the day's evapotranspiration, four a member and day": 4 / 24,
    "height of the sun, shared by 31 members: sine, cosine and arc sine": 3 / 31,
    "sunrise and sunset, eleven steps of some fifteen a site and day": 11 * 15 / (24 * 31),
}
K = sum(TRANSCENDENTALS.values())


def floor_seconds(sites: int, members: int, hours: int, chunk: int) -> float:
    """Seconds of CPU for K float32 exp of every value, chunk after chunk, written into one buffer."""
    values = np.linspace(-3.0, 3.0, chunk * members * hours, dtype=np.float32).reshape(chunk, members, hours)
    out = np.empty_like(values)
    np.exp(values, out=out)
    begun = time.process_time()
    for first in range(0, sites, chunk):
        some = min(chunk, sites - first)
        for _ in range(K):
            np.exp(values[:some], out=out[:some])
    return time.process_time() - begun
