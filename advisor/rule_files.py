"""Finding the rule files: the shipped ones, and a household's own that overlay them by id."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
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
    """Rules by id in order of id; `version` is a digest of their text; `overlaid` names the ids of own files.

    `shipped` and `own` are the texts by file name, from which `rules_of` makes the same rules again.
    """

    rules: dict[str, Rule]
    version: str
    overlaid: tuple[str, ...] = ()
    shipped: Mapping[str, str] = field(default_factory=dict, repr=False)
    own: Mapping[str, str] = field(default_factory=dict, repr=False)

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
    shipped = _texts(shipped_folder(), "rules", problems)
    own_texts = _texts(own, str(own), problems) if own is not None and own.is_dir() else {}
    return _merged(shipped, own_texts, "rules", str(own), problems)


def rules_of(shipped: Mapping[str, str], own: Mapping[str, str]) -> RuleSet:
    """The rules that these texts make, by file name; those of `own` are laid over the others by id.

    Raises
    ------
    InvalidFile
        With every fault of every text.
    """
    return _merged(shipped, own, "rules", "own rules", [])


def _merged(
    shipped: Mapping[str, str], own: Mapping[str, str], shipped_name: str, own_name: str, problems: list[Problem]
) -> RuleSet:
    rules, digest = _parsed(shipped, shipped_name, problems)
    overlaid, own_digest = _parsed(own, own_name, problems)
    if not problems:
        problems = list(lint(rules, overlaid))
    if problems:
        raise InvalidFile("the rules are not valid", problems=problems)
    merged = dict(sorted({**rules, **overlaid}.items()))
    version = hashlib.sha256((digest + own_digest).encode()).hexdigest()[:12]
    return RuleSet(merged, version, tuple(sorted(overlaid)), dict(shipped), dict(own))


def _texts(folder: Traversable | Path, shown: str, problems: list[Problem]) -> dict[str, str]:
    """The rule files of a folder by name."""
    texts: dict[str, str] = {}
    for file in sorted(folder.iterdir(), key=lambda item: item.name):
        if file.name.endswith(".toml"):
            try:
                texts[file.name] = file.read_text(encoding="utf-8")
            except (OSError, UnicodeDecodeError) as error:
                problems.append(Problem(f"cannot be read: {error}", f"{shown}/{file.name}"))
    return texts


def _parsed(texts: Mapping[str, str], shown: str, problems: list[Problem]) -> tuple[dict[str, Rule], str]:
    rules: dict[str, Rule] = {}
    digest = ""
    for name, text in sorted(texts.items()):
        path = f"{shown}/{name}"
        try:
            rule = parse_rule(text, path)
        except InvalidFile as error:
            problems.extend(error.problems)
            continue
        digest += name + text
        if rule.id in rules:
            problems.append(
                Problem(f'the id "{rule.id}" is taken by {rules[rule.id].path}', path, "give it another id")
            )
        rules[rule.id] = rule
    return rules, digest
