"""The benchmark's command line: measures, prints one table after the other, and keeps JSON where that is asked for."""

from __future__ import annotations

import argparse
import cProfile
import json
import pstats
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

from bench_parts import measure, ratios, scene
from bench_parts.floor import LESS_THAN_ONE, TRANSCENDENTALS, K
from bench_parts.streamed import streamed
from bench_parts.years import almanac_over_years

FULL = [(s, m, h) for s in (1, 100, 1000, 10_000) for m in (1, 31, 51) for h in (168, 240)]
QUICK = [(1, 31, 168), (100, 31, 168), (1000, 1, 168), (1000, 31, 168), (1000, 51, 168), (10_000, 31, 168)]


def main() -> None:
    parser = argparse.ArgumentParser(prog="scripts/bench", description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer sizes and runs, under 90 s")
    parser.add_argument("--json", metavar="FILE", type=Path, help="keep all numbers there")
    parser.add_argument("--profile", action="store_true", help="only show where the time of 512 sites goes")
    parser.add_argument("--threads", type=int, default=2, help="chunks scored at the same time (2)")
    asked = parser.parse_args()
    if asked.profile:
        profile()
        return
    began = time.perf_counter()
    found: dict[str, object] = {
        "at": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": measure.machine(),
    }
    where = found["machine"]
    print(f"{found['at']}  {where['cpu']}, {where['cores']} cores, Python {where['python']}, numpy {where['numpy']}, "
          f"load {where['load']}; {len(measure.RULES)} rules")  # fmt: skip
    if where["load"] > 0.7:
        print("Other work runs here: trust CPU times and ratios of CPU times, not wall times.")

    say("Start-up (CPU seconds of a process; page in milliseconds)")
    found["start_up"] = measure.start_up(3 if asked.quick else 15)
    for name, value in found["start_up"].items():
        print(f"  {name:34} {value if isinstance(value, str) else format(value, '9.3f')}")

    say(f"Throughput, medians, {asked.threads} threads")
    print(
        f"  {'sites':>6} {'members':>7} {'hours':>5} {'sites/s':>9} {'wall s':>8} {'CPU s':>8} {'CPU ms/site':>11}"
    )
    rows, tables = [], {}
    for sites, members, hours in QUICK if asked.quick else FULL:
        if sites not in tables:
            began_table = time.perf_counter()
            tables = {sites: scene.task_table(sites)}
            reading = time.perf_counter() - began_table
        runs = 3 if sites >= 1000 else 7
        threads = asked.threads if sites > 1 else 1
        row = measure.throughput(sites, members, hours, threads, runs, tables[sites])
        row["task_table_s"] = reading
        rows.append(row)
        print(f"  {sites:6} {members:7} {hours:5} {row['sites_per_second']:9.0f} {row['wall']:8.3f} {row['cpu']:8.3f} "
              f"{row['cpu_ms_per_site']:11.3f}", flush=True)  # fmt: skip
    found["throughput"] = rows

    say("Floor: the full rule set against float32 exp over the same chunks, one thread")
    ours = ratios.our_row()
    found["floor"] = {
        **ratios.floor(ours),
        "K": K,
        "counted": TRANSCENDENTALS,
        "less than one": LESS_THAN_ONE,
    }
    print(f"  K = {K}: {found['floor']['floor_cpu_ms_per_site']:.4f} ms a site; the rules take "
          f"{found['floor']['times_the_floor']:.1f} times that   (target 4)", flush=True)  # fmt: skip

    say("Ratios of CPU time a site of 31 members and 168 hours, after equal verdicts")
    found["ratios"] = []
    for row in ratios.ratios(asked.quick, ours):
        found["ratios"].append(row)
        if "missing" in row:
            print(f"  {row['name']:36} not installed: {row['missing']}", flush=True)
            continue
        print(f"  {row['name']:36} {row['their_cpu_ms_per_site']:10.2f} ms  {row['ratio']:9.1f} times ours   "
              f"(target {row['target']:,}; {row['sites']:,} sites, {row['members']} members)", flush=True)  # fmt: skip
        if "ratio_with_formulas" in row:
            print(f"  {'  making the derived series too':36} {row['with_formulas_ms_per_site']:10.2f} ms  "
                  f"{row['ratio_with_formulas']:9.1f} times ours", flush=True)  # fmt: skip

    say("From files to a table, weather read chunk by chunk (CPU seconds of each part)")
    print(f"  {'sites':>6} {'reading':>8} {'computing':>9} {'writing':>8} {'wall s':>8} {'MiB':>6}")
    most = 1000 if asked.quick else 10_000
    found["streamed"] = []
    for sites in (most // 10, most):
        row = streamed(sites, 31, 168, asked.threads)
        found["streamed"].append(row)
        print(f"  {sites:6} {row['reading_cpu']:8.2f} {row['computing_cpu']:9.2f} {row['writing_cpu']:8.2f} "
              f"{row['wall']:8.2f} {row['mib']:6.0f}", flush=True)  # fmt: skip
    print("  (targets at 10,000 sites: 15 s of computing on two cores, 2,048 MiB)")

    say("Almanac over ten years of hourly weather of one site")
    found["almanac"] = almanac_over_years()
    print(f"  {found['almanac']['hours']:,} hours: {found['almanac']['cpu']:.2f} s of CPU, "
          f"{found['almanac']['wall']:.2f} s   (target 5)", flush=True)  # fmt: skip

    say("Growth of CPU time")
    found["growth"] = measure.growth(rows)
    for name, exponent in found["growth"].items():
        print(
            f"  with {name:8} exponent {exponent:.3f}"
            + ("   (target 1.0 within 0.05)" if name == "sites" else "")
        )
    found["seconds"] = time.perf_counter() - began
    print(f"\nTook {found['seconds']:.0f} s.")
    if asked.json:
        asked.json.write_text(json.dumps(found, indent=1, default=float) + "\n")


def say(title: str) -> None:
    print(f"\n{title}", flush=True)


def profile() -> None:
    """Own time by function, over chunks of the usual size on one thread."""
    sites, members, hours = 512, 31, 168
    table = scene.task_table(sites)
    weather = measure.Weather(sites, members, hours, measure.chunk_size(members, hours))
    measure.score_all(sites, members, hours, weather, table, 1)
    watched = cProfile.Profile()
    watched.enable()
    measure.score_all(sites, members, hours, weather, table, 1)
    watched.disable()
    pstats.Stats(watched, stream=sys.stdout).strip_dirs().sort_stats("tottime").print_stats(30)


if __name__ == "__main__":
    main()
