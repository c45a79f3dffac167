"""One file of a household: its text, its values, the lines of its keys, and the problems found in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from advisor.errors import Problem
from advisor.toml_lines import Lines, NotToml
from advisor.toml_lines import read as read_text


@dataclass
class TomlFile:
    """A TOML file read for checking; `name` is its path inside the household's folder."""

    name: str
    data: dict = field(default_factory=dict)
    lines: Lines = field(default_factory=Lines)
    problems: list[Problem] = field(default_factory=list)
    readable: bool = False
    #: the validated tables (a pydantic model), None where they are faulty
    values: object = None

    @property
    def id(self) -> str:
        return Path(self.name).stem

    def where(self, *path: str | int) -> str:
        return f"{self.name}:{self.lines.of(path)}"

    def problem(self, what: str, hint: str = "", *path: str | int) -> Problem:
        return Problem(what, self.where(*path), hint)

    def fault(self, what: str, hint: str = "", *path: str | int) -> None:
        self.problems.append(self.problem(what, hint, *path))


def read_toml(folder: Path, path: Path) -> TomlFile:
    """Read a file; what keeps it from being read becomes its one problem."""
    file = TomlFile(path.relative_to(folder).as_posix())
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        file.problems.append(Problem(f"cannot be read: {error.strerror}", file.name))
        return file
    except UnicodeDecodeError as error:
        line = path.read_bytes()[: error.start].count(b"\n") + 1
        file.problems.append(Problem("is not UTF-8 text", f"{file.name}:{line}", "save the file as UTF-8"))
        return file
    text = text.replace("\r\n", "\n")
    try:
        file.data = read_text(text)
    except NotToml as error:
        file.problems.append(_syntax_problem(file.name, text, str(error)))
        return file
    file.lines, file.readable = Lines(text), True
    return file


def _syntax_problem(name: str, text: str, message: str) -> Problem:
    """The reader's own message with its line; unquoted quantities get the usual advice."""
    import re

    match = re.search(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$", message)
    line = int(match[1]) if match and match[1] else text.count("\n") + 1
    what = message[: match.start()] if match else message
    lines = text.split("\n")
    faulty = lines[line - 1][:200] if line <= len(lines) else ""
    hint = "values of text and quantities stand in double quotes, dates and numbers do not"
    unquoted = re.match(r"\s*([\w.-]+)\s*=\s*([-+]?\d[^\"#\[{]*?)\s*(#.*)?$", faulty)
    if unquoted:
        hint = f'put the value in quotes: {unquoted[1]} = "{unquoted[2]}"'
    where = f"{name}:{line}" if match else name
    return Problem(f"not valid TOML: {what[:1].lower()}{what[1:]}", where, hint)
