"""Loader for the tables of published values in this folder.

Every ``*.toml`` file beside this module is a list of rows, and every row becomes one test with its own id
(see ``test_tables.py``).  A row says what an outside source states and which function has to reproduce it::

    [[row]]
    id = "fao56-ex2-pressure"                   # unique over all files, letters, digits, . and -
    source = "Allen et al. (1998), FAO Irrigation and Drainage Paper 56"
    page_or_equation = "Example 2, eq. 7"       # where in the source
    function = "advisor.atmosphere.moisture.atmospheric_pressure"       # dotted path
    inputs = {elevation = 1800.0}               # keyword arguments
    expected = 81.8
    tolerance = 0.05                            # the source's own claim, usually half its last printed digit
    why = "printed to one decimal"              # why this row is here and why this tolerance

Required: id, source, page_or_equation, function, expected (or raises), why, and a tolerance where the
expected value is a number or a time.

Optional keys

``arguments``     list of positional arguments, before the keyword arguments
``output``        which of several returns to check: a key or attribute name, an integer index, or a list of
                  them to be followed one after the other, e.g. ``["sunset", 0]``
``absolute``      true (default): \\|result - expected\\| <= tolerance; false: <= tolerance x \\|expected\\|
``compare``       "equal" (default), "at_most" or "at_least" (the tolerance is then a slack)
``raises``        name of the builtin or advisor.errors exception that must be raised, instead of ``expected``
``from_memory``   true where the published value could not be opened and was written from memory
``computed_with`` for a value computed by another program: which one and which version
``skip_without``  name of a module without which the row is skipped

Values

* Numbers, booleans, strings and (nested) lists as they are; lists are passed as numpy float arrays, except
  lists of strings and of booleans.
* A TOML date-time is turned into ``numpy.datetime64[s]`` in UTC (an offset is honoured; a date-time without
  one counts as UTC), a date into ``datetime.date``.  Times are compared in seconds; ``"NaT"`` is the missing
  time.
* ``nan`` is expected to be NaN.
* A table with a key ``function`` among the inputs is evaluated first (keys function, arguments, inputs,
  output): ``vapour_pressure = {function = "...", inputs = {...}}``.
* ``expected`` as a table checks several outputs of one call, each by its name; ``tolerance`` is then one
  number for all or a table with the same names.
"""

from __future__ import annotations

import builtins
import datetime as dt
import importlib
import re
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

FOLDER = Path(__file__).resolve().parent
REQUIRED = ("id", "source", "page_or_equation", "function", "why")
OPTIONAL = (
    "inputs", "arguments", "output", "expected", "tolerance", "absolute", "compare", "raises",
    "from_memory", "computed_with", "skip_without",
)  # fmt: skip
ID_PATTERN = re.compile(r"[A-Za-z0-9][A-Za-z0-9.\-]*\Z")


class TableError(ValueError):
    """A table row that does not follow the format: says which file, which row and what to mend."""


def load_rows(folder: Path = FOLDER) -> list[dict[str, Any]]:
    """Read and check the rows of every table in `folder`; each row also gets the key ``file``."""
    rows: list[dict[str, Any]] = []
    seen: dict[str, str] = {}
    for path in sorted(folder.glob("*.toml")):
        with path.open("rb") as stream:
            try:
                content = tomllib.load(stream)
            except tomllib.TOMLDecodeError as error:
                raise TableError(f"{path.name}: not valid TOML: {error}") from error
        for number, row in enumerate(content.get("row", []), start=1):
            _check_row(row, f"{path.name}, row {number} ({row.get('id', 'without id')})")
            if row["id"] in seen:
                raise TableError(
                    f"{path.name}: id {row['id']!r} stands in {seen[row['id']]} already; ids are unique"
                )
            seen[row["id"]] = path.name
            rows.append({**row, "file": path.name})
    return rows


def _check_row(row: dict[str, Any], where: str) -> None:
    missing = [key for key in REQUIRED if not row.get(key)]
    if missing:
        raise TableError(f"{where}: missing or empty {', '.join(missing)}")
    unknown = sorted(set(row) - set(REQUIRED) - set(OPTIONAL))
    if unknown:
        raise TableError(f"{where}: unknown key {', '.join(unknown)}; known keys stand in tables.py")
    if not ID_PATTERN.match(row["id"]):
        raise TableError(f"{where}: the id may hold letters, digits, dots and hyphens only")
    if ("expected" in row) == ("raises" in row):
        raise TableError(f"{where}: exactly one of 'expected' and 'raises' is needed")
    if row.get("compare", "equal") not in ("equal", "at_most", "at_least"):
        raise TableError(f"{where}: 'compare' is equal, at_most or at_least")
    if "expected" in row and "tolerance" not in row and _holds_numbers(row["expected"]):
        raise TableError(f"{where}: a number or a time needs a 'tolerance' (0 for exact)")


def _holds_numbers(value: Any) -> bool:
    if isinstance(value, dict):
        return any(_holds_numbers(item) for item in value.values())
    if isinstance(value, list):
        return any(_holds_numbers(item) for item in value)
    return isinstance(value, (int, float, dt.datetime)) and not isinstance(value, bool)


