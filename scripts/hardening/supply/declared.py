"""Who wants what: the packages that the project declares, and all that they bring along."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib import metadata

from packaging.requirements import InvalidRequirement, Requirement
from packaging.version import Version

from hardening.supply.lock import BUILDS, canonical, project

#: used by hand on the project's own files; no test needs them
BY_HAND = ("ruff",)


@dataclass(frozen=True)
class Declared:
    """Requirements of the project: those of the program, and those of each extra."""

    program: tuple[str, ...]
    extras: dict[str, tuple[str, ...]]
    builds: tuple[str, ...]

    @property
    def asked_for(self) -> tuple[str, ...]:
        """Of the program and its extras."""
        return (*self.program, *(one for extra in self.extras.values() for one in extra))

    @property
    def all(self) -> tuple[str, ...]:
        return (
            *self.program,
            *(one for extra in self.extras.values() for one in extra),
            *self.builds,
            *BY_HAND,
        )


def declared() -> Declared:
    whole = project()
    extras = {name: tuple(some) for name, some in whole["project"]["optional-dependencies"].items()}
    return Declared(
        tuple(whole["project"]["dependencies"]), extras, (*whole["build-system"]["requires"], *BUILDS)
    )


def distributions() -> dict[str, metadata.Distribution]:
    """Installed packages by their name, without the project itself."""
    own = canonical(project()["project"]["name"])
    found = {canonical(one.metadata["Name"]): one for one in metadata.distributions()}
    found.pop(own, None)
    return found


def brought(requirements: Iterable[str], present: dict[str, metadata.Distribution]) -> set[str]:
    """Names of the packages that these requirements bring, of those that are present."""
    found: set[str] = set()
    waiting = [(Requirement(one), frozenset()) for one in requirements]
    done: set[tuple[str, frozenset]] = set()
    while waiting:
        wanted, _ = waiting.pop()
        name = canonical(wanted.name)
        extras = frozenset(wanted.extras)
        if name not in present or (name, extras) in done:
            continue
        done.add((name, extras))
        found.add(name)
        for text in present[name].requires or ():
            try:
                one = Requirement(text)
            except InvalidRequirement:
                continue
            places = [{"extra": extra} for extra in extras] or [{"extra": ""}]
            if one.marker is None or any(one.marker.evaluate(place) for place in places):
                waiting.append((one, extras))
    return found


def too_old(requirements: Iterable[str], present: dict[str, metadata.Distribution]) -> list[str]:
    """Installed packages that are not what was declared."""
    out = []
    for text in requirements:
        one = Requirement(text)
        found = present.get(canonical(one.name))
        if found is not None and not one.specifier.contains(found.version, prereleases=True):
            out.append(f"{one.name} {found.version} is installed, {one.specifier} is declared")
    return out


def floors(requirements: Iterable[str]) -> dict[str, str]:
    """The lowest version that each requirement allows; "0" where it names none."""
    out: dict[str, str] = {}
    for text in requirements:
        one = Requirement(text)
        least = [spec.version for spec in one.specifier if spec.operator in (">=", "==", "~=")]
        out[canonical(one.name)] = max(least, key=Version, default="0")
    return out


def undeclared(present: dict[str, metadata.Distribution]) -> list[str]:
    """What is installed although nobody wants it."""
    wanted = brought(declared().all, present)
    tools = {"pip", "setuptools", "wheel"}
    return [f"{name} {one.version}" for name, one in sorted(present.items()) if name not in wanted | tools]
