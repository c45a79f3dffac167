"""What README.md shows is what the commands print. Checks of our own behaviour, no outside source."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from advisor.cli import cli
from tests.demo_page import FIXTURES, NOW

README = Path(__file__).resolve().parents[2] / "README.md"
COMMANDS = {0: (["outlook"], "120"), 1: (["why", "2026-09-24", "--area", "front"], "80")}


def samples() -> list[list[str]]:
    """The blocks of text under "What it looks like"; empty lines are for the eye."""
    section = README.read_text(encoding="utf-8").split("## What it looks like")[1].split("\n## ")[0]
    return [
        [line for line in block.split("\n") if line]
        for block in re.findall(r"```text\n(.*?)```", section, re.S)
    ]


def printed(words: list[str], columns: str, monkeypatch) -> list[str]:
    monkeypatch.setenv("COLUMNS", columns)
    arguments = [
        *words, "--home", str(FIXTURES / "prairie-lawn"), "--now", NOW.isoformat(),
        "--weather", str(FIXTURES / "weather" / "prairie-open-meteo.json"),
    ]  # fmt: skip
    return CliRunner().invoke(cli, arguments, catch_exceptions=False).stdout.split("\n")


@pytest.mark.parametrize("block", COMMANDS)
def test_every_line_of_the_sample_is_printed_in_its_order(block, monkeypatch):
    lines = printed(*COMMANDS[block], monkeypatch)
    after = iter(lines)
    for line in samples()[block]:
        assert line in after, line


def test_there_are_as_many_samples_as_commands():
    assert len(samples()) == len(COMMANDS)
