"""Runs every row of every table in this folder as one test; the format stands in ``tables.py``."""

from __future__ import annotations

import pytest

from .tables import TableError, check, load_rows

ROWS = load_rows()


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_published_value(row):
    if "skip_without" in row:
        pytest.importorskip(row["skip_without"])
    check(row)


GOOD = {
    "id": "x", "source": "s", "page_or_equation": "p", "why": "w", "function": "math.sqrt",
    "arguments": [4.0], "expected": 2.0, "tolerance": 1e-12,
}  # fmt: skip


def test_runner_notices_a_wrong_value():
    check(GOOD)
    with pytest.raises(AssertionError, match="off by"):
        check({**GOOD, "expected": 2.1})
    with pytest.raises(AssertionError, match="off by"):
        check({**GOOD, "expected": 3.0, "compare": "at_least"})
    check({**GOOD, "expected": 1.0, "compare": "at_least"})


def test_runner_compares_nan_times_and_several_outputs():
    check({**GOOD, "function": "numpy.float64", "arguments": [float("nan")], "expected": float("nan")})
    with pytest.raises(AssertionError):
        check({**GOOD, "expected": float("nan")})
    with pytest.raises(AssertionError):
        check({**GOOD, "function": "numpy.float64", "arguments": [float("nan")]})
    row = {**GOOD, "function": "numpy.datetime64", "arguments": ["2024-05-01T12:00:30"], "expected": "NaT"}
    with pytest.raises(AssertionError):
        check(row)
    check({**GOOD, "function": "builtins.dict", "arguments": [], "inputs": {"a": 1.0, "b": 2}, "tolerance": 0,
           "expected": {"a": 1, "b": 2.0}})  # fmt: skip
    check({**GOOD, "arguments": [-1.0], "raises": "ValueError"})
    with pytest.raises(AssertionError, match="expected ValueError"):
        check({**GOOD, "raises": "ValueError"})


@pytest.mark.parametrize(
    "change",
    [{"source": ""}, {"colour": "red"}, {"id": "a b"}, {"compare": "near"}],
    ids=["empty source", "unknown key", "bad id", "bad comparison"],
)
def test_loader_refuses_a_row_outside_the_format(tmp_path, change):
    row = {**GOOD, **change}
    lines = [f"{key} = {value!r}" for key, value in row.items()]
    (tmp_path / "one.toml").write_text("[[row]]\n" + "\n".join(lines) + "\n")
    with pytest.raises(TableError):
        load_rows(tmp_path)


def test_loader_refuses_a_number_without_tolerance_and_a_double_id(tmp_path):
    text = "[[row]]\nid = 'x'\nsource = 's'\npage_or_equation = 'p'\nwhy = 'w'\n"
    text += "function = 'math.sqrt'\nexpected = 1\n"
    (tmp_path / "one.toml").write_text(text)
    with pytest.raises(TableError, match="tolerance"):
        load_rows(tmp_path)
    (tmp_path / "one.toml").write_text((text + "tolerance = 0\n") * 2)
    with pytest.raises(TableError, match="unique"):
        load_rows(tmp_path)
