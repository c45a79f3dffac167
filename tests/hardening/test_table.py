"""The one table of all campaigns: nothing that went wrong may be missing from it."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

from hardening import run  # noqa: E402
from hardening.lines import Line, table  # noqa: E402


def test_cases_and_survivors_are_added_up_and_survivors_are_named():
    said = table(
        [Line("one", "a", 1_200), Line("two", "bb", 34, 2, "and a note", ("repeat me",))]
    ).splitlines()
    assert said[0].split() == ["campaign", "what", "cases", "survivors"]
    assert said[3].split() == ["two", "bb", "34", "2", "and", "a", "note"]
    assert said[-2].split() == ["all", "1,234", "2"]
    assert said[-1].strip() == "two: repeat me"


@pytest.mark.parametrize("said", ["raise SystemExit('a wall')", "print('no table')"])
def test_a_campaign_that_breaks_is_a_survivor(said, monkeypatch, tmp_path):
    monkeypatch.setattr(run.sys, "executable", _python(tmp_path, said))
    (line,) = run.apart("mutations", quick=True, seed=1)
    assert line["survivors"] == 1 and line["examples"]


def _python(folder: Path, said: str) -> str:
    """A program that takes the arguments of a campaign and says something else."""
    path = folder / "python"
    path.write_text(f"#!{sys.executable}\n{said}\n")
    path.chmod(0o755)
    return str(path)
