"""Licences of all that is installed, read from the packages' own descriptions.

`python -m hardening.supply --licences` writes `scripts/locked/licences.txt` anew. A package that the program needs
must have a licence under which a program of the MIT licence may use it and be handed on with it; what only the tests
use must have a licence at all.
"""

from __future__ import annotations

import re
from importlib import metadata

from hardening.supply.declared import brought, declared, distributions
from hardening.supply.lock import FOLDER

TABLE = FOLDER / "licences.txt"
#: with these a program of the MIT licence may be handed on; MPL for files that stay as they are
GOOD = frozenset({
    "0BSD", "Apache-2.0", "BSD", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "MIT-0", "MIT-CMU", "MPL-2.0",
    "PSF-2.0", "Public Domain", "Unlicense", "ZPL-2.1", "Zlib",
})  # fmt: skip
#: what descriptions say in their own words -> the name of SPDX
_WORDS = (
    (r"\bMIT-CMU|HPND", "MIT-CMU"), (r"\bMIT No Attribution|MIT-0\b", "MIT-0"), (r"\bMIT\b", "MIT"),
    (r"\bApache", "Apache-2.0"), (r"BSD.?3|3.Clause", "BSD-3-Clause"), (r"BSD.?2|2.Clause", "BSD-2-Clause"),
    (r"\bBSD\b|Redistribution and use in source and binary forms", "BSD"), (r"\bISC\b", "ISC"),
    (r"MPL|Mozilla Public License 2", "MPL-2.0"), (r"\bZPL|Zope Public", "ZPL-2.1"),
    (r"PSF|Python Software Foundation|matplotlib", "PSF-2.0"), (r"CC0", "CC0-1.0"), (r"Public Domain", "Public Domain"),
    (r"Unlicense", "Unlicense"), (r"\bAGPL|Affero", "AGPL"), (r"\bLGPL|Lesser General", "LGPL"),
    (r"\bGPL|General Public License", "GPL"),
)  # fmt: skip
#: what the descriptions do not say
REMARKS = {
    "tzfpy": "its map of time zones is of the Open Database License 1.0 (from memory)",
    "certifi": "the certificates themselves, as the browser's makers list them",
    "numpy": "with parts of other licences, which it lists",
}


def licence(one: metadata.Distribution) -> str:
    """An expression of SPDX names; "unknown" where the description says nothing that is known."""
    said = one.metadata
    expression = said.get("License-Expression")
    if expression:
        return str(expression)
    kinds = [
        text.rpartition("::")[2].strip()
        for text in said.get_all("Classifier", [])
        if text.startswith("License ::")
    ]
    names = [name for kind in kinds for name in _named(kind) if kind != "OSI Approved"]
    if not names or names == ["BSD"]:
        # the classifier knows one BSD; the text may be more exact
        names = _named((said.get("License") or "")[:2000]) or names
    if not names:
        # some descriptions only name the file that holds the text
        files = [path for name in said.get_all("License-File", []) for path in (f"licenses/{name}", name)]
        names = next((found for path in files if (found := _named((one.read_text(path) or "")[:2000]))), [])
    return " OR ".join(dict.fromkeys(names)) if names else "unknown"


def _named(text: str) -> list[str]:
    """The licence that a text names; several where it offers a choice."""
    if re.search(r"\bor\b", text, re.IGNORECASE) and len(text) < 80:
        return [name for part in re.split(r"(?i)\bor\b", text) for name in _named(part)]
    return next(([name] for pattern, name in _WORDS if re.search(pattern, text)), [])


def fits(expression: str) -> bool:
    """Whether a licence lets a program of the MIT licence use the package and be handed on with it."""
    for choice in re.split(r"(?i)\s+or\s+", expression.replace("(", "").replace(")", "")):
        parts = [re.sub(r"(?i)\s+with\s+.*", "", part).strip() for part in re.split(r"(?i)\s+and\s+", choice)]
        if all(part in GOOD for part in parts):
            return True
    return False


def table() -> dict[str, tuple[str, str]]:
    """(group, licence) of every installed package that the project declares, by name."""
    present, wanted = distributions(), declared()
    program = brought(wanted.program, present)
    offered = brought(
        [one for name in ("notify", "parquet", "dask") for one in wanted.extras.get(name, ())], present
    )
    everything = brought(wanted.all, present)
    groups = {
        name: "program" if name in program else "extra" if name in offered else "tests" for name in everything
    }
    return {name: (groups[name], licence(present[name])) for name in sorted(groups)}


def misfits(found: dict[str, tuple[str, str]]) -> list[str]:
    """Packages whose licence is unknown, or does not fit where the program needs or offers them."""
    return [
        f"{name}: {said}, wanted by the {'program' if group == 'program' else group}"
        for name, (group, said) in found.items()
        if said == "unknown" or (group != "tests" and not fits(said))
    ]


def written(found: dict[str, tuple[str, str]]) -> str:
    lines = [
        "# Licences of the packages that the program needs, that its extras offer, and that only its tests use.",
        "# Written by python -m hardening.supply --licences, from the packages' own descriptions.",
    ]
    for wanted in ("program", "extra", "tests"):
        for name, (group, said) in found.items():
            if group == wanted:
                remark = f"  ({REMARKS[name]})" if name in REMARKS else ""
                lines.append(f"{group:<8} {name:<27} {said}{remark}")
    return "\n".join(lines) + "\n"


def read(text: str) -> dict[str, tuple[str, str]]:
    rows = (line.split(None, 2) for line in text.splitlines() if line and not line.startswith("#"))
    return {name: (group, said.partition("  (")[0]) for group, name, said in rows}


def not_listed(found: dict[str, tuple[str, str]], listed: dict[str, tuple[str, str]]) -> list[str]:
    """What the program or an extra brings and nobody has looked at, or what has changed its licence since."""
    out = []
    for name, (group, said) in found.items():
        if group != "tests" and name not in listed:
            out.append(f"{name}: {said}, not in {TABLE.name}")
        elif group != "tests" and listed[name][1] != said:
            out.append(f"{name}: {said}, was {listed[name][1]}")
    return out
