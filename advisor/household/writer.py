"""Write a new household's folder: commented files, whole or not at all."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from string import Template

from advisor.errors import UsageError


@dataclass(frozen=True, slots=True)
class InitAnswers:
    """What `advisor init` asks; the rest is written as comments to fill in.

    Coordinates are degrees, north and east positive; quantities are text with a unit, "" where not known. The
    size and the turf have no default: a mix for a lawn of another size, or for other turf, does harm.
    """

    latitude: float
    longitude: float
    area_size: str
    turf: tuple[str, ...]
    units: str = "us"
    name: str = "Our lawn"
    #: asked of the map of time zones when None
    time_zone: str | None = None
    area_name: str = "lawn"
    soil: str = ""
    elevation: str = ""
    first_frost: str = ""
    #: one of `advisor.model.SiteUse`
    use: str = ""
    #: None where nobody has asked yet
    local_ban: bool | None = None
    #: False says that there is no irrigation; None that nobody has said
    irrigated: bool | None = None
    carrier_rate: str = ""
    tank: str = ""
    hours_weekdays: str = "17:00-20:00"
    hours_weekend: str = "08:00-18:00"
    target: str = "broadleaf weeds"
    contact: str = ""
    sources: tuple[str, ...] = ("open-meteo",)


def write_new(folder: Path | str, answers: InitAnswers, *, overwrite: bool = False) -> list[Path]:
    """Write lawn.toml, a label and a treatment to fill in, and a .gitignore; returns what was written.

    A folder that does not exist appears whole, by one rename. In a folder that exists each file is renamed
    into its place when all of them are written and have been read back.

    Raises
    ------
    UsageError
        When a file is there already and `overwrite` is not set, or an answer cannot be written.
    """
    folder = Path(folder)
    texts = render(answers)
    _refuse(folder, texts, overwrite)
    base = folder if folder.exists() else folder.parent
    base.mkdir(parents=True, exist_ok=True)
    work = Path(tempfile.mkdtemp(prefix=".new-household-", dir=base))
    try:
        for name, text in texts.items():
            path = work / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        _prove(work, folder)
        if base is not folder:
            work.chmod(0o755)
            work.rename(folder)
        else:
            for name in texts:
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                (work / name).replace(folder / name)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return [folder / name for name in texts]


def _refuse(folder: Path, texts: dict[str, str], overwrite: bool) -> None:
    if folder.exists() and not folder.is_dir():
        raise UsageError("this is a file, not a folder", where=str(folder), hint="name another folder")
    there = [name for name in texts if (folder / name).exists()]
    if there and not overwrite:
        what = f"{', '.join(there)} would be overwritten"
        raise UsageError(
            what, where=str(folder), hint="name another folder, or say that they may be overwritten"
        )


def _prove(work: Path, folder: Path) -> None:
    """What was written must load; an answer that does not is the asker's to correct."""
    from advisor.errors import InvalidFile
    from advisor.household.reader import load

    try:
        load(work)
    except InvalidFile as error:
        what = "the answers do not make a household that can be read"
        raise UsageError(what, where=str(folder), problems=error.problems) from error


def render(answers: InitAnswers) -> dict[str, str]:
    """The texts of a new household's files, by their names inside the folder."""
    from advisor.household import templates

    us = answers.units == "us"
    carrier = "1 gal/1000 ft^2" if us else "0.05 L/m^2"
    ban = "false" if answers.local_ban is None else str(answers.local_ban).lower()
    values = {
        "name": quoted(answers.name),
        "units": quoted(answers.units),
        "contact": quoted(answers.contact),
        "latitude": _number(answers.latitude),
        "longitude": _number(answers.longitude),
        "time_zone": quoted(answers.time_zone or zone_of(answers.latitude, answers.longitude)),
        "elevation": _or_comment("elevation", answers.elevation, "870 ft" if us else "120 m"),
        "soil": _or_comment("soil", answers.soil, "silt loam"),
        "first_frost": _or_comment(
            "first_frost", answers.first_frost, "10-05" if answers.latitude >= 0 else "05-10"
        ),
        "area_name": quoted(answers.area_name),
        "area_size": quoted(answers.area_size),
        "use": _or_comment("use", answers.use, "home-lawn"),
        "local_ban": f"{'# ' if answers.local_ban is None else ''}local_ban = {ban}",
        "irrigation": _or_comment("irrigation", "none" if answers.irrigated is False else "", "none"),
        "carrier_rate": _or_comment("carrier_rate", answers.carrier_rate, carrier),
        "turf": "[" + ", ".join(quoted(one) for one in answers.turf) + "]",
        "tank": quoted(answers.tank or ("4 gal" if us else "15 L")),
        "hours_weekdays": quoted(answers.hours_weekdays or "none"),
        "hours_weekend": quoted(answers.hours_weekend or "none"),
        "sources": "[" + ", ".join(quoted(one) for one in answers.sources) + "]",
        "target": quoted(answers.target),
        **(templates.US_EXAMPLES if us else templates.METRIC_EXAMPLES),
    }
    return {name: _fill(text, values) for name, text in templates.FILES.items()}


def _fill(text: str, values: dict[str, str]) -> str:
    """A template with its words filled in and its comments put into one column."""
    lines = []
    for line in text.split("\n"):
        code, mark, comment = line.partition(" § ")
        code = Template(code).substitute(values)
        lines.append(f"{code:<29} # {Template(comment).substitute(values)}" if mark else code)
    return "\n".join(lines)


def zone_of(latitude: float, longitude: float) -> str:
    """The time zone at a place.

    Raises
    ------
    UsageError
        For coordinates outside the globe, or at sea without a zone.
    """
    from advisor.household.check_lawn import zones_at

    if not (-90.0 <= latitude <= 90.0 and -180.0 <= longitude <= 180.0):
        what = f"latitude {latitude} and longitude {longitude} are not a place"
        raise UsageError(what, hint="latitude lies between -90 and 90, longitude between -180 and 180")
    zones = zones_at(latitude, longitude)
    if not zones:
        what = f"no time zone is known at {latitude}, {longitude}"
        raise UsageError(what, hint='check the coordinates, or name the time zone, such as "America/Chicago"')
    return zones[0]


def quoted(text: str) -> str:
    """Text as a TOML basic string."""
    escapes = {"\\": "\\\\", '"': '\\"', "\n": "\\n", "\t": "\\t", "\r": "\\r"}
    return (
        '"'
        + "".join(escapes.get(one, one if one.isprintable() else f"\\U{ord(one):08X}") for one in text)
        + '"'
    )


def _number(value: float) -> str:
    return f"{float(value)!r}"


def _or_comment(key: str, value: str, such_as: str) -> str:
    return f"{key} = {quoted(value)}" if value else f"# {key} = {quoted(such_as)}"
