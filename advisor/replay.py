"""Make a notice's verdict again from the evidence that was kept with it, and say where it comes out otherwise."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import advisor
from advisor.errors import AdvisorError, StoreError
from advisor.evidence import Evidence, household_texts, restore
from advisor.messages.outlook_json import outlook_object
from advisor.rule_files import load_rules
from advisor.store import Store, notices
from advisor.store.encoding import to_json
from advisor.store.notices import Notice

#: parts of an outlook that are told beside its verdicts
_BESIDE = ("cautions",)


@dataclass(frozen=True, slots=True)
class Replayed:
    """A notice, and what its evidence makes today.

    Attributes
    ----------
    told, again : mapping of str to str
        Verdict by "treatment/area date", as it was told and as it comes out now.
    differences : tuple of str
        Verdicts that are not the same.
    identical : bool
        Whether every number and word of the outlook is the same.
    version : str
        Of the program that made the notice.
    changed_since : tuple of str
        Files of the household and rules that are no longer what they were; they are not looked at.
    """

    notice: Notice
    evidence: Evidence
    told: Mapping[str, str]
    again: Mapping[str, str]
    differences: tuple[str, ...]
    identical: bool
    version: str
    changed_since: tuple[str, ...] = ()

    @property
    def same(self) -> bool:
        return not self.differences

    @property
    def other_version(self) -> bool:
        return self.version != advisor.__version__


def replay(store: Store, notice_id: str, folder: Path | None = None) -> Replayed:
    """Make a notice's outlook again. Nothing is asked of anyone, and nothing is written.

    Parameters
    ----------
    folder : Path, optional
        The household's folder as it is now, only to say what has changed in it.

    Raises
    ------
    StoreError
        When there is no such notice, or its evidence is not complete.
    """
    notice = notices.find(store, notice_id)
    if notice is None:
        hint = "list them with: advisor replay"
        raise StoreError(f'there is no notice "{notice_id}"', where=str(store.path), hint=hint)
    evidence = restore(store, notice.id, notice.evidence)
    before = notice.evidence.get("outlook") or {}
    after = json.loads(to_json(outlook_object(evidence.outlook())))
    told, again = verdicts(before), verdicts(after)
    differences = tuple(
        f"{key}: told {told.get(key, 'nothing')}, now {again.get(key, 'nothing')}"
        for key in sorted({*told, *again})
        if told.get(key) != again.get(key)
    )
    identical = _without(before, _BESIDE) == _without(after, _BESIDE)
    changed = () if folder is None else _changed_since(evidence, folder)
    return Replayed(notice, evidence, told, again, differences, identical, evidence.version, changed)


def verdicts(outlook: Mapping[str, Any]) -> dict[str, str]:
    """Verdict by treatment, area and day of an outlook as JSON."""
    return {
        f"{one['treatment']}/{one['area']} {day['date']}": day["verdict"]
        for one in outlook.get("treatments", ())
        for day in one["days"]
    }


def _without(outlook: Mapping[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {key: value for key, value in outlook.items() if key not in names}


def _changed_since(evidence: Evidence, folder: Path) -> tuple[str, ...]:
    now = household_texts(folder) if folder.is_dir() else {}
    names = [name for name in sorted({*now, *evidence.files}) if now.get(name) != evidence.files.get(name)]
    try:
        if load_rules(folder / "rules").version != evidence.rules.version:
            names.append("the rules")
    except AdvisorError:
        # rules that are broken now are only another way of having changed
        names.append("the rules")
    return tuple(names)
