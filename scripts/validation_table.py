"""Print the validation table: what each formula was checked against, and the largest error found.

    .venv/bin/python scripts/validation_table.py            the table
    .venv/bin/python scripts/validation_table.py --write    put it into DEVELOPERS.md between its two marks

Needs the reference libraries (`pip install -e '.[test,reference]'`); a comparison whose library is missing is left out.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
BEGIN, END = "<!-- validation table -->", "<!-- end of the validation table -->"
sys.path.insert(0, str(ROOT))


def rows() -> list[tuple[str, str, str, str]]:
    from tests.atmosphere.comparisons import report as atmosphere
    from tests.soil.comparisons import report as soil

    return [tuple(str(cell) for cell in row) for report in (atmosphere, soil) for row in report()]


def table() -> str:
    lines = ["| topic | method | checked against | largest error found |", "|---|---|---|---|"]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows()]
    return "\n".join(lines)


def main() -> None:
    text = table()
    if "--write" not in sys.argv:
        print(text)
        return
    guide = ROOT / "DEVELOPERS.md"
    before, _, rest = guide.read_text(encoding="utf-8").partition(BEGIN)
    _, _, after = rest.partition(END)
    guide.write_text(f"{before}{BEGIN}\n{text}\n{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
