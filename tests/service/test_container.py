"""The container's steps, replayed without a container: the wheel from exactly what is copied, a fresh environment, the
same user, environment, folder and command lines. Only the packages it depends on are borrowed from the environment of
the tests. Our own behaviour, no outside source."""

from __future__ import annotations

import json
import os
import shlex
import shutil
import signal
import subprocess
import sys
import sysconfig
import tempfile
import threading
from pathlib import Path

import pytest
from weather_server import WeatherServer

ROOT = Path(__file__).resolve().parents[2]
DOCKERFILE = ROOT / "scripts" / "docker" / "Dockerfile"

pytest.importorskip("hatchling", reason="the build backend is not here")


def instructions() -> list[tuple[str, str]]:
    """(word, rest) of every instruction, continued lines joined."""
    lines = [
        line for line in DOCKERFILE.read_text().splitlines() if line.strip() and not line.startswith("#")
    ]
    whole = "\n".join(lines).replace("\\\n", " ").splitlines()
    return [tuple(line.split(maxsplit=1)) for line in whole]


def one(word: str) -> str:
    """The last instruction of that kind, which is the one that counts."""
    return [rest for name, rest in instructions() if name == word][-1]


def environment_of(container: Path) -> dict[str, str]:
    stated = dict(pair.split("=", 1) for pair in shlex.split(one("ENV")))
    data = {name: value.replace("/data", str(container / "data")) for name, value in stated.items()}
    return {
        "PATH": f"{container / 'env' / 'bin'}:/usr/bin:/bin",
        "HOME": str(container / "data"),
        "LANG": "C.UTF-8",
    } | data


def user() -> dict[str, int]:
    """The container's user, where this one may become another and the other may read what is borrowed."""
    if os.getuid() != 0:
        return {}
    number = int(one("USER"))
    try:
        tried = subprocess.run(
            [sys.executable, "-c", "import numpy"], user=number, capture_output=True, cwd="/"
        )
    except PermissionError:
        return {}
    return {"user": number, "group": number} if tried.returncode == 0 else {}


@pytest.fixture(scope="module")
def container():
    """A folder with `env`, which stands for the image, and `data`, its volume."""
    folder = Path(tempfile.mkdtemp(prefix="container-"))
    folder.chmod(0o755)
    try:
        build(folder)
        yield folder
    finally:
        shutil.rmtree(folder)


def build(folder: Path) -> None:
    source = folder / "source"
    source.mkdir()
    for word, rest in instructions():
        if word == "COPY" and "--from" not in rest:
            *names, target = rest.split()
            for name in names:
                if (ROOT / name).is_dir():
                    shutil.copytree(
                        ROOT / name, source / target, ignore=shutil.ignore_patterns("__pycache__")
                    )
                else:
                    shutil.copy(ROOT / name, source / target)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    wheels = folder / "wheels"
    quiet = {"check": True, "capture_output": True, "text": True, "timeout": 120}
    (asked,) = [
        rest.split()[-1] for word, rest in instructions() if word == "RUN" and rest.startswith("pip wheel")
    ]
    assert asked == '".[notify]"'
    subprocess.run(
        [*pip, "wheel", "--no-deps", "--no-build-isolation", "--no-index", "-w", wheels, "."],
        cwd=source,
        **quiet,
    )
    shutil.rmtree(source)  # the second stage has the wheels alone
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", folder / "env"], **quiet)
    python = folder / "env" / "bin" / "python"
    subprocess.run([*pip, "--python", python, "install", "--no-deps", "--no-index", "--find-links", wheels,
                    "application-window-advisor[notify]"], **quiet)  # fmt: skip
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    borrowed = folder / "env" / "lib" / version / "site-packages" / "borrowed.pth"
    borrowed.write_text(sysconfig.get_path("purelib") + "\n")
    (folder / "data").mkdir(mode=0o700)
    if found := user():
        os.chown(folder / "data", found["user"], found["group"])


