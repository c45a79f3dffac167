"""`advisor init` at a terminal: a wrong answer is told at once and asked again, and what was answered is kept."""

from __future__ import annotations

import os
import pty
import subprocess
import sys

from advisor.household import load

ANSWERS = (
    "41.6", "-193.6", "-93.6", "", "", "4000", "0 ft^2", "4000 ft^2", "fescue", "Tall fescue, kentucky bluegras",
    "Tall fescue, Kentucky bluegrass", "",
)  # fmt: skip


def test_a_wrong_answer_is_asked_again(tmp_path):
    leader, follower = pty.openpty()
    command = [sys.executable, "-m", "advisor", "init", "--home", str(tmp_path / "home")]
    try:
        os.write(leader, "".join(f"{one}\n" for one in ANSWERS).encode())
        done = subprocess.run(
            command, stdin=follower, capture_output=True, text=True, timeout=60, check=False
        )
    finally:
        os.close(leader)
        os.close(follower)
    assert done.returncode == 0, done.stderr
    for said in (
        "-193.6",
        "a unit is missing",
        "has no size",
        'write "tall fescue"',
        'did you mean "Kentucky bluegrass"',
    ):
        assert said in done.stdout + done.stderr
    (area,) = load(tmp_path / "home").areas.values()
    assert area.turf == ("tall fescue", "Kentucky bluegrass")
    assert round(area.size / 0.3048**2) == 4000


def test_comments_stand_apart_from_values(tmp_path):
    command = [
        sys.executable,
        "-m",
        "advisor",
        "init",
        "--home",
        "home",
        "--latitude",
        "41.6",
        "--longitude",
        "-93.6",
    ]
    command += ["--area-size", "4000 ft^2", "--turf", "tall fescue"]
    subprocess.run(command, cwd=tmp_path, capture_output=True, timeout=60, check=True)
    for path in (tmp_path / "home").rglob("*.toml"):
        for line in path.read_text(encoding="utf-8").splitlines():
            assert '"#' not in line and "]#" not in line, line
