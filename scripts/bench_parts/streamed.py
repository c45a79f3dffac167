"""Many sites from files to a table: reading, computing and writing apart, and the most memory of the process."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from advisor.batch.results import COLUMNS, rows_of
from advisor.forecast import Field, Forecast
from advisor.model import DEFAULT_FLOORS
from advisor.scoring import chunk_size, score_chunks
from advisor.task_table import build
from bench_parts import scene
from bench_parts.measure import HORIZON, ROOT, RULES, own_peak

#: chunks of weather that are written to files; the sites take them in turn
HELD = 4


class Files:
    """Weather in files of one chunk each, read anew whenever a chunk is asked for."""

    def __init__(self, folder: Path, sites: int, members: int, hours: int):
        self.chunk, self.cpu = min(chunk_size(members, hours), sites), 0.0
        self._paths, like = [], None
        for at in range(min(HELD, -(-sites // self.chunk))):
            like = scene.weather(slice(at * self.chunk, (at + 1) * self.chunk), members, hours)
            self._paths.append(folder / f"{at}.npz")
            np.savez(self._paths[-1], **{name: one.values for name, one in like.fields.items()})
        self.like = Forecast(like.start, like.hours, {}, like.provenance, like.nominal_members)

    def __call__(self, part: slice) -> Forecast:
        begun = time.thread_time()
        some = part.stop - part.start
        with np.load(self._paths[part.start // self.chunk % len(self._paths)]) as held:
            fields = {
                name: Field(held[name][:some], np.zeros((some, 1, self.like.hours), dtype=np.uint8))
                for name in held
            }
        self.cpu += time.thread_time() - begun
        return self.like.with_fields(fields)


def run_streamed(sites: int, members: int, hours: int, threads: int) -> dict[str, float]:
    """Seconds of CPU of each part, wall seconds, and memory [MiB]; in a process of its own, see `streamed`."""
    with tempfile.TemporaryDirectory() as folder:
        begun = time.process_time()
        tasks = scene.tasks(sites)
        made = build(tasks, (), scene.NOW, site_index=np.arange(sites))
        rows = [
            SimpleNamespace(name=f"site {at}", site=one.household.site, tasks=(one,))
            for at, one in enumerate(tasks)
        ]
        preparing, files, writing = (
            time.process_time() - begun,
            Files(Path(folder), sites, members, hours),
            0.0,
        )
        wall, used = time.perf_counter(), time.process_time()
        with (Path(folder) / "days.csv").open("w", newline="") as out:
            table = csv.DictWriter(out, COLUMNS)
            for scored in score_chunks(
                files, scene.sites_table(sites), made, RULES, scene.NOW, DEFAULT_FLOORS, HORIZON, chunk=files.chunk,
                threads=threads,
            ):  # fmt: skip
                begun = time.thread_time()
                here, last = rows[scored.sites], files.like.axis[-1]
                table.writerows(rows_of(scored, here, files.like, last, scene.NOW, 8))
                writing += time.thread_time() - begun
        used, wall = time.process_time() - used, time.perf_counter() - wall
    return {
        "sites": sites, "members": members, "hours": hours, "threads": threads, "wall": wall, "cpu": used,
        "task_table_cpu": preparing, "reading_cpu": files.cpu, "writing_cpu": writing,
        "computing_cpu": used - files.cpu - writing, "mib": own_peak(),
    }  # fmt: skip


def streamed(sites: int, members: int, hours: int, threads: int) -> dict[str, float]:
    """`run_streamed` in a process of its own, so that its memory is its own."""
    code = (
        "import json, sys; sys.path[:0] = sys.argv[1:3]\n"
        "from bench_parts.streamed import run_streamed\n"
        "print(json.dumps(run_streamed(*map(int, sys.argv[3:]))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(ROOT), str(ROOT / "scripts"), *map(str, (sites, members, hours, threads))],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return json.loads(done.stdout)
