"""Attack the advisor with faults and bad input, and print one table; the exit code is 1 where anything survived."""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path

from hardening.lines import Line, table

ROOT = Path(__file__).resolve().parents[2]

#: module under `hardening` that has `run(quick, seed)`, giving lines; the longest first
CAMPAIGNS = ("mutations", "crashes", "fuzzing", "web", "load", "supply")


def campaign(name: str, quick: bool, seed: int) -> list[dict]:
    """Run one campaign in this process."""
    run = import_module(f"hardening.{name}").run
    return [line.as_json() for line in run(quick=quick, seed=seed)]


def apart(name: str, quick: bool, seed: int) -> list[dict]:
    """Run one campaign in a process of its own; one that breaks is a survivor, never a silence."""
    command = [sys.executable, "-m", "hardening.run", "--only", name, "--seed", str(seed), "--as-json"]
    began = time.monotonic()
    done = subprocess.run(
        [*command, *(["--quick"] if quick else [])], capture_output=True, text=True, cwd=ROOT, check=False
    )
    took = time.monotonic() - began
    print(f"  {name}: {took:.0f} s", file=sys.stderr, flush=True)
    try:
        return json.loads(done.stdout)
    except ValueError:
        said = (done.stderr or done.stdout).strip().splitlines()[-8:]
        broken = {
            "campaign": name,
            "what": "the campaign itself broke",
            "cases": 0,
            "survivors": 1,
            "note": "",
        }
        return [broken | {"examples": [f"exit code {done.returncode}", *said]}]


def arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="fewer cases, under three minutes")
    parser.add_argument("--seed", type=int, default=1, help="for what is drawn (1)")
    parser.add_argument("--only", choices=CAMPAIGNS, action="append", help="this campaign alone")
    parser.add_argument("--json", type=Path, help="keep all lines in this file")
    parser.add_argument("--as-json", action="store_true", help=argparse.SUPPRESS)
    return parser.parse_args()


def main() -> int:
    given = arguments()
    names = given.only or list(CAMPAIGNS)
    if given.as_json:
        print(json.dumps([line for name in names for line in campaign(name, given.quick, given.seed)]))
        return 0
    began = time.monotonic()
    with ThreadPoolExecutor(min(2, os.cpu_count() or 1)) as pool:
        found = list(pool.map(lambda name: apart(name, given.quick, given.seed), names))
    lines = [Line(**(one | {"examples": tuple(one["examples"])})) for some in found for one in some]
    form = "Quick form" if given.quick else "Long form"
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    took = f"{time.monotonic() - began:.0f} s"
    print(f"{form}, seed {given.seed}, {datetime.now(UTC).date().isoformat()}, {machine}, {took}\n")
    print(table(lines))
    if given.json:
        given.json.write_text(json.dumps([line.as_json() for line in lines], indent=1), encoding="utf-8")
    return int(any(line.survivors for line in lines))


if __name__ == "__main__":
    sys.exit(main())
