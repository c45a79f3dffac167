"""pydantic's error list, said in the words of this trade and pinned to lines of the file."""

from __future__ import annotations

from typing import Any, get_args

from advisor.errors import Problem, did_you_mean
from advisor.household.files import TomlFile
from advisor.household.vocabulary import MISSING


def validate(file: TomlFile, model: type) -> None:
    """Fill `file.values`, or add every fault to `file.problems`."""
    from pydantic import ValidationError

    if not file.readable:
        return
    try:
        file.values = model.model_validate(file.data)
    except ValidationError as error:
        for entry in error.errors(include_url=False):
            file.problems.append(_problem(file, model, entry))


def _problem(file: TomlFile, model: type, entry: dict) -> Problem:
    path, kind = tuple(part for part in entry["loc"] if part != "[key]"), entry["type"]
    key = next((str(part) for part in reversed(path) if isinstance(part, str) and part != "*"), "")
    if kind == "extra_forbidden":
        return file.problem(f'unknown key "{key}"{_inside(path)}', _unknown_hint(model, path), *path)
    if kind == "missing":
        names = tuple(part for part in path if isinstance(part, str))
        if names == ("sprayer",) and model.__name__ == "TreatmentFile":
            names = ("sprayer-of-treatment",)
        hint = f"write {MISSING[names]}" if names in MISSING else ""
        return file.problem(f"`{key}` is missing{_inside(path)}", hint, *path[:-1])
    if kind == "advisor":
        return file.problem(f"{_named(path)}{entry['ctx']['what']}", entry["ctx"]["hint"], *path)
    what, hint = _type_words(kind, entry)
    return file.problem(f"{_named(path)}{what}", hint, *path)


def _named(path: tuple) -> str:
    parts = [str(part) for part in path if isinstance(part, str) and part != "*"]
    return f"`{parts[-1]}`: " if parts else ""


def _inside(path: tuple) -> str:
    names = [part for part in path[:-1] if isinstance(part, str)]
    return f" in [{'.'.join(names)}]" if names else ""


_TYPES = {
    "string_type": ("should be text", "put it in double quotes"),
    "bool_type": ("should be true or false, without quotes", ""),
    "list_type": ("should be a list", "write it in square brackets, or one [[...]] table an entry"),
    "dict_type": ("should be a table", "write it as a [...] table"),
    "model_type": ("should be a table", "write it as a [...] table of its own"),
    "too_short": ("is empty", "name at least one"),
}


def _type_words(kind: str, entry: dict) -> tuple[str, str]:
    if kind in _TYPES:
        what, hint = _TYPES[kind]
        value = entry.get("input")
        if isinstance(value, str | int | float) and kind != "too_short":
            what += f", not {value!r}"
        return what, hint
    return entry["msg"][:1].lower() + entry["msg"][1:], ""


def _unknown_hint(model: type, path: tuple) -> str:
    key = str(path[-1])
    here = _table_at(model, path[:-1])
    known = list(here.model_fields) if here is not None else []
    hint = did_you_mean(key, known)
    if hint.startswith("did you mean"):
        return hint
    for place, table in _tables(model):
        if table is not here and key in table.model_fields:
            header = f"under the header {place}" if place else "at the top of the file, before any [table]"
            return f"`{key}` belongs {header}"
    return hint or ("known: " + ", ".join(known) if known else "")


def _nested(annotation: Any) -> type | None:
    """The table class inside an annotation, through lists and optionals."""
    if hasattr(annotation, "model_fields"):
        return annotation
    for argument in get_args(annotation):
        found = _nested(argument)
        if found is not None:
            return found
    return None


def _table_at(model: type, path: tuple) -> type | None:
    table: type | None = model
    for part in path:
        if isinstance(part, int):
            continue
        if table is None or part not in table.model_fields:
            return None
        table = _nested(table.model_fields[part].annotation)
    return table


def _tables(model: type, place: str = "") -> list[tuple[str, type]]:
    """Every table of a file with its header as it is written."""
    found = [(f"[{place}]" if place and not place.endswith("]]") else place, model)]
    for name, info in model.model_fields.items():
        inner = _nested(info.annotation)
        if inner is not None:
            many = "list" in str(info.annotation)
            plain = place.strip("[]")
            header = f"{plain}.{name}" if plain else name
            found += _tables(inner, f"[[{header}]]" if many else header)
    return found
