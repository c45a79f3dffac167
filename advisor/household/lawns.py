"""Several households under one folder: `lawns.toml` names them in the order of travel.

    lawns = ["hill-road", "maple-street"]   # folders, each with a lawn.toml of its own
    travel = "20 min"                       # from one to another
    evening = "18:00"                       # when the notice of tomorrow's round is told

    [hours]                                 # your own, besides those of each lawn; all day when left out
    weekdays = "08:00-17:00"

    [[channel]]                             # where the notice of the round goes, as in a lawn.toml
    kind = "terminal"

Without the file every folder that holds a lawn.toml belongs to it, by name.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Annotated

from pydantic import Field

from advisor.errors import InvalidFile, did_you_mean
from advisor.household.build import hours as hours_by_weekday
from advisor.household.faults import validate
from advisor.household.fields import Table, Text, quantity
from advisor.household.files import TomlFile, read_toml
from advisor.household.lawn_file import ChannelTable
from advisor.household.times import DayWord, Spans, TimeOfDay

FILE = "lawns.toml"


class LawnsFile(Table):
    lawns: Annotated[list[Text], Field(min_length=1)]
    travel: quantity("time", 0.0, 12.0) = 1.0 / 3.0
    evening: TimeOfDay = dt.time(18, 0)
    hours: dict[DayWord, Spans] | None = None
    channel: list[ChannelTable] = []


@dataclass(frozen=True, slots=True)
class Lawns:
    """`folders` in the order of travel; `hours` None where the person states none."""

    folder: Path
    folders: tuple[Path, ...]
    travel: timedelta = timedelta(minutes=20)
    evening: dt.time = dt.time(18, 0)
    hours: Mapping[int, tuple] | None = None
    channels: tuple[Mapping[str, object], ...] = ()


def read_lawns(folder: Path | str) -> Lawns:
    """What the folder says, or its subfolders by name.

    Raises
    ------
    InvalidFile
        When the file is faulty, names a folder that is not there, or there is no lawn at all.
    """
    folder = Path(folder)
    if not (folder / FILE).exists():
        found = tuple(sorted(path.parent for path in folder.glob("*/lawn.toml"))) if folder.is_dir() else ()
        if not found:
            raise InvalidFile(
                "there is no lawn here",
                where=str(folder),
                hint=f"name a folder with {FILE}, or with lawns in folders of it",
            )
        return Lawns(folder, found)
    file = read_toml(folder, folder / FILE)
    validate(file, LawnsFile)
    values: LawnsFile | None = file.values
    if values is not None:
        _check_folders(folder, values, file)
    if file.problems:
        raise InvalidFile(f"{folder / FILE} is not valid", problems=file.problems)
    return Lawns(
        folder,
        tuple(folder / name for name in values.lawns),
        timedelta(hours=values.travel),
        values.evening,
        None if values.hours is None else hours_by_weekday(values.hours),
        tuple(one.model_dump(exclude_none=True) for one in values.channel),
    )


def _check_folders(folder: Path, values: LawnsFile, file: TomlFile) -> None:
    there = sorted(path.parent.name for path in folder.glob("*/lawn.toml"))
    for at, name in enumerate(values.lawns):
        if Path(name).is_absolute() or ".." in Path(name).parts:
            file.fault(f'"{name}" lies outside this folder', "name a folder inside it", "lawns", at)
        elif not _is_file(folder / name / "lawn.toml"):
            hint = did_you_mean(name, there) or "make it: advisor init"
            file.fault(f'"{name}" holds no lawn.toml', hint, "lawns", at)
        elif name in values.lawns[:at]:
            file.fault(f'"{name}" is named twice', "each lawn is visited once", "lawns", at)


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name that no system has, such as one of 300 letters
        return False
