"""What is measured: sites a second, growth and start-up. Each function returns plain numbers."""

from __future__ import annotations

import compileall
import os
import platform
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from advisor.model import DEFAULT_FLOORS
from advisor.rule_files import load_rules
from advisor.scoring import at_sites, chunk_size, score_chunks
from bench_parts import scene

ROOT = Path(__file__).resolve().parents[2]
HORIZON = 48.0
RULES = tuple(load_rules())


def timed(work: Callable[[], object], runs: int) -> dict[str, float]:
    """Medians of wall and CPU seconds (all threads) over some runs."""
    wall, cpu = [], []
    for _ in range(runs):
        began, used = time.perf_counter(), time.process_time()
        work()
        wall.append(time.perf_counter() - began)
        cpu.append(time.process_time() - used)
    return {
        "wall": statistics.median(wall),
        "cpu": statistics.median(cpu),
        "least_cpu": min(cpu),
        "runs": runs,
    }


class Weather:
    """Weather of many sites from that of a few chunks, repeated: what is timed is the scoring and not the invention."""

    def __init__(self, sites: int, members: int, hours: int, chunk: int):
        held = min(sites, 4 * chunk)
        self._held, self._chunk = scene.weather(slice(0, held), members, hours), chunk
        self._count = held

    def __call__(self, part: slice):
        first = part.start % self._count
        some = part.stop - part.start
        if first + some <= self._count:
            return at_sites(self._held, slice(first, first + some))
        return at_sites(self._held, np.arange(first, first + some) % self._count)


def score_all(sites: int, members: int, hours: int, weather, table, threads: int) -> np.ndarray:
    places, found = scene.sites_table(sites), np.zeros(3, dtype=int)
    for scored in score_chunks(
        weather, places, table, RULES, scene.NOW, DEFAULT_FLOORS, HORIZON,
        chunk=min(chunk_size(members, hours), sites), threads=threads,
    ):  # fmt: skip
        found += [(scored.verdicts.verdict == code).sum() for code in (1, 0, -1)]
    return found


def throughput(sites: int, members: int, hours: int, threads: int, runs: int, table=None) -> dict[str, float]:
    table = table or scene.task_table(sites)
    weather = Weather(sites, members, hours, min(chunk_size(members, hours), sites))
    score_all(min(sites, 4), members, hours, weather, scene.task_table(min(sites, 4)), 1)
    took = timed(lambda: score_all(sites, members, hours, weather, table, threads), runs)
    return {
        "sites": sites, "members": members, "hours": hours, "threads": threads, **took,
        "sites_per_second": sites / took["wall"], "cpu_ms_per_site": 1e3 * took["cpu"] / sites,
    }  # fmt: skip


def growth(rows: list[dict]) -> dict[str, float]:
    """Exponents of CPU time: sites from 1,000 to the most, members from 31 to 51, by least squares of logarithms.

    The least of the runs counts here: what other work adds differs from run to run.
    """
    out = {}
    by_sites = [row for row in rows if row["members"] == 31 and row["hours"] == 168 and row["sites"] >= 1000]
    by_members = [row for row in rows if row["sites"] == 1000 and row["hours"] == 168 and row["members"] > 1]
    for name, key, found in (("sites", "sites", by_sites), ("members", "members", by_members)):
        if len({row[key] for row in found}) > 1:
            at, took = np.log([row[key] for row in found]), np.log([row["least_cpu"] for row in found])
            out[name] = float(np.polyfit(at, took, 1)[0])
    return out


def own_peak() -> float:
    """Most resident memory of this process [MiB]; what `getrusage` says may be that of the process it came from."""
    status = Path("/proc/self/status")
    if status.exists():
        return int(status.read_text().split("VmHWM:")[1].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def start_up(runs: int) -> dict[str, float]:
    """CPU seconds of whole processes, medians, taken in turns so that a busy machine disturbs all alike; the page's
    answer in wall milliseconds, first and warm."""
    home, weather = (
        ROOT / "fixtures" / "prairie-lawn",
        ROOT / "fixtures" / "weather" / "prairie-open-meteo.json",
    )
    # pandas was compiled when it was installed; what is installed editable is compiled by its first use, if at all
    compileall.compile_dir(ROOT / "advisor", quiet=2)
    advisor = [sys.executable, "-m", "advisor"]
    commands = {
        "import pandas": [sys.executable, "-c", "import pandas"],
        "outlook": [
            *advisor,
            "outlook",
            "--home",
            str(home),
            "--weather",
            str(weather),
            "--now",
            "2026-09-21T12:00Z",
        ],
        "import click": [sys.executable, "-c", "import click"],
        "--help": [*advisor, "--help"],
    }
    taken: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(runs + 1):
        for name, command in commands.items():
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL, check=True)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            taken[name].append(after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)
    out = {name: statistics.median(seconds[1:]) for name, seconds in taken.items()}
    out["outlook / pandas"] = out["outlook"] / out["import pandas"]
    out["--help / click"] = out["--help"] / out["import click"]
    return {**out, **_page(runs)}


def _page(runs: int) -> dict[str, float]:
    code = (
        "import sys; sys.path[:0] = sys.argv[1:3]\n"
        "from bench_parts.page import answer_times\n"
        "print(*answer_times(int(sys.argv[3])))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(ROOT), str(ROOT / "scripts"), str(runs)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if done.returncode:
        return {"page": (done.stderr.strip().splitlines() or ["failed"])[-1]}
    first, warm = map(float, done.stdout.split()[-2:])
    return {"page first ms": first, "page warm ms": warm}


def machine() -> dict[str, object]:
    model = platform.processor() or platform.machine()
    cpuinfo = Path("/proc/cpuinfo")
    if cpuinfo.exists():
        names = [
            line.split(":", 1)[1].strip() for line in cpuinfo.read_text().splitlines() if "model name" in line
        ]
        model = names[0] if names else model
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return {"cpu": model, "cores": os.cpu_count(), "system": platform.system(), "python": platform.python_version(),
            "numpy": np.__version__, "load": round(load, 2)}  # fmt: skip
