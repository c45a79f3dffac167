"""Read a whole household's folder: all files, all problems, then the frozen household."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from advisor.errors import InvalidFile, Problem, did_you_mean
from advisor.household.files import TomlFile, read_toml
from advisor.household.findings import Findings
from advisor.model import Household, Record

LAWN, LABELS, TREATMENTS, HISTORY = "lawn.toml", "labels", "treatments", "history.csv"


@dataclass
class Reading:
    """What a folder holds; `household` is None when anything in it is wrong."""

    folder: Path
    found: Findings
    lawn: TomlFile
    labels: dict[str, TomlFile] = field(default_factory=dict)
    treatments: dict[str, TomlFile] = field(default_factory=dict)
    household: Household | None = None


def load(folder: Path | str, *, now: datetime | None = None) -> Household:
    """Read and check a household's folder.

    Parameters
    ----------
    folder
        Holds `lawn.toml`, `labels/*.toml`, `treatments/*.toml` and perhaps `history.csv`.
    now
        Aware instant; with it, dates of things seen or done that lie in the future are errors.

    Raises
    ------
    InvalidFile
        With every problem of every file, each with its file and line.
    """
    reading = read(folder, now=now)
    if reading.found.errors:
        count = len(reading.found.errors)
        what = f"{reading.folder}: {count} problem{'s' if count > 1 else ''} in the household's files"
        raise InvalidFile(what, problems=reading.found.errors)
    return reading.household


def read(folder: Path | str, *, now: datetime | None = None) -> Reading:
    """Everything `load` does, with the problems returned instead of raised."""
    folder = Path(folder)
    lawn, missing = _lawn(folder)
    reading = Reading(folder, Findings(), lawn)
    if missing is not None:
        reading.found.errors.append(missing)
        return reading
    reading.labels = {file.id: file for file in _files(folder, LABELS)}
    reading.treatments = {file.id: file for file in _files(folder, TREATMENTS)}
    _shapes(reading)
    _prepare(reading, now)
    _cross_check(reading, now)
    reading.found.errors.sort(key=_place)
    return reading


def _lawn(folder: Path) -> tuple[TomlFile, Problem | None]:
    path = folder / LAWN
    if path.is_file():
        return read_toml(folder, path), None
    if not folder.is_dir():
        return TomlFile(LAWN), Problem(
            "there is no such folder", str(folder), "make one with: advisor init FOLDER"
        )
    near = did_you_mean(LAWN, [one.name for one in folder.iterdir() if one.suffix == ".toml"] or ["-"])
    hint = (
        near if near.startswith("did") else "name a household's folder, or make one with: advisor init FOLDER"
    )
    return TomlFile(LAWN), Problem(f"holds no {LAWN}", str(folder), hint)


def _files(folder: Path, kind: str) -> list[TomlFile]:
    return [read_toml(folder, path) for path in sorted((folder / kind).glob("*.toml"))]


def _shapes(reading: Reading) -> None:
    from advisor.household.faults import validate
    from advisor.household.label_file import LabelFile, TreatmentFile
    from advisor.household.lawn_file import LawnFile

    validate(reading.lawn, LawnFile)
    for file in reading.labels.values():
        validate(file, LabelFile)
    for file in reading.treatments.values():
        validate(file, TreatmentFile)
    for file in (reading.lawn, *reading.labels.values(), *reading.treatments.values()):
        reading.found.errors += file.problems


def _prepare(reading: Reading, now: datetime | None) -> None:
    """Units and the present moment for the checks; a faulty lawn leaves the defaults."""
    lawn = reading.lawn.values
    if lawn is None:
        return
    reading.found.units = lawn.units
    if now is not None:
        from zoneinfo import ZoneInfo

        reading.found.now = now.astimezone(ZoneInfo(lawn.site.time_zone))


def _cross_check(reading: Reading, now: datetime | None) -> None:
    from advisor.household import build
    from advisor.household.check_label import check_label
    from advisor.household.check_lawn import check_lawn
    from advisor.household.check_treatment import check_label_limits, check_places, check_references

    found, lawn_file = reading.found, reading.lawn
    areas, sprayers = {}, {}
    if lawn_file.values is not None:
        before = len(found.errors)
        check_lawn(lawn_file, found)
        if len(found.errors) == before:
            areas = {one.id: build.area(one, lawn_file.values.site.slope) for one in lawn_file.values.area}
            sprayers = {one.id: build.sprayer(one) for one in lawn_file.values.sprayer}
    labels = {}
    for name, file in reading.labels.items():
        if file.values is not None:
            before = len(found.errors)
            check_label(file, found)
            if len(found.errors) == before:
                labels[name] = build.label(file)
    area_ids, sprayer_ids = _raw_ids(lawn_file, "area"), _raw_ids(lawn_file, "sprayer")
    use = lawn_file.values.site.use if lawn_file.values is not None else None
    for file in reading.treatments.values():
        if file.values is None:
            continue
        if (
            check_references(file, found, set(reading.labels), area_ids, sprayer_ids)
            and file.values.label in labels
        ):
            label = labels[file.values.label]
            check_label_limits(file, label, found)
            if areas and sprayers:
                check_places(file, label, areas, sprayers[file.values.sprayer], use, found)
    _missing_files(reading)
    records = _history(reading, areas, labels, now)
    if not found.errors:
        reading.household = _household(reading, areas, sprayers, labels, records)


def _raw_ids(file: TomlFile, kind: str) -> set[str] | None:
    """Ids as written, even where other keys of the file are faulty; None when they cannot be told."""
    tables = file.data.get(kind) if file.readable else None
    if not isinstance(tables, list):
        return None
    ids = [one["id"] for one in tables if isinstance(one, dict) and isinstance(one.get("id"), str)]
    return set(ids) if len(set(ids)) == len(tables) else None


def _missing_files(reading: Reading) -> None:
    found, folder = reading.found, reading.folder
    for kind, files in ((LABELS, reading.labels), (TREATMENTS, reading.treatments)):
        if not files:
            near = [one.name for one in folder.iterdir() if one.is_dir() and one.name != "rules"]
            hint = f'is it in "{near[0]}"?' if len(near) == 1 else f"write one file each into {kind}/"
            found.warnings.append(
                Problem(f"there are no {kind}, so there is nothing to plan", f"{kind}/", hint)
            )
    for file in reading.labels.values():
        used = any(
            one.values is not None and one.values.label == file.id for one in reading.treatments.values()
        )
        if not used and reading.treatments:
            found.note(file, "no treatment uses this label")


def _history(reading: Reading, areas: dict, labels: dict, now: datetime | None) -> tuple[Record, ...]:
    from zoneinfo import ZoneInfo

    from advisor.household.history import HistoryFile

    path, lawn = reading.folder / HISTORY, reading.lawn.values
    if not path.is_file():
        return ()
    history = HistoryFile(
        HISTORY,
        zone=ZoneInfo(lawn.site.time_zone if lawn is not None else "UTC"),
        areas=areas or None,
        treatments={
            name: labels.get(file.values.label) if file.values is not None else None
            for name, file in reading.treatments.items()
        },
        now=now,
        units=reading.found.units,
    ).read(path)
    reading.found.errors += history.errors
    reading.found.warnings += history.warnings
    return tuple(history.records)


def _household(
    reading: Reading, areas: dict, sprayers: dict, labels: dict, records: tuple[Record, ...]
) -> Household:
    from advisor.household import build

    lawn = reading.lawn.values
    return Household(
        name=lawn.name,
        units=lawn.units,
        site=build.site(lawn),
        areas=areas,
        sprayers=sprayers,
        labels=labels,
        treatments={
            name: build.treatment(file, areas, sprayers, labels) for name, file in reading.treatments.items()
        },
        hours=build.hours(lawn.hours),
        notices=build.notices(lawn.notices),
        settings=build.settings(lawn),
        history=records,
        for_hire=lawn.for_hire,
        folder=str(reading.folder),
        licence=build.licence(lawn.licence),
    )


def _place(problem: Problem) -> tuple:
    name, _, line = problem.where.rpartition(":")
    return (name, int(line)) if line.isdigit() else (problem.where, 0)
