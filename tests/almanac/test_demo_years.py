"""The demonstration's invented years: the same text again, and an almanac of them offline."""

from __future__ import annotations

import gzip
import json
import math
import shutil
import sys

import pytest
from click.testing import CliRunner
from demo_lawn import FIXTURES, NOW

from advisor.cli import cli
from advisor.quality import control
from advisor.sources.history import read_history

YEARS = FIXTURES / "weather" / "prairie-years.csv.gz"


def test_the_script_writes_the_same_text_again(monkeypatch):
    monkeypatch.syspath_prepend(str(FIXTURES.parent / "scripts"))
    sys.modules.pop("build_demo_years", None)
    import build_demo_years

    assert gzip.decompress(YEARS.read_bytes()).decode() == build_demo_years.build()


def test_nothing_in_the_invented_years_is_impossible():
    text = gzip.decompress(YEARS.read_bytes()).decode()
    history = control(read_history(text, sums="after", where=YEARS.name), NOW, math.inf)
    assert [flag.says for flag in history.flags] == []
    assert history.hours >= 3 * 365 * 24
    rain = history.fields["precipitation"].values[0, 0, 1:-1].sum() / 3
    assert 500.0 < rain < 1200.0


def test_the_almanac_of_the_demonstration_runs_offline(tmp_path):
    home = shutil.copytree(FIXTURES / "prairie-lawn", tmp_path / "lawn")
    line = ["almanac", "--home", str(home), "--history", str(YEARS), "--sums", "after", "--offline", "--json"]
    found = CliRunner().invoke(cli, line, catch_exceptions=False)
    told = json.loads(found.stdout)
    assert told["history"]["first_day"] == "2022-12-31"
    front = told["treatments"][0]
    assert 20 < front["days_with_window"] < 400
    assert front["by_month"][0]["window"] == 0.0 < front["by_month"][8]["window"]
    assert (home / "almanac.json").exists()


@pytest.mark.parametrize("line", ["# Invented weather", "Nobody measured this"])
def test_the_file_says_that_it_is_invented(line):
    assert line in gzip.decompress(YEARS.read_bytes()).decode()[:200]
