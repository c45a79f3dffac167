"""The locked list of the test environment: made of pip's own report, and compared with what is installed.

`scripts/lock` calls this; it needs nothing but the standard library, so that it runs before anything is installed.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import tomllib
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parents[3]
FOLDER = ROOT / "scripts" / "locked"
#: extras of the project that the test environment has, and what builds packages that come as sources, and the project
EXTRAS, BUILDS = ("test", "reference", "browser"), ("editables>=0.5", "setuptools>=77", "wheel>=0.45")
#: come with Python's own environments in any version
_TOOLS = ("pip", "setuptools", "wheel")
_LINE = re.compile(r"^([A-Za-z0-9][A-Za-z0-9._-]*)==(\S+)((?: +--hash=sha256:[0-9a-f]{64})+)$")
_HEAD = """\
# The test environment of Python {python} on {platform}: every package with its version and its hash.
# Written by scripts/lock; to install it: scripts/lock --install DIR
"""


def canonical(name: str) -> str:
    """The name as the index compares it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def project() -> dict:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def wanted() -> list[str]:
    """What the test environment is asked to hold, as the project declares it."""
    whole = project()
    extras = whole["project"]["optional-dependencies"]
    found = [*whole["project"]["dependencies"], *(one for extra in EXTRAS for one in extras[extra])]
    return list(dict.fromkeys([*found, *whole["build-system"]["requires"], *BUILDS]))


def written(report: dict) -> str:
    """The list as pip's report has it.

    Raises
    ------
    ValueError
        When a package was withdrawn by its makers, comes from elsewhere than an index, or has no SHA-256.
    """
    rows = []
    for one in report["install"]:
        name, version = one["metadata"]["name"], one["metadata"]["version"]
        if one.get("is_yanked"):
            raise ValueError(f"{name} {version} was withdrawn by its makers")
        archive = one["download_info"].get("archive_info") or {}
        digest = (archive.get("hashes") or {}).get("sha256", "")
        if one.get("is_direct") or not re.fullmatch("[0-9a-f]{64}", digest):
            raise ValueError(f"{name} {version} comes from no index, or without a hash")
        rows.append(f"{canonical(name)}=={version} --hash=sha256:{digest}")
    machine = report["environment"]
    head = _HEAD.format(
        python=machine["python_version"], platform=f"{machine['sys_platform']} {machine['platform_machine']}"
    )
    return head + "\n".join(sorted(rows)) + "\n"


def read(text: str) -> dict[str, tuple[str, tuple[str, ...]]]:
    """(version, hashes) by name.

    Raises
    ------
    ValueError
        For a line that is no locked package: an address, an option, a package without a hash, a name twice.
    """
    found: dict[str, tuple[str, tuple[str, ...]]] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        parts = _LINE.match(line)
        if parts is None:
            raise ValueError(f"line {number} is no locked package: {line}")
        if parts[1] != canonical(parts[1]) or parts[1] in found:
            raise ValueError(f"line {number} names {parts[1]} in another way, or again")
        found[parts[1]] = parts[2], tuple(re.findall(r"sha256:([0-9a-f]{64})", parts[3]))
    return found


def installed() -> dict[str, str]:
    """Versions of what this Python has installed, without pip and its kin and without the project itself."""
    own = canonical(project()["project"]["name"])
    found = {canonical(one.metadata["Name"]): one.version for one in metadata.distributions()}
    return {name: version for name, version in found.items() if name not in (own, *_TOOLS)}


def differences(locked: dict[str, tuple[str, tuple[str, ...]]], present: dict[str, str]) -> list[str]:
    """What is installed in another version, not installed, or installed and not locked; one line each."""
    locked = {name: one for name, one in locked.items() if name not in _TOOLS}
    out = [f"{name} {present[name]} is installed, {version} is locked"
           for name, (version, _) in locked.items() if name in present and present[name] != version]  # fmt: skip
    out += [
        f"{name} {version} is locked and not installed"
        for name, (version, _) in locked.items()
        if name not in present
    ]
    out += [
        f"{name} {version} is installed and not locked"
        for name, version in present.items()
        if name not in locked
    ]
    return sorted(out)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    choice = parser.add_mutually_exclusive_group(required=True)
    choice.add_argument("--wanted", action="store_true", help="print what the environment is asked to hold")
    choice.add_argument(
        "--write", nargs=2, type=Path, metavar=("LIST", "REPORT"), help="write a list of pip's report"
    )
    choice.add_argument("--verify", type=Path, metavar="LIST", help="compare this environment with a list")
    given = parser.parse_args()
    if given.wanted:
        print("\n".join(wanted()))
        return 0
    if given.write:
        target, report = given.write
        target.write_text(written(json.loads(report.read_text(encoding="utf-8"))), encoding="utf-8")
        print(f"{target}: {len(read(target.read_text(encoding='utf-8')))} packages")
        return 0
    told = differences(read(given.verify.read_text(encoding="utf-8")), installed())
    print("\n".join(told) if told else f"{len(installed())} packages, as {given.verify} has them")
    return int(bool(told))


if __name__ == "__main__":
    sys.exit(main())
