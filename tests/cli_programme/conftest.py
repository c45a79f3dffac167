"""A household in a folder of its own, and the command line run in this process."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from advisor.cli import main
from tests.cli_programme.lawn import write

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
#: stands for the weather that lies in the household's folder
WEATHER = "@weather"


@dataclass
class Answer:
    status: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out)


@pytest.fixture
def home(tmp_path):
    folder = tmp_path / "lawn"
    return write(folder)


@pytest.fixture
def run(home, monkeypatch, capsys):
    """Runs `advisor COMMAND --home ... ARGUMENTS`; a traceback fails the test by itself."""

    def call(
        command: str, *arguments: str, now: str = "2026-09-25T22:30Z", folder: Path | None = None
    ) -> Answer:
        shared = ["--home", str(folder or home), "--now", now]
        words = [str((folder or home) / "weather.json") if one == WEATHER else str(one) for one in arguments]
        monkeypatch.setattr(sys, "argv", ["advisor", command, *shared, *words])
        monkeypatch.setenv("COLUMNS", "80")
        capsys.readouterr()
        status = 0
        try:
            main()
        except SystemExit as stop:
            status = stop.code or 0
        said = capsys.readouterr()
        assert "Traceback" not in said.err + said.out
        return Answer(status, said.out, said.err)

    return call


FRONT = (
    "--area", "front", "--started", "2026-09-25 16:05", "--ended", "2026-09-25 16:27", "--amount", "4.8 floz",
    "--size", "3200 ft^2", "--who", "A. Mower",
)  # fmt: skip


@pytest.fixture
def record(run):
    """Record the front lawn's second pass; later arguments win."""

    def call(*arguments: str, **options) -> Answer:
        return run("record", *FRONT, *arguments, **options)

    return call