def resolve(dotted: str) -> Any:
    """The object behind a dotted path: the longest importable module, then attributes."""
    parts = dotted.split(".")
    for length in range(len(parts) - 1, 0, -1):
        name = ".".join(parts[:length])
        try:
            found = importlib.import_module(name)
        except ModuleNotFoundError as error:
            if error.name is not None and (name == error.name or name.startswith(error.name + ".")):
                continue
            raise
        for attribute in parts[length:]:
            found = getattr(found, attribute)
        return found
    raise TableError(f"no module found for {dotted!r}")


def convert(value: Any) -> Any:
    """Turn a value of the table into what the functions take (see the module's docstring)."""
    if isinstance(value, dict):
        if "function" in value:
            return call(value)
        return {key: convert(item) for key, item in value.items()}
    if isinstance(value, dt.datetime):
        if value.tzinfo is not None:
            value = value.astimezone(dt.UTC).replace(tzinfo=None)
        return np.datetime64(value, "s")
    if isinstance(value, list):
        items = [convert(item) for item in value]
        kinds = {type(item) for item in _flat(items)}
        if kinds and kinds <= {int, float}:
            return np.array(items, dtype=float)
        if kinds == {np.datetime64} or kinds == {bool}:
            return np.array(items)
        return items
    return value


def _flat(items: list[Any]) -> list[Any]:
    flat: list[Any] = []
    for item in items:
        if isinstance(item, list):
            flat.extend(_flat(item))
        elif isinstance(item, np.ndarray):
            flat.extend(item.ravel().tolist() if item.dtype.kind != "M" else list(item.ravel()))
        else:
            flat.append(item)
    return flat


def call(row: dict[str, Any]) -> Any:
    """Call the function of a row (or of a nested table) and pick the wanted output."""
    function = resolve(row["function"])
    result = function(
        *(convert(item) for item in row.get("arguments", [])),
        **{key: convert(item) for key, item in row.get("inputs", {}).items()},
    )
    return pick(result, row["output"]) if "output" in row else result


def pick(result: Any, output: Any) -> Any:
    """Follow `output` (a name, an index, or a list of them) into `result`."""
    for step in output if isinstance(output, list) else [output]:
        by_attribute = isinstance(step, str) and not isinstance(result, dict)
        result = getattr(result, step) if by_attribute else result[step]
    return result


def check(row: dict[str, Any]) -> None:
    """Run one row and assert what it expects."""
    if "raises" in row:
        _check_raises(row)
        return
    result = call(row)
    expected, tolerance = row["expected"], row.get("tolerance", 0)
    if isinstance(expected, dict):
        for name, value in expected.items():
            one = tolerance[name] if isinstance(tolerance, dict) else tolerance
            _compare(pick(result, name), convert(value), one, row, f"{row['id']}: {name}")
    else:
        _compare(result, convert(expected), tolerance, row, row["id"])


def _check_raises(row: dict[str, Any]) -> None:
    wanted = getattr(builtins, row["raises"], None) or resolve(f"advisor.errors.{row['raises']}")
    try:
        result = call(row)
    except wanted:
        return
    raise AssertionError(f"{row['id']}: expected {row['raises']}, got the result {result!r} ({row['why']})")


def _compare(result: Any, expected: Any, tolerance: float, row: dict[str, Any], label: str) -> None:
    told = f"{label}: got {result!r}, {row['source']} ({row['page_or_equation']}) says {expected!r}"
    if isinstance(expected, str) and expected == "NaT":
        assert np.all(np.isnat(result)), told
        return
    if isinstance(expected, (str, dt.date)) or (isinstance(expected, list) and expected):
        found = list(result) if isinstance(expected, list) else result
        assert found == expected, told
        return
    if isinstance(expected, (bool, np.bool_)) or np.asarray(expected).dtype.kind == "b":
        assert np.array_equal(np.asarray(result), np.asarray(expected)), told
        return
    found, wanted = np.asarray(result), np.asarray(expected)
    same_shape = found.shape == wanted.shape or (wanted.ndim == 0 and found.size == 1)
    assert same_shape, f"{told}: the shape differs"
    found = found.reshape(wanted.shape)
    if wanted.dtype.kind == "M":
        assert not np.isnat(found).any(), told
        difference = (found.astype("datetime64[ms]") - wanted.astype("datetime64[ms]")).astype(float) / 1000.0
        bound = np.asarray(float(tolerance))
    else:
        found = found.astype(float)
        wanted = wanted.astype(float)
        assert np.array_equal(np.isnan(found), np.isnan(wanted)), told
        known = ~np.isnan(wanted)
        difference = (found - wanted)[known]
        size = 1.0 if row.get("absolute", True) else np.abs(wanted)
        bound = (tolerance * size * np.ones_like(wanted))[known]
        if difference.size == 0:
            return  # NaN was expected and found
    compare = row.get("compare", "equal")
    excess = {"equal": np.abs(difference), "at_most": difference, "at_least": -difference}[compare]
    assert np.all(excess <= bound), f"{told}; off by {np.max(np.abs(difference)):.6g}, tolerance {tolerance}"
