#!/usr/bin/env python3
"""Print what becomes of a verdict under every fault of every weather provider.

    python scripts/fault_table.py              all providers and faults
    python scripts/fault_table.py nws          one provider

A provider on this computer speaks the three services' shapes and makes each fault on demand; nobody else is asked. Each
row is one fault in three situations: nothing kept, the last good answer three hours old, and twenty hours old, which is
beyond the age limit of every source. The answer is that of the same morning; without a fault it is a go.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from weather import faults, households  # noqa: E402  (the tests' own provider, found by the line above)

_WIDTH = 112


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("providers", nargs="*", metavar="PROVIDER", help=", ".join(faults.PROVIDERS))
    wanted = parser.parse_args().providers or faults.PROVIDERS
    unknown = [name for name in wanted if name not in faults.PROVIDERS]
    if unknown:
        parser.error(f'"{unknown[0]}" is no provider; known: {", ".join(faults.PROVIDERS)}')
    situations = list(faults.SITUATIONS.values())
    wrong = rows = 0
    print(f"{'provider':<11} {'fault':<19} {'nothing kept':<13} {'kept 3 h':<9} {'kept 20 h':<10} what is told")
    with tempfile.TemporaryDirectory() as folder:
        household = households.household(Path(folder) / "household")
        for provider in wanted:
            for fault in ("", *faults.ALL_FAULTS):
                found = [faults.outcome(household, provider, fault, Path(folder), hours) for hours in situations]
                good = fault == "" or fault in faults.HARMLESS
                expected = ["go"] * 3 if good else ["unknown", "go", "unknown"]
                verdicts = [one.today.verdict for one in found]
                told = _told(found[0], faults.words(fault, provider)) if fault else ""
                named = fault == "" or all(faults.words(fault, provider) in one.told for one in found)
                mark = "" if verdicts == expected and named else "  <- not as it should be"
                wrong += bool(mark)
                rows += fault != ""
                line = f"{provider:<11} {fault or '(none)':<19} {verdicts[0]:<13} {verdicts[1]:<9} {verdicts[2]:<10} "
                print(f"{line}{told}"[:_WIDTH + len(line)] + mark, flush=True)
    print(f"\n{rows} rows of {len(wanted)} providers, {wrong} not as they should be.")
    return 1 if wrong else 0


def _told(found: faults.Outcome, words: str) -> str:
    """What the pull said, else the note that speaks of the fault."""
    if found.failed:
        return found.failed.split("\n")[-1].strip()
    return next((note for note in found.told.split("; ") if words and words in note), "")


if __name__ == "__main__":
    sys.exit(main())
