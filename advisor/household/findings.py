"""What reading a folder finds: errors stop the load, warnings and notes are for `advisor check`."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from advisor.errors import Problem
from advisor.household.files import TomlFile


@dataclass
class Findings:
    """`units` and `today` set how values are printed and what counts as the future."""

    units: str = "metric"
    today: date | None = None
    errors: list[Problem] = field(default_factory=list)
    warnings: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)

    def error(self, file: TomlFile, what: str, hint: str = "", *path: str | int) -> None:
        self.errors.append(file.problem(what, hint, *path))

    def warn(self, file: TomlFile, what: str, hint: str = "", *path: str | int) -> None:
        self.warnings.append(file.problem(what, hint, *path))

    def note(self, file: TomlFile, what: str, hint: str = "", *path: str | int) -> None:
        self.notes.append(file.problem(what, hint, *path))
