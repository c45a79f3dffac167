"""`history.csv`: passes that were made before the advisor came.

One line a pass and area, under the header

    area,treatment,product,active_ingredients,started_at,ended_at,amount,size,who,note

Times are ISO 8601; without a zone they are local to the site. Several active ingredients are parted by ";".
Amounts are of product, with a unit, by volume or by weight. Columns may stand in any order; area and
started_at are required, and so are active_ingredients unless a treatment of the household says them.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from advisor.clock import iso
from advisor.errors import Problem, did_you_mean
from advisor.household.fields import unit_words
from advisor.model import Area, Label, Record
from advisor.units import UnitError, parse, show

COLUMNS = (
    "area", "treatment", "product", "active_ingredients", "started_at", "ended_at", "amount", "size", "who",
    "note",
)  # fmt: skip
REQUIRED_COLUMNS = ("area", "started_at")


class HistoryFile:
    """Records and problems of one history file.

    `name` is how it is called in messages. `areas` are those of the household, None where they could not be
    read; `treatments` maps their ids to their labels, None where a label could not be read.
    """

    def __init__(
        self,
        name: str,
        *,
        zone: ZoneInfo,
        areas: Mapping[str, Area] | None,
        treatments: Mapping[str, Label | None],
        now: datetime | None = None,
        units: str = "metric",
    ):
        self.name, self.zone, self.now, self.units = name, zone, now, units
        self.areas, self.treatments = areas, treatments
        self.records: list[Record] = []
        self.errors: list[Problem] = []
        self.warnings: list[Problem] = []

    def read(self, path: Path) -> HistoryFile:
        """Read a file; every faulty line is named."""
        try:
            text = path.read_bytes().decode("utf-8-sig")
        except OSError as error:
            self.errors.append(Problem(f"cannot be read: {error.strerror}", self.name))
            return self
        except UnicodeDecodeError as error:
            line = error.object[: error.start].count(b"\n") + 1
            self.errors.append(Problem("is not UTF-8 text", f"{self.name}:{line}", "save the file as UTF-8"))
            return self
        return self.parse(text)

    def parse(self, text: str) -> HistoryFile:
        """Read the text of a history file."""
        try:
            lines = _numbered(text)
        except _TooLong as error:
            self._fault(error.line, "a cell is too long to be one", "look for a quote that is not closed")
            return self
        if not lines:
            return self
        header_line, header = lines[0]
        columns = [name.strip() for name in header]
        if not self._header(header_line, columns):
            return self
        seen: dict[tuple, int] = {}
        for number, cells in lines[1:]:
            if len(cells) != len(columns):
                what = f"has {len(cells)} cells where the header has {len(columns)}"
                self._fault(number, what, 'put text with a comma in quotes: "dry, warm"')
                continue
            record = self._record(number, dict(zip(columns, (cell.strip() for cell in cells), strict=True)))
            if record is None:
                continue
            key = (record.area, record.treatment, record.product, record.started_at)
            if key in seen:
                self._fault(number, f"repeats the pass of line {seen[key]}", "delete one of the two")
                continue
            seen[key] = number
            self.records.append(record)
        self.records.sort(key=lambda record: (record.started_at, record.area))
        return self

    def _fault(self, line: int, what: str, hint: str = "") -> None:
        self.errors.append(Problem(what, f"{self.name}:{line}", hint))

    def _header(self, line: int, columns: list[str]) -> bool:
        good = True
        for name in columns:
            if name not in COLUMNS:
                self._fault(line, f'unknown column "{name}"', did_you_mean(name, COLUMNS))
                good = False
            elif columns.count(name) > 1:
                self._fault(line, f'column "{name}" stands twice')
                return False
        for name in REQUIRED_COLUMNS:
            if name not in columns:
                self._fault(line, f'column "{name}" is missing', "the header is: " + ",".join(COLUMNS))
                good = False
        return good

    def _record(self, line: int, cells: dict[str, str]) -> Record | None:
        before = len(self.errors)
        area = self._known(line, "area", cells["area"], self.areas, required=True)
        name = self._known(line, "treatment", cells.get("treatment", ""), self.treatments)
        label = self.treatments.get(name)
        ingredients = tuple(
            part.strip() for part in cells.get("active_ingredients", "").split(";") if part.strip()
        )
        if not ingredients and label is not None:
            ingredients = tuple(one.name for one in label.active_ingredients)
        if not ingredients and not (name in self.treatments and label is None):
            hint = "write them parted by ;, or name a treatment of the household"
            self._fault(line, "active_ingredients is blank, so the season's total cannot be kept", hint)
        started = self._instant(line, "started_at", cells["started_at"], required=True)
        ended = self._instant(line, "ended_at", cells.get("ended_at", ""))
        if started and ended and ended < started:
            self._fault(line, "ended_at lies before started_at", "check the two times")
        if started and self.now is not None and started > self.now:
            self._fault(
                line, f"started_at lies in the future: now is {iso(self.now)}", "history holds what was done"
            )
        amount = self._amount(line, cells.get("amount", ""), label)
        size = self._size(line, cells.get("size", ""))
        if len(self.errors) > before:
            return None
        record = Record(
            area=area,
            treatment=name,
            product=cells.get("product", "") or (label.product if label else ""),
            active_ingredients=ingredients,
            started_at=started,
            ended_at=ended,
            amount=amount,
            size=size,
            who=cells.get("who", ""),
            note=cells.get("note", ""),
            id=f"history/{iso(started)}/{area}/{line}",
        )
        if self.areas is not None:
            self._doubts(line, record, label)
        return record

    def _known(
        self, line: int, column: str, text: str, known: Mapping | None, *, required: bool = False
    ) -> str:
        if not text and required:
            self._fault(line, f"{column} is blank", "known: " + ", ".join(known) if known else "")
        elif text and known is not None and text not in known:
            self._fault(line, f'there is no {column} "{text}" in this household', did_you_mean(text, known))
        return text

    def _instant(self, line: int, column: str, text: str, *, required: bool = False) -> datetime | None:
        if not text:
            if required:
                self._fault(line, f"{column} is blank", "write it like 2026-08-25 17:10")
            return None
        try:
            instant = datetime.fromisoformat(text)
        except ValueError:
            self._fault(line, f'{column} "{text}" is not a date and time', "write it like 2026-08-25 17:10")
            return None
        if len(text) <= 10:
            hint = f"write the time as well, such as {text} 17:10; if forgotten, the latest it can have been"
            self._fault(line, f'{column} "{text}" has no time of day', hint)
            return None
        if instant.tzinfo is None:
            instant = instant.replace(tzinfo=self.zone)
        try:
            return instant.astimezone(UTC)
        except OverflowError:
            self._fault(line, f'{column} "{text}" is outside the years 1 to 9999', "check the year")
            return None

    def _amount(self, line: int, text: str, label: Label | None) -> float | None:
        if not text:
            return None
        kinds = (
            ("volume", "mass")
            if label is None
            else ("volume",)
            if label.formulation == "liquid"
            else ("mass",)
        )
        problem = None
        for dimension in kinds:
            try:
                amount = parse(text, dimension)
            except UnitError as error:
                problem = problem or error
                continue
            if amount <= 0.0:
                self._fault(line, f'amount "{text}" must be more than 0')
                return None
            return amount
        unit = '"4.8 floz"' if kinds[0] == "volume" else '"2.7 kg"'
        self._fault(
            line, f"amount: {problem.problems[0].what}", f"write the product with its unit, such as {unit}"
        )
        return None

    def _size(self, line: int, text: str) -> float | None:
        if not text:
            return None
        try:
            size = parse(text, "area")
        except UnitError as error:
            self._fault(line, f"size: {unit_words(error)}", 'write the turf treated, such as "3200 ft^2"')
            return None
        if size <= 0.0:
            self._fault(line, f'size "{text}" must be more than 0')
            return None
        return size

    def _doubts(self, line: int, record: Record, label: Label | None) -> None:
        where = f"{self.name}:{line}"
        area = self.areas[record.area]
        if record.size is not None and record.size > area.size * 1.05:
            treated, whole = show(record.size, "area", self.units), show(area.size, "area", self.units)
            what = f"{treated} were treated, more than the area's {whole}"
            self.warnings.append(Problem(what, where, "check size here and in lawn.toml"))
        if record.amount is None or record.size is None:
            missing = "amount" if record.amount is None else "size"
            what = f"{missing} is blank: this pass counts as the label's maximum towards the year's total"
            self.warnings.append(Problem(what, where, "write it if it is known"))
        elif label is not None and "maximum_per_application" in label.limits:
            most = label.limits["maximum_per_application"]
            if record.amount / record.size > most * 1.05:
                what = "more was put down than the label allows in one pass"
                self.warnings.append(Problem(what, where, "check amount and size"))


class _TooLong(Exception):
    def __init__(self, line: int):
        super().__init__(line)
        self.line = line


def _numbered(text: str) -> list[tuple[int, list[str]]]:
    """Rows with the line each begins on; blank lines and lines that begin with # are passed over."""
    rows: list[tuple[int, list[str]]] = []
    pending: list[str] = []
    start, open_quote = 0, False
    for number, line in enumerate(text.splitlines(), 1):
        if not pending and (not line.strip() or line.lstrip().startswith("#")):
            continue
        start = start if pending else number
        pending.append(line)
        open_quote ^= line.count('"') % 2 == 1
        if not open_quote:
            rows.append((start, _cells(pending, start)))
            pending = []
    if pending:
        rows.append((start, _cells(pending, start)))
    return rows


def _cells(lines: list[str], start: int) -> list[str]:
    try:
        return next(csv.reader(io.StringIO("\n".join(lines))))
    except csv.Error as error:
        raise _TooLong(start) from error
