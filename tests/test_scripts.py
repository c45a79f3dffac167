"""The shell scripts: they parse, they are executable, and they say what to do where Python is missing or too old.

Nothing is installed here. Checks of our own behaviour, no outside source.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SCRIPTS = ["scripts/try", "scripts/test", "scripts/environment.sh", ".ci/run"]

pytestmark = pytest.mark.skipif(shutil.which("sh") is None, reason="there is no shell here")


def shell(text: str, folder: Path, path: Path) -> subprocess.CompletedProcess:
    environment = {"PATH": str(path), "HOME": str(folder)}
    return subprocess.run(
        [shutil.which("sh"), "-eu", "-c", f'. "{ROOT}/scripts/environment.sh"\n{text}'],
        cwd=folder, env=environment, capture_output=True, text=True, timeout=30,
    )  # fmt: skip


@pytest.fixture
def tools(tmp_path) -> Path:
    """A path with the few tools that the scripts need, and no Python."""
    folder = tmp_path / "bin"
    folder.mkdir()
    for name in ("sed", "cksum", "cat", "tail", "grep", "rm", "sleep"):
        (folder / name).symlink_to(shutil.which(name))
    return folder


def python(folder: Path, name: str, answers: str) -> None:
    """A stand-in for a Python of that name; `answers` is shell code that looks at its second argument."""
    file = folder / name
    file.write_text(f"#!{shutil.which('sh')}\n{answers}\n")
    file.chmod(0o755)


@pytest.mark.parametrize("script", SCRIPTS)
def test_scripts_parse(script):
    run = subprocess.run([shutil.which("sh"), "-n", ROOT / script], capture_output=True, text=True, timeout=30)
    if script != ".ci/run":  # bash, whose options another shell need not know
        assert run.returncode == 0, run.stderr
    if not script.endswith(".sh"):
        assert os.access(ROOT / script, os.X_OK)


def test_without_python_it_says_what_to_install(tmp_path, tools):
    run = shell("find_python", tmp_path, tools)
    assert run.returncode == 1 and run.stdout == ""
    assert "Python 3.11 or newer, and none was found" in run.stderr
    assert "apt install python3 python3-venv" in run.stderr


def test_an_old_python_is_named_and_not_taken(tmp_path, tools):
    python(tools, "python3", '[ "$1" = --version ] && { echo "Python 3.8.1"; exit 0; }; exit 1')
    run = shell("find_python", tmp_path, tools)
    assert run.returncode == 1 and "python3 here is Python 3.8.1" in run.stderr


def test_a_name_on_the_path_that_does_not_work_is_passed_over(tmp_path, tools):
    python(tools, "python3.13", "echo 'not this version' >&2; exit 127")
    (tools / "python3.11").symlink_to(sys.executable)
    run = shell("find_python", tmp_path, tools)
    assert run.returncode == 0 and run.stdout.strip().endswith("python3.11")


def test_a_python_without_environments_is_told_apart(tmp_path, tools):
    python(tools, "python3.12", 'case "$2" in *ensurepip*) exit 1;; *print*) echo 3.12;; esac')
    (tmp_path / "pyproject.toml").write_text("")
    run = shell('make_environment ""', tmp_path, tools)
    assert run.returncode == 1
    assert "apt install python3.12-venv" in run.stderr
    assert not (tmp_path / ".venv").exists()


def test_an_environment_is_good_only_for_what_it_was_made_for(tmp_path, tools):
    (tmp_path / "pyproject.toml").write_text("one")
    (tmp_path / ".venv" / "bin").mkdir(parents=True)
    python(tmp_path / ".venv" / "bin", "python", "exit 0")

    def good(extras: str) -> bool:
        return shell(f'environment_is_good "{extras}"', tmp_path, tools).returncode == 0

    assert not good("")
    made = shell("fingerprint", tmp_path, tools).stdout
    (tmp_path / ".venv" / "made-for").write_text(f"{made}\ntest\n")
    assert good("") and good("test") and not good("test,reference")
    (tmp_path / ".venv" / "made-for").write_text(f"{made}\ntest,reference\n")
    assert good("") and good("test") and good("test,reference")
    (tmp_path / "pyproject.toml").write_text("another")
    assert not good("")


def test_try_refuses_what_it_does_not_know():
    run = subprocess.run([ROOT / "scripts" / "try", "--nonsense"], capture_output=True, text=True, timeout=30)
    assert run.returncode == 2 and run.stderr.startswith("usage: scripts/try")
