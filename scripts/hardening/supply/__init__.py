"""What the project rests on: locked lists with hashes, files as they were installed, licences, known faults.

Nothing is asked of any server. The environment of `scripts/test` is made from the declared ranges, so that a new
version which breaks something is noticed; only one made by `scripts/lock --install` has to equal its list.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Iterable, Sequence
from importlib import metadata
from pathlib import Path

from packaging.version import Version

from hardening.lines import Line
from hardening.supply import declared, files, licences, lock

FAULTS = lock.FOLDER / "known-faults.toml"
_GROUPS = {"program": "program", "extra": "extras", "tests": "tests"}


def known_faults() -> dict[str, tuple[str, str]]:
    """(first version without the fault, what it was) by name."""
    data = tomllib.loads(FAULTS.read_text(encoding="utf-8"))["faults"]
    return {name: (one["fixed"], one["what"]) for name, one in data.items()}


def faulty(versions: dict[str, str], where: str) -> list[str]:
    """Packages in a version with a published fault."""
    faults = known_faults()
    return [
        f"{name} {version} is {where}: {faults[name][1]}, fixed in {faults[name][0]}"
        for name, version in versions.items()
        if name in faults and Version(version) < Version(faults[name][0])
    ]


def locked_lists(folder: Path = lock.FOLDER) -> Line:
    """Every list can be read whole: names, versions, hashes, no address, nothing with a known fault."""
    wrong, packages = [], 0
    lists = sorted(folder.glob("test-*.txt"))
    for path in lists:
        text = path.read_text(encoding="utf-8")
        try:
            found = lock.read(text)
        except ValueError as error:
            wrong.append(f"{path.name}: {error}")
            continue
        packages += len(found)
        wrong += [
            f"{path.name}: {told}" for told in faulty({name: one[0] for name, one in found.items()}, "locked")
        ]
        missing = {lock.canonical(name) for name in declared.floors(lock.wanted())} - set(found)
        wrong += [f"{path.name}: {name} is declared and not locked" for name in sorted(missing)]
    if not lists:
        wrong.append("there is no list")
    return _line(
        "locked packages", packages, wrong, f"{len(lists)} lists: {', '.join(path.stem for path in lists)}"
    )


def environment(present: dict[str, str], prefix: Path) -> Line:
    """Whether what is installed is what is locked, where the environment says that it was made from the list."""
    path = lock.FOLDER / f"test-{sys.version_info[0]}.{sys.version_info[1]}.txt"
    if not path.exists():
        return _line("installed as locked", 0, [], f"there is no {path.name}: not compared")
    told = lock.differences(lock.read(path.read_text(encoding="utf-8")), present)
    strict = (prefix / "made-from-lock").exists()
    note = f"{len(told)} differences" + ("" if strict else "; this environment was not made from the list")
    return _line("installed as locked", len(present), told if strict else [], note)


def installed_files(present: Iterable[metadata.Distribution]) -> Line:
    looked, wrong = 0, []
    for one in present:
        some, told = files.changed(one)
        looked, wrong = looked + some, wrong + told
    return _line("files as installed", looked, wrong)


def run(quick: bool, seed: int) -> list[Line]:
    """Everything is looked at in both forms, and nothing is drawn."""
    present, wanted = declared.distributions(), declared.declared()
    versions = {
        name: one.version for name, one in present.items() if name not in ("pip", "setuptools", "wheel")
    }
    found = licences.table()
    listed = licences.read(licences.TABLE.read_text(encoding="utf-8"))
    groups = [group for group, _ in found.values()]
    counted = ", ".join(f"{groups.count(name)} of the {words}" for name, words in _GROUPS.items())
    orphans = declared.undeclared(present)
    strict = (Path(sys.prefix) / "made-from-lock").exists()
    return [
        locked_lists(),
        environment(lock.installed(), Path(sys.prefix)),
        installed_files(present.values()),
        _line("licences", len(found), [*licences.misfits(found), *licences.not_listed(found, listed)], counted),
        _line("versions with known faults", len(known_faults()),
              [*faulty(versions, "installed"), *faulty(declared.floors(wanted.program), "allowed by pyproject.toml")],
              "a list from memory; no database of faults can be had offline"),
        _line("versions as declared", len(wanted.asked_for), declared.too_old(wanted.asked_for, present)),
        _line("wanted by nobody", len(present), orphans if strict else [], ", ".join(orphans) or "none"),
    ]  # fmt: skip


def _line(what: str, cases: int, wrong: Sequence[str], note: str = "") -> Line:
    return Line("supply", what, cases, len(wrong), note, tuple(wrong[:5]))
