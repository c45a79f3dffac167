"""Finding the rule files: the shipped ones, and a household's own that overlay them by id."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

import advisor
from advisor.errors import InvalidFile, Problem
from advisor.rulebook.lint import lint
from advisor.rulebook.parse import parse_rule
from advisor.rulebook.schema import Rule


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules by id in order of id; `version` is a digest of their text; `overlaid` names the ids of own files."""

    rules: dict[str, Rule]
    version: str
    overlaid: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Rule]:
        return iter(self.rules.values())


def shipped_folder() -> Traversable:
    """The folder of the shipped rules: inside an installed wheel, or beside the package in a checkout."""
    inside = files("advisor") / "_rules"
    if inside.is_dir():
        return inside
    beside = Path(advisor.__file__).resolve().parent.parent / "rules"
    if beside.is_dir():
        return beside
    raise InvalidFile("the shipped rules are missing", where=str(beside), hint="install the package again")


def load_rules(own: Path | None = None) -> RuleSet:
    """The shipped rules, with those of a household's own folder laid over them by id.

    Raises
    ------
    InvalidFile
        With every fault of every file.
    """
    problems: list[Problem] = []
    rules, digest = _read(shipped_folder(), "rules", problems)
    overlaid: dict[str, Rule] = {}
    if own is not None and own.is_dir():
        overlaid, own_digest = _read(own, str(own), problems)
        digest += own_digest
    if not problems:
        problems = [issue for issue in lint(rules, overlaid)]
    if problems:
        raise InvalidFile("the rules are not valid", problems=problems)
    merged = dict(sorted({**rules, **overlaid}.items()))
    return RuleSet(merged, hashlib.sha256(digest.encode()).hexdigest()[:12], tuple(sorted(overlaid)))


def _read(folder: Traversable, shown: str, problems: list[Problem]) -> tuple[dict[str, Rule], str]:
    rules: dict[str, Rule] = {}
    digest = ""
    for file in sorted(folder.iterdir(), key=lambda item: item.name):
        if not file.name.endswith(".toml"):
            continue
        path = f"{shown}/{file.name}"
        try:
            text = file.read_text(encoding="utf-8")
            rule = parse_rule(text, path)
        except InvalidFile as error:
            problems.extend(error.problems)
            continue
        except (OSError, UnicodeDecodeError) as error:
            problems.append(Problem(f"cannot be read: {error}", path))
            continue
        digest += file.name + text
        if rule.id in rules:
            problems.append(
                Problem(f'the id "{rule.id}" is taken by {rules[rule.id].path}', path, "give it another id")
            )
        rules[rule.id] = rule
    return rules, digest
