"""What a run has done so far, as JSON lines beside the results, so that a broken run goes on where it stopped.

The first line says what the run is about; a journal about anything else is not taken up. The last line may be torn.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from advisor.batch.results import COLUMNS
from advisor.errors import UsageError

FORMATS = ("csv", "jsonl", "parquet")


class Journal:
    """Rows by site, written as chunks are done.

    Parameters
    ----------
    results : Path
        Where the results will stand; the journal stands beside it.
    about : str
        Digest of everything that the answers follow from.
    """

    def __init__(self, results: Path, about: str):
        self.results, self._about = results, about
        self._path = results.with_name(results.name + ".unfinished")
        self.done: set[str] = set()
        self._keep_whole_lines()

    def _keep_whole_lines(self) -> None:
        """Take up the journal of a broken run of the same, without what was torn; else begin a new one."""
        kept: list[str] = []
        if self._path.exists():
            lines = self._path.read_text(encoding="utf-8").split("\n")[:-1]
            try:
                if lines and json.loads(lines[0]).get("about") == self._about:
                    for line in lines[1:]:
                        self.done.add(json.loads(line)["site"])
                        kept.append(line)
            except ValueError:
                pass
        head = json.dumps({"about": self._about})
        self._path.write_text("\n".join([head, *kept]) + "\n", encoding="utf-8")

    def add(self, sites: Iterable[tuple[str, list[dict]]]) -> None:
        """All rows of each site on one line: a site is done whole or not at all."""
        text = "".join(json.dumps({"site": name, "rows": rows}, allow_nan=False) + "\n" for name, rows in sites)
        with self._path.open("a", encoding="utf-8") as file:
            file.write(text)

    def rows(self, order: Mapping[str, int]) -> list[dict]:
        """All rows, in the order of the sites' file."""
        found: list[tuple[int, list[dict]]] = []
        with self._path.open(encoding="utf-8") as file:
            next(file)
            for line in file:
                one = json.loads(line)
                found.append((order.get(one["site"], len(order)), one["rows"]))
        return [row for _, rows in sorted(found, key=lambda pair: pair[0]) for row in rows]

    def finish(self, kind: str, order: Mapping[str, int]) -> None:
        """Write the results in one go and drop the journal."""
        aside = self.results.with_name(self.results.name + ".new")
        write(aside, kind, self.rows(order))
        aside.replace(self.results)
        self._path.unlink()


def write(path: Path, kind: str, rows: list[dict]) -> None:
    if kind == "jsonl":
        path.write_text("".join(f"{line}\n" for line in lines_of(rows)), encoding="utf-8")
    elif kind == "csv":
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows({**row, "too_early": "yes" if row["too_early"] else "no"} for row in rows)
    else:
        import pandas as pd

        frame = pd.DataFrame(rows, columns=list(COLUMNS))
        try:
            frame.to_parquet(path, index=False)
        except ImportError as error:
            hint = 'pip install "application-window-advisor[parquet]", or ask for csv'
            raise UsageError('parquet files need the extra "parquet"', hint=hint) from error


def lines_of(rows: Iterable[dict]) -> Iterator[str]:
    return (json.dumps(row, ensure_ascii=False, allow_nan=False) for row in rows)
