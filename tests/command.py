"""Running the command line in this process, as the shell would see it: words in; exit status, output and errors out."""

from __future__ import annotations

import io
import json
import sys
import warnings
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from advisor.cli import main

REPOSITORY = Path(__file__).resolve().parents[1]
FIXTURES = REPOSITORY / "fixtures"


@dataclass(frozen=True)
class Ran:
    status: int
    out: str
    err: str

    @property
    def json(self):
        return json.loads(self.out, parse_constant=_refuse)


def _refuse(text: str):
    raise AssertionError(f"{text} is no JSON")


def advisor(*words) -> Ran:
    """`advisor WORDS`. Whatever escapes `main` is a fault of the program and is let through."""
    out, err = io.StringIO(), io.StringIO()
    status = 0
    argv = ["advisor", *map(str, words)]
    with (
        mock.patch.object(sys, "argv", argv),
        redirect_stdout(out),
        redirect_stderr(err),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("error", RuntimeWarning)
        try:
            main()
        except SystemExit as stop:
            status = stop.code or 0
    return Ran(int(status), out.getvalue(), err.getvalue())
