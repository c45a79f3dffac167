"""What reading a folder finds: errors stop the load, warnings and notes are for `advisor check`."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from advisor.errors import Problem
from advisor.household.files import TomlFile


@dataclass
class Findings:
    """`units` sets how values are printed; `now`, in the lawn's time, what counts as the future."""

    units: str = "metric"
    now: datetime | None = None
    errors: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)

    @property
    def today(self) -> date | None:
        return None if self.now is None else self.now.date()

    def error(self, file: TomlFile, what: str, hint: str = "", *path: str | int) -> None:
        self.errors.append(file.problem(what, hint, *path))

    def warn(self, file: TomlFile, what: str, hint: str = "", *path: str | int) -> None:
        self.warnings.append(file.problem(what, hint, *path))

    def note(self, file: TomlFile, what: str, hint: str = "", *path: str | int) -> None:
        self.notes.append(file.problem(what, hint, *path))
