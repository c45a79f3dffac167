"""Print every attack with what must become of it and what became of it; the exit code is 1 where one got through."""

from __future__ import annotations

import sys

from hardening.web import outcomes


def main() -> int:
    found = outcomes("--quick" in sys.argv[1:])
    print("attack | what is sent | what must become of it | what became of it")
    for one in found:
        print(one.row)
    through = sum(not one.refused for one in found)
    print(f"\n{len(found)} attacks, {through} got through")
    return int(bool(through))


if __name__ == "__main__":
    sys.exit(main())
