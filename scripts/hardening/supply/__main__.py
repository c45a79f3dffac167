"""Print what the project rests on; `--licences` writes the table of licences anew. The exit code is 1 for a fault."""

from __future__ import annotations

import sys

from hardening.lines import table
from hardening.supply import licences, run


def main() -> int:
    if "--licences" in sys.argv[1:]:
        licences.TABLE.write_text(licences.written(licences.table()), encoding="utf-8")
    lines = run(quick=False, seed=1)
    print(table(lines))
    return int(any(line.survivors for line in lines))


if __name__ == "__main__":
    sys.exit(main())
