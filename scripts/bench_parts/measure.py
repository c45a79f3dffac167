"""What is measured: sites a second, ratios, memory, growth and start-up. Each function returns plain numbers."""

from __future__ import annotations

import compileall
import functools
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

from advisor.area_conditions import AreaConditions
from advisor.conditions import Conditions
from advisor.model import DEFAULT_FLOORS
from advisor.rule_files import load_rules
from advisor.scoring import at_sites, chunk_size, score, score_chunks
from bench_parts import baselines, scene
from bench_parts.floor import floor_seconds

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
    return {"wall": statistics.median(wall), "cpu": statistics.median(cpu), "runs": runs}


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


def ratios(quick: bool) -> list[dict[str, object]]:
    """CPU time a site and member of each other way over that of the advisor, once the answers are equal.

    The others get the derived series ready-made; the advisor's time includes making them.
    """
    rows = []
    ours = throughput(200 if quick else 1000, 31, 168, 1, 3)
    for name, function, sites, members in (
        ("general rule engine (rule-engine)", baselines.engine_verdicts, 1, 2 if quick else 31),
        ("row-wise pandas", baselines.pandas_verdicts, 1, 1 if quick else 31),
        ("whole-array numpy", baselines.whole_array_verdicts, ours["sites"], 31),
    ):
        whole = function is baselines.whole_array_verdicts
        forecast, table = scene.weather(slice(0, sites), members, 168), scene.task_table(sites)
        places = scene.sites_table(sites)
        _, verdicts = score(forecast, places, table, RULES, scene.NOW, DEFAULT_FLOORS, HORIZON)
        prepared = baselines.prepare(RULES, AreaConditions(Conditions(forecast, places), table), DEFAULT_FLOORS)
        lead = (forecast.axis.astype("datetime64[s]") - np.datetime64(scene.NOW.replace(tzinfo=None), "s")) / 3600
        lead = lead / np.timedelta64(1, "s")
        asked = prepared, forecast.nominal_members, lead, DEFAULT_FLOORS, HORIZON
        try:
            answer = function(*asked)
        except ImportError as missing:
            rows.append({"name": name, "missing": str(missing)})
            continue
        wanted = baselines.Answer(verdicts.verdict, verdicts.everything.lower, verdicts.everything.upper)
        if not answer.equals(wanted):
            raise SystemExit(f"bench: {name} gives other verdicts than the advisor: nothing is timed")
        took = timed(functools.partial(function, *asked), 3 if whole and not quick else 1)
        del forecast, prepared, asked
        # both for a site of 31 members
        theirs = 1e3 * took["cpu"] / sites * 31 / members
        row = {
            "name": name, "sites": sites, "members": members, "their_cpu_ms_per_site": theirs,
            "our_cpu_ms_per_site": ours["cpu_ms_per_site"], "ratio": theirs / ours["cpu_ms_per_site"],
        }  # fmt: skip
        if whole:
            row.update(_with_formulas(sites, members, theirs, ours))
        rows.append(row)
    return rows


def _with_formulas(sites: int, members: int, theirs: float, ours: dict) -> dict[str, float]:
    """The whole-array way when it makes the derived series too, by the same formulas in one array of all sites."""
    forecast = scene.weather(slice(0, sites), members, 168)
    table, places = scene.task_table(sites), scene.sites_table(sites)

    def derive():
        area = AreaConditions(Conditions(forecast, places), table)
        for rule in RULES:
            baselines.QUANTITIES[rule.measure.quantity].series(area)

    whole = theirs + 1e3 * timed(derive, 3)["cpu"] / sites
    return {"with_formulas_ms_per_site": whole, "ratio_with_formulas": whole / ours["cpu_ms_per_site"]}


def floor(ours: dict) -> dict[str, float]:
    sites, members, hours = ours["sites"], ours["members"], ours["hours"]
    seconds = statistics.median(
        floor_seconds(sites, members, hours, min(chunk_size(members, hours), sites)) for _ in range(5)
    )
    return {"floor_cpu_ms_per_site": 1e3 * seconds / sites, "times_the_floor": ours["cpu"] / seconds}


def growth(rows: list[dict]) -> dict[str, float]:
    """Exponents of CPU time: sites from 1,000 to the most, members from 31 to 51, by least squares of logarithms."""
    out = {}
    by_sites = [row for row in rows if row["members"] == 31 and row["hours"] == 168 and row["sites"] >= 1000]
    by_members = [row for row in rows if row["sites"] == 1000 and row["hours"] == 168 and row["members"] > 1]
    for name, key, found in (("sites", "sites", by_sites), ("members", "members", by_members)):
        if len({row[key] for row in found}) > 1:
            at, took = np.log([row[key] for row in found]), np.log([row["cpu"] for row in found])
            out[name] = float(np.polyfit(at, took, 1)[0])
    return out


def peak_memory(sites: int, members: int, hours: int, threads: int) -> dict[str, float]:
    """Resident memory of a process of its own that scores so many sites with weather streamed [MiB]."""
    code = (
        "import sys; sys.path[:0] = sys.argv[1:3]\n"
        "from bench_parts import measure, scene\n"
        "s, m, h, t = map(int, sys.argv[3:])\n"
        "table = scene.task_table(s)\n"
        "weather = lambda part: scene.weather(part, m, h)\n"
        "import time; began, used = time.perf_counter(), time.process_time()\n"
        "measure.score_all(s, m, h, weather, table, t)\n"
        "print(time.perf_counter() - began, time.process_time() - used)\n"
        "print(measure.own_peak())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(ROOT), str(ROOT / "scripts"), *map(str, (sites, members, hours, threads))],
        capture_output=True, text=True, check=True,
    ).stdout.split()  # fmt: skip
    return {"sites": sites, "members": members, "hours": hours, "mib": float(done[2]),
            "wall_with_invented_weather": float(done[0]), "cpu_with_invented_weather": float(done[1])}  # fmt: skip


def own_peak() -> float:
    """Most resident memory of this process [MiB]; what `getrusage` says may be that of the process it came from."""
    status = Path("/proc/self/status")
    if status.exists():
        return int(status.read_text().split("VmHWM:")[1].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def start_up(runs: int) -> dict[str, float]:
    """CPU seconds of whole processes, medians, taken in turns so that a busy machine disturbs all alike; the page's
    answer in wall milliseconds, first and warm."""
    home, weather = ROOT / "fixtures" / "prairie-lawn", ROOT / "fixtures" / "weather" / "prairie-open-meteo.json"
    # pandas was compiled when it was installed; what is installed editable is compiled by its first use, if at all
    compileall.compile_dir(ROOT / "advisor", quiet=2)
    advisor = [sys.executable, "-m", "advisor"]
    commands = {
        "import pandas": [sys.executable, "-c", "import pandas"],
        "outlook": [*advisor, "outlook", "--home", str(home), "--weather", str(weather), "--now", "2026-09-21T12:00Z"],
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
        names = [line.split(":", 1)[1].strip() for line in cpuinfo.read_text().splitlines() if "model name" in line]
        model = names[0] if names else model
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return {"cpu": model, "cores": os.cpu_count(), "system": platform.system(), "python": platform.python_version(),
            "numpy": np.__version__, "load": round(load, 2)}  # fmt: skip
