"""What is wrong with a file, said in the words of this trade and pinned to lines of the file."""

from __future__ import annotations

from advisor.errors import Problem, did_you_mean
from advisor.household.files import TomlFile
from advisor.household.tables import Fault, Faults, Table, table_of
from advisor.household.vocabulary import MISSING


def validate(file: TomlFile, table: type[Table]) -> None:
    """Fill `file.values`, or add every fault to `file.problems`."""
    if not file.readable:
        return
    try:
        file.values = table.read(file.data)
    except Fault as fault:
        file.problems.append(_problem(file, table, fault))
    except Faults as faults:
        file.problems += [_problem(file, table, fault) for fault in faults.found]


def _problem(file: TomlFile, table: type[Table], fault: Fault) -> Problem:
    path = fault.path
    key = next((str(part) for part in reversed(path) if isinstance(part, str) and part != "*"), "")
    if fault.kind == "unknown":
        return file.problem(f'unknown key "{key}"{_inside(path)}', _unknown_hint(table, path), *path)
    if fault.kind == "missing":
        names = tuple(part for part in path if isinstance(part, str))
        if names == ("sprayer",) and table.__name__ == "TreatmentFile":
            names = ("sprayer-of-treatment",)
        hint = f"write {MISSING[names]}" if names in MISSING else ""
        return file.problem(f"`{key}` is missing{_inside(path)}", hint, *path[:-1])
    return file.problem(f"{_named(path)}{fault.what}", fault.hint, *path)


def _named(path: tuple) -> str:
    parts = [str(part) for part in path if isinstance(part, str) and part != "*"]
    return f"`{parts[-1]}`: " if parts else ""


def _inside(path: tuple) -> str:
    names = [part for part in path[:-1] if isinstance(part, str)]
    return f" in [{'.'.join(names)}]" if names else ""


def _unknown_hint(whole: type[Table], path: tuple) -> str:
    key = str(path[-1])
    here = _table_at(whole, path[:-1])
    known = list(here.keys) if here is not None else []
    hint = did_you_mean(key, known)
    if hint.startswith("did you mean"):
        return hint
    for place, table in _tables(whole):
        if table is not here and key in table.keys:
            header = f"under the header {place}" if place else "at the top of the file, before any [table]"
            return f"`{key}` belongs {header}"
    return hint or ("known: " + ", ".join(known) if known else "")


def _table_at(whole: type[Table], path: tuple) -> type[Table] | None:
    table: type[Table] | None = whole
    for part in path:
        if isinstance(part, int):
            continue
        if table is None or part not in table.keys:
            return None
        table, _ = table_of(table.keys[part])
    return table


def _tables(table: type[Table], place: str = "") -> list[tuple[str, type[Table]]]:
    """Every table of a file with its header as it is written."""
    found = [(f"[{place}]" if place and not place.endswith("]]") else place, table)]
    for name, read in table.keys.items():
        inner, many = table_of(read)
        if inner is not None:
            plain = place.strip("[]")
            header = f"{plain}.{name}" if plain else name
            found += _tables(inner, f"[[{header}]]" if many else header)
    return found
