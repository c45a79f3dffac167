"""Inputs led by what they reach: atheris watches which lines a reader runs, and keeps what finds new ones.

The changes are ours by grammar, in turns with those of the library by bytes. Each reader is fed in a process of its
own, because the library rewrites the program's code as it is loaded and never gives the process back.
"""

from __future__ import annotations

import importlib.util
import json
import os
import re
import subprocess
import sys
import time
from dataclasses import asdict
from pathlib import Path
from random import Random

from hardening.fuzzing import scratch

ROOT = Path(__file__).resolve().parents[3]
#: kept inputs may be so long [bytes]
LONGEST = 100_000
#: for loading, the kept inputs, and a busy machine [s]
_GRACE = 240


def missing() -> str:
    """Why this cannot be done here; empty where it can."""
    if importlib.util.find_spec("atheris") is None:
        return (
            "skipped: atheris is not installed; pip install -e '.[fuzz]' has it where there is a build of it"
        )
    return ""


def lead(name: str, seconds: int, seed: int) -> tuple[int, list[dict], str]:
    """Feed one reader for so much processor time; runs, faults as plain values, and what broke the process itself."""
    with scratch.held() as folder:
        told = folder / "found.jsonl"
        command = [sys.executable, "-m", "hardening.fuzzing.guided", name, str(seconds), str(seed), str(told)]
        paths = os.pathsep.join((str(ROOT), str(ROOT / "scripts")))
        done = subprocess.run(command, capture_output=True, text=True, cwd=folder, check=False, errors="replace",
                              env={**os.environ, "PYTHONPATH": paths})  # fmt: skip
        runs = sum(int(count) for count in re.findall(r"^led by (\d+) runs$", done.stdout, re.MULTILINE))
        places = re.findall(r'File "[^"]*?([^"/]+)", line (\d+)', done.stderr)
        where = ", ".join(f"{file}:{line}" for file, line in places[:4])
        last = where or (done.stderr.strip().splitlines() or ["no words"])[-1][:200]
        return runs, _kept(told), "" if runs else f"ended with {done.returncode}: {last}"


def _kept(told: Path) -> list[dict]:
    return [json.loads(line) for line in told.read_text().splitlines()] if told.exists() else []


def _main(name: str, seconds: str, seed: str, told: str) -> None:
    import faulthandler

    import atheris

    # what stands still ends with the place where it stands
    faulthandler.dump_traceback_later(20 * int(seconds) + _GRACE, exit=True)
    with atheris.instrument_imports(include=["advisor"], enable_loader_override=False):
        from hardening.fuzzing.loop import quiet, smaller, warm
        from hardening.fuzzing.oracle import judge
        from hardening.fuzzing.targets import targets

    target = targets()[name]
    seeds = target.seeds()
    quiet()
    warm(target, seeds)
    corpus = Path(told).parent / "corpus"
    corpus.mkdir()
    for at, one in enumerate(seeds):
        (corpus / f"seed{at:03}").write_bytes(one[:LONGEST])
    known: set[tuple[str, str]] = set()
    runs, until = 0, time.process_time() + int(seconds)

    def one(data: bytes) -> None:
        nonlocal runs
        runs += 1
        if time.process_time() > until:
            # the library counts by the clock, and on a busy machine that is no measure
            print(f"led by {runs} runs", flush=True)
            os._exit(0)
        fault = judge(target, data)
        if fault is None or (fault.kind, fault.place) in known:
            return
        known.add((fault.kind, fault.place))
        least = smaller(target, data, fault, tries=150)
        with Path(told).open("a", encoding="utf-8") as file:
            file.write(json.dumps({**asdict(fault), "smallest": repr(least)[:2000]}) + "\n")

    def change(data: bytes, most: int, drawn: int) -> bytes:
        chance = Random(drawn)
        if chance.random() < 0.6:
            return target.change(chance, data or seeds[0], seeds)[:most]
        return atheris.Mutate(data, most)

    options = [f"-seed={seed}", f"-max_len={LONGEST}", "-timeout=120",
               "-rss_limit_mb=2500",
               "-print_final_stats=1", "-verbosity=1", str(corpus)]  # fmt: skip
    atheris.Setup([sys.argv[0], *options], one, custom_mutator=change)
    atheris.Fuzz()


if __name__ == "__main__":
    _main(*sys.argv[1:5])