def run(container: Path, *words: str, **given) -> subprocess.CompletedProcess:
    entry = json.loads(one("ENTRYPOINT"))
    return subprocess.run([container / "env" / "bin" / entry[0], *entry[1:], *words], capture_output=True, text=True,
                          timeout=60, cwd=container / "data", env=environment_of(container), stdin=subprocess.DEVNULL,
                          **user(), **given)  # fmt: skip


def test_the_wheel_holds_all_that_the_program_reads(container):
    script = (
        "import advisor, pathlib; at = pathlib.Path(advisor.__file__).parent; print(at);"
        "print(len(list((at / '_rules').glob('*.toml'))), len(list((at / 'web' / 'templates').glob('*.html'))),"
        " (at / 'web' / 'static' / 'page.css').exists())"
    )
    found = subprocess.run([container / "env" / "bin" / "python", "-c", script], capture_output=True, text=True,
                           cwd=container, env=environment_of(container), timeout=60)  # fmt: skip
    where, counted = found.stdout.splitlines()
    assert where.startswith(str(container))
    rules, templates, style = counted.split()
    assert int(rules) == len(list((ROOT / "rules").glob("*.toml"))) > 30 and style == "True"
    assert int(templates) == len(list((ROOT / "advisor" / "web" / "templates").glob("*.html"))) > 10


def test_it_says_its_version_and_checks_its_own_rules(container):
    version = run(container, "--version")
    assert version.returncode == 0 and version.stdout.startswith("advisor "), version.stderr
    rules = run(container, "rules", "list")
    assert rules.returncode == 0 and "wind-strong" in rules.stdout, rules.stderr


def test_the_command_that_the_file_names_writes_a_first_household(container):
    (line,) = [
        one for one in DOCKERFILE.read_text().replace("\\\n#", "").splitlines() if " advisor init " in one
    ]
    words = shlex.split(line.split(" advisor ", 1)[1].replace("/data", str(container / "data" / "first")))
    written = run(container, *words)
    assert written.returncode == 0, written.stderr
    assert (container / "data" / "first" / "lawn.toml").exists()


def test_it_serves_is_well_and_ends_at_the_stop_signal(container):
    data = container / "data"
    shutil.copytree(ROOT / "fixtures" / "prairie-lawn", data, dirs_exist_ok=True)
    with WeatherServer() as provider:
        with (data / "lawn.toml").open("a") as file:
            file.write(f'\n[weather.hosts]\nopen-meteo = "{provider.base}"\n')
        text = (data / "lawn.toml").read_text()
        (data / "lawn.toml").write_text(
            text.replace('units = "us"\n', 'units = "us"\ncontact = "me@example.org"\n', 1)
        )
        if found := user():
            for path in (data, *data.rglob("*")):
                os.chown(path, found["user"], found["group"])
        command = [*json.loads(one("ENTRYPOINT")), *json.loads(one("CMD"))]
        process = subprocess.Popen(
            [container / "env" / "bin" / command[0], *command[1:]], cwd=data, env=environment_of(container),
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, **user(),
        )  # fmt: skip
        cycled, lines = threading.Event(), []

        def read():
            for line in process.stderr:
                lines.append(line)
                if '"event": "cycle"' in line or '"event":"cycle"' in line:
                    cycled.set()

        reader = threading.Thread(target=read, daemon=True)
        reader.start()
        try:
            assert cycled.wait(60), "".join(lines)
            health = json.loads(one("HEALTHCHECK").partition("CMD ")[2])
            well = subprocess.run([container / "env" / "bin" / health[0], *health[1:]], capture_output=True, text=True,
                                  cwd=data, env=environment_of(container), timeout=30, **user())  # fmt: skip
            assert well.returncode == 0, well.stdout + well.stderr
            process.send_signal(signal.Signals[one("STOPSIGNAL")])
            assert process.wait(15) == 0, "".join(lines)
        finally:
            if process.poll() is None:
                process.kill()
            process.wait(10)
            reader.join(5)
            process.stderr.close()
    if found:
        assert (data / "advisor.db").stat().st_uid == found["user"]
