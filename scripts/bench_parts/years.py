"""How long the almanac takes over ten years of hourly weather of one site: the command as a person runs it."""

from __future__ import annotations

import gzip
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from bench_parts.scene import FIXTURES

YEARS = 10


def almanac_over_years() -> dict[str, float]:
    """Seconds of wall and CPU time of `advisor almanac`, and the hours that it judged.

    The demonstration's invented years are repeated backwards until they are ten.
    """
    with gzip.open(FIXTURES / "weather" / "prairie-years.csv.gz", "rt") as given:
        lines = given.read().splitlines()
    first = next(at for at, line in enumerate(lines) if line.startswith("time,"))
    rows = [line.split(",", 1)[1] for line in lines[first + 1 :]]
    last = np.datetime64(lines[-1].split(",", 1)[0].rstrip("Z"), "h")
    hours = YEARS * 8766
    stamps = last - np.arange(hours)[::-1]
    values = (rows * (hours // len(rows) + 1))[-hours:]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ten-years.csv"
        table = [f"{stamp}:00Z,{row}" for stamp, row in zip(stamps, values, strict=True)]
        path.write_text("\n".join([*lines[: first + 1], *table]) + "\n")
        command = [sys.executable, "-m", "advisor", "almanac", "--home", str(FIXTURES / "prairie-lawn"), "--no-keep",
                   "--history", str(path), "--sums", "after", "--now", "2026-09-21T12:00Z"]  # fmt: skip
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(command, cwd=FIXTURES.parent, stdout=subprocess.DEVNULL, check=True)
        wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    return {
        "hours": hours,
        "wall": wall,
        "cpu": after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime,
    }
