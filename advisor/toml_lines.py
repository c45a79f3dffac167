"""TOML text to values, and the lines of its keys, because the standard reader forgets them.

What the standard reader takes and no file of a person holds is refused here: tables in tables without end, and whole
numbers beyond the 64 bits that TOML promises, which cannot even be printed. The scan for lines may then trust the text
to be well formed.
"""

from __future__ import annotations

import tomllib
from functools import cached_property
from typing import Any

Path = tuple[str | int, ...]

#: tables and lists inside each other; a household has four
DEEPEST = 40
_WHOLE = range(-(2**63), 2**63)


class NotToml(ValueError):
    """Text that is no TOML; the message ends in "(at line 3, column 4)" where the place is known."""


def read(text: str) -> dict[str, Any]:
    """The values of a TOML text.

    Raises
    ------
    NotToml
        Also for what is TOML and is never written by a person.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise NotToml(str(error)) from error
    except RecursionError as error:
        raise NotToml(f"lists or tables lie more than {DEEPEST} deep inside each other") from error
    except ValueError as error:
        # the reader's own: a whole number of thousands of digits
        raise NotToml("a whole number is too long") from error
    _refuse_excess(data)
    return data


def _refuse_excess(data: dict) -> None:
    level: list[Any] = [data]
    for _ in range(DEEPEST):
        level = [part for one in level for part in (one.values() if isinstance(one, dict) else one)]
        if any(isinstance(one, int) and one not in _WHOLE for one in level):
            raise NotToml("a whole number is beyond 64 bits")
        level = [one for one in level if isinstance(one, dict | list)]
        if not level:
            return
    raise NotToml(f"lists or tables lie more than {DEEPEST} deep inside each other")


def key_lines(text: str) -> dict[Path, int]:
    """Line (from 1) of each table header, key and array element, by path; () is line 1."""
    return _Scan(text).run()


def line_of(lines: dict[Path, int], path: Path) -> int:
    """Line of a path, or of the nearest thing around it that was written."""
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 1)


class Lines:
    """The lines of the keys of a text, looked for when one is asked for: most files hold no fault to be placed."""

    def __init__(self, text: str = ""):
        self._text = text

    @cached_property
    def _found(self) -> dict[Path, int]:
        return key_lines(self._text)

    def of(self, path: Path) -> int:
        """As `line_of`."""
        return line_of(self._found, path)


class _Scan:
    def __init__(self, text: str):
        self.text, self.at, self.line = text, 0, 1
        self.lines: dict[Path, int] = {(): 1}
        self.counts: dict[Path, int] = {}

    def run(self) -> dict[Path, int]:
        table: Path = ()
        while self.skip_blank():
            if self.text.startswith("[[", self.at):
                self.step(2)
                line, keys = self.line, self.keys()
                path = (*self.resolve(keys[:-1]), keys[-1])
                self.lines.setdefault(path, line)
                self.counts[path] = self.counts.get(path, -1) + 1
                table = (*path, self.counts[path])
                self.lines[table] = line
                self.step(2)
            elif self.peek() == "[":
                self.step(1)
                line, keys = self.line, self.keys()
                table = self.resolve(keys)
                self.mark(table, line)
                self.step(1)
            else:
                self.pair(table)
        return self.lines

    def resolve(self, keys: list[str]) -> Path:
        """Keys of a header with the running index put after each array of tables."""
        path: Path = ()
        for key in keys:
            path = (*path, key)
            if path in self.counts:
                path = (*path, self.counts[path])
        return path

    def mark(self, path: Path, line: int) -> None:
        for end in range(1, len(path) + 1):
            self.lines.setdefault(path[:end], line)

    def pair(self, table: Path) -> None:
        line = self.line
        path = (*table, *self.keys())
        self.mark(path, line)
        self.step(1)  # the equals sign
        self.value(path)

    def value(self, path: Path) -> None:
        self.skip_blank()
        character = self.peek()
        if character in "\"'":
            self.string()
        elif character == "[":
            self.step(1)
            index = 0
            while self.skip_blank() and self.peek() != "]":
                self.lines.setdefault((*path, index), self.line)
                self.value((*path, index))
                index += 1
                self.skip_blank()
                if self.peek() == ",":
                    self.step(1)
            self.step(1)
        elif character == "{":
            self.step(1)
            while self.skip_blank() and self.peek() != "}":
                self.pair(path)
                self.skip_blank()
                if self.peek() == ",":
                    self.step(1)
            self.step(1)
        else:
            while self.at < len(self.text) and self.peek() not in ",]}#\n":
                self.step(1)

    def keys(self) -> list[str]:
        """A dotted key, up to its "=" or "]"."""
        found: list[str] = []
        while True:
            self.skip_blank()
            if self.peek() in "\"'":
                found.append(self.string())
            else:
                start = self.at
                while self.peek() not in " \t.=]":
                    self.step(1)
                found.append(self.text[start : self.at])
            self.skip_blank()
            if self.peek() != ".":
                return found
            self.step(1)

    def string(self) -> str:
        quote = self.peek()
        if self.text.startswith(quote * 3, self.at):
            end = self.at + 3
            while not self.text.startswith(quote * 3, end):
                end += 2 if quote == '"' and self.text[end] == "\\" else 1
            end += 3
            while self.text.startswith(quote, end):  # a quote or two may stand before the closing three
                end += 1
        else:
            end = self.at + 1
            while self.text[end] != quote:
                end += 2 if quote == '"' and self.text[end] == "\\" else 1
            end += 1
        body = self.text[self.at + 1 : end - 1]
        self.step(end - self.at)
        return body

    def skip_blank(self) -> bool:
        """Past spaces, line ends and comments; whether anything is left."""
        while self.at < len(self.text):
            if self.peek() in " \t\r\n":
                self.step(1)
            elif self.peek() == "#":
                while self.at < len(self.text) and self.peek() != "\n":
                    self.step(1)
            else:
                return True
        return False

    def peek(self) -> str:
        return self.text[self.at] if self.at < len(self.text) else "\n"

    def step(self, count: int) -> None:
        self.line += self.text.count("\n", self.at, self.at + count)
        self.at += count
