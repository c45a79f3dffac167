"""Rooms of the house: imports go downward only, and the core touches no file, socket, clock or log.

The map adapts the layers of DEVELOPERS.md to the modules as they are. A module that is new has to be put in its layer
here; where it does not fit, it is the module that is wrong.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import advisor

PACKAGE = Path(advisor.__file__).resolve().parent

LAYERS: tuple[tuple[str, ...], ...] = (
    # 0 words, units, instants, three values
    ("", "clock", "compass", "errors", "floats", "logic", "toml_lines", "unit_factors", "units", "variables", "votes",
     "web_address"),
    # 1 frozen types and pure formulas
    (
        "atmosphere", "drift", "growth", "lawn_work", "mix", "model", "quiet", "rain", "season", "series", "soil",
        "statements", "sun", "verification",
    ),
    # 2 the forecast's arrays, the providers' shapes without a network, quality, spread
    ("agreement", "forecast", "measured_past", "quality", "quality_checks", "sources", "spread", "warnings_in_force"),
    # 3 derived series
    ("area_conditions", "conditions", "lawn_water", "local_days", "task_table"),
    # 4 rules
    ("rulebook",),
    # 5 verdicts, reasons, keeping score
    ("explain", "score", "scoring", "verdict"),
    # 6 days, passes, waiting, past weather, records, reviews
    (
        "almanac", "one_start", "outlook", "planning", "recording", "reschedule", "review", "sequence", "start_card",
        "waiting",
    ),
    # 7 strings and SVG
    ("calendar", "figures", "messages"),
    # 8 files, database, network
    ("household", "ledger", "past_weather", "rule_files", "seen_weather", "store", "transport", "weather"),
    # 9 channels
    ("notify",),
    # 10 the service and the page
    ("batch", "evidence", "replay", "service", "web"),
    # 11 commands
    ("__main__", "cli"),
)  # fmt: skip
LAYER_OF = {name: number for number, names in enumerate(LAYERS) for name in names}
#: layers below this one do no input and no output
SHELL = 8


def room(module: str) -> str:
    """The name under `advisor` that a module belongs to."""
    return (module.split(".") + [""])[1]


def modules() -> Iterator[tuple[str, bool, ast.Module]]:
    """(dotted name, whether it is a package, tree) of every module."""
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = ["advisor", *path.relative_to(PACKAGE).with_suffix("").parts]
        package = parts[-1] == "__init__"
        yield ".".join(parts[:-1] if package else parts), package, ast.parse(path.read_text(encoding="utf-8"))


MODULES = {name: (package, tree) for name, package, tree in modules()}


def imported(name: str, package: bool, tree: ast.Module) -> Iterator[tuple[str, int]]:
    """Absolute names of everything a module imports, wherever in it, and the line."""
    here = name.split(".")
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name, node.lineno
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                up = here[: len(here) - node.level + (1 if package else 0)]
                base = ".".join([*up, *([node.module] if node.module else [])])
            for alias in node.names:
                yield f"{base}.{alias.name}", node.lineno


def test_every_module_has_its_layer():
    homeless = sorted({room(name) for name in MODULES} - set(LAYER_OF))
    assert not homeless, f"put these into a layer of LAYERS: {homeless}"
    empty = sorted(set(LAYER_OF) - {room(name) for name in MODULES})
    assert not empty, f"these are gone: take them out of LAYERS: {empty}"


@pytest.mark.parametrize("name", MODULES)
def test_imports_go_downward_only(name):
    package, tree = MODULES[name]
    own = LAYER_OF.get(room(name), 99)
    upward = [
        f"line {line}: {target}"
        for target, line in imported(name, package, tree)
        if target.split(".")[0] == "advisor" and LAYER_OF.get(room(target), 0) > own
    ]
    assert not upward, f"{name} (layer {own}) imports upward: {upward}"


#: which room alone may import what
ONLY_IN = {
    "pint": {"units"},
    "pydantic": {"household"},
    "requests": {"transport", "weather", "notify"},
    "urllib3": {"transport", "notify"},
    "sqlite3": {"store"},
    "apscheduler": {"service"},
    "click": {"cli"},
    "astral": {"sun"},
    "tzfpy": {"household", "cli", "batch"},
    "subprocess": set(),
    "socket": {"web", "notify", "service", "transport"},
    "threading": {"service", "cli", "web", "store", "transport", "notify", "weather"},
}


@pytest.mark.parametrize("library", ONLY_IN)
def test_a_library_has_its_room(library):
    users = {
        room(name)
        for name, (package, tree) in MODULES.items()
        for target, _ in imported(name, package, tree)
        if target.split(".")[0] == library
    }
    assert users <= ONLY_IN[library], f"{library} is used in {sorted(users - ONLY_IN[library])}"


CORE = [name for name in MODULES if LAYER_OF.get(room(name), 99) < SHELL]
_NO_IMPORT = {
    "socket", "requests", "urllib3", "sqlite3", "subprocess", "logging", "http", "shutil", "tempfile", "threading",
    "asyncio", "random", "glob",
}  # fmt: skip
_NO_CALL = {"open", "print", "input", "exec", "eval"}
_NO_METHOD = {
    "now", "today", "utcnow", "read_text", "read_bytes", "write_text", "write_bytes", "unlink", "mkdir", "monotonic",
    "perf_counter", "urandom", "getenv",
}  # fmt: skip
#: time.time() and the like: method -> the name it is called on
_NO_METHOD_OF = {"time": "time", "sleep": "time", "getcwd": "os", "environ": "os", "seed": "random"}


def core_faults(tree: ast.Module, name: str, package: bool) -> Iterator[str]:
    for target, line in imported(name, package, tree):
        if target.split(".")[0] in _NO_IMPORT:
            yield f"line {line}: imports {target}"
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr == "environ":
            yield f"line {node.lineno}: reads the environment"
        if not isinstance(node, ast.Call):
            continue
        called = node.func
        if isinstance(called, ast.Name) and called.id in _NO_CALL:
            yield f"line {node.lineno}: calls {called.id}()"
        if isinstance(called, ast.Attribute):
            owner = called.value.id if isinstance(called.value, ast.Name) else ""
            if called.attr in _NO_METHOD or _NO_METHOD_OF.get(called.attr) == owner != "":
                yield f"line {node.lineno}: calls .{called.attr}()"
            if called.attr in ("default_rng", "RandomState") and not node.args and not node.keywords:
                yield f"line {node.lineno}: draws numbers without a seed"


@pytest.mark.parametrize("name", CORE)
def test_the_core_opens_no_file_no_socket_and_no_clock(name):
    package, tree = MODULES[name]
    assert not list(core_faults(tree, name, package))


@pytest.mark.parametrize(
    "text",
    [
        "open('x')", "datetime.now(UTC)", "date.today()", "time.time()", "import socket",
        "from logging import getLogger", "Path('x').read_text()", "np.random.default_rng()", "print(1)",
        "os.environ['X']", "time.monotonic()",
    ],
)  # fmt: skip
def test_the_test_sees_what_it_looks_for(text):
    assert list(core_faults(ast.parse(text), "advisor.x", False))


def test_an_upward_import_is_seen():
    tree = ast.parse("from advisor.cli import main\nfrom .rulebook import schema\nfrom .. import weather")
    found = [target for target, _ in imported("advisor.soil.water", False, tree)]
    assert found == ["advisor.cli.main", "advisor.soil.rulebook.schema", "advisor.weather"]


HEAVY = (
    "pandas",
    "pint",
    "pydantic",
    "numpy",
    "requests",
    "apscheduler",
    "rich",
    "sqlite3",
    "astral",
    "tzfpy",
)


@pytest.mark.parametrize(
    "words", [["--help"], ["--version"], ["-h"], ["outlook", "--help"], ["no-such-command"]]
)
def test_help_imports_nothing_heavy(words):
    code = (
        "import sys\n"
        f"sys.argv = ['advisor', *{words!r}]\n"
        "from advisor.cli import main\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print('HEAVY', [name for name in {HEAVY!r} if name in sys.modules])\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        cwd=PACKAGE.parent,
        env={**os.environ, "NO_COLOR": "1"},
    )
    assert run.stdout.rstrip().endswith("HEAVY []"), run.stdout[-300:] + run.stderr[-500:]


def test_an_outlook_reads_no_pandas():
    """A second of start-up for every answer."""
    code = (
        "import sys, advisor.cli.outlook, advisor.outlook, advisor.cli.scene; print('pandas' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=PACKAGE.parent)
    assert run.stdout.strip() == "False", run.stderr
