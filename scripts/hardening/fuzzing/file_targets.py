"""Readers of the files that people write: rules, household, labels, tables; and of single quantities and times."""

from __future__ import annotations

import io
import os
import shutil
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

from advisor.clock import parse_day, parse_instant
from advisor.errors import InvalidFile, Problem, UsageError
from advisor.household import load
from advisor.household.history import HistoryFile
from advisor.household.lawns import read_lawns
from advisor.recording.checks import check_record
from advisor.recording.details import presumed
from advisor.recording.reading import header_of, is_exported, read_export
from advisor.recording.table import csv_text, presumed_row
from advisor.rule_files import load_rules
from advisor.rulebook.examples import run_examples
from advisor.rulebook.lint import lint
from advisor.rulebook.parse import parse_rule
from advisor.score.kept import parse_history
from advisor.sources.history import read_history
from advisor.units import DIMENSIONS, UnitError, parse
from hardening.fuzzing import scratch, text_changes
from hardening.fuzzing.oracle import Target, message_fault

ROOT = Path(__file__).resolve().parents[3]
FIXTURES = ROOT / "fixtures"
NOW = datetime(2026, 9, 21, 12, tzinfo=UTC)


@cache
def _home(process: int) -> Path:
    """A copy of the demonstration household for this process."""
    folder = scratch.folder()
    shutil.copytree(FIXTURES / "prairie-lawn", folder / "home")
    return folder / "home"


def household_file(name: str):
    """A reader of the household with one of its files replaced."""

    def read(data: bytes):
        home = _home(os.getpid())
        kept = (home / name).read_bytes() if (home / name).exists() else None
        (home / name).write_bytes(data)
        try:
            return load(home, now=NOW)
        finally:
            if kept is None:
                (home / name).unlink()
            else:
                (home / name).write_bytes(kept)

    return read


def _lawns(data: bytes):
    folder = _home(os.getpid()).parent
    (folder / "lawns.toml").write_bytes(data)
    return read_lawns(folder)


@cache
def shipped() -> dict:
    return dict(load_rules().rules)


def _rule(data: bytes):
    """As the household's own rule is read: parsed, held against the shipped ones, its examples run."""
    rule = parse_rule(text_of(data), "rules/own.toml")
    run_examples(rule)
    return lint(shipped(), {rule.id: rule})


def text_of(data: bytes) -> str:
    """As files are opened that must be UTF-8."""
    try:
        return io.TextIOWrapper(io.BytesIO(data), encoding="utf-8-sig").read()
    except UnicodeDecodeError as error:
        raise InvalidFile("is not UTF-8 text", hint="save the file as UTF-8") from error


@cache
def demo_household():
    return load(FIXTURES / "prairie-lawn", now=NOW)


def _past_weather(data: bytes):
    from advisor.quality import control

    forecast = read_history(data, sums="before", latitude=41.6, longitude=-93.6, where="years.csv")
    return [forecast, control(forecast, NOW, age_limit_hours=float("inf"))]


def _import(data: bytes) -> list[Problem]:
    """As `advisor records import` reads and checks."""
    household, text = demo_household(), text_of(data)
    if is_exported(header_of(text)):
        rows, problems = read_export(text, "passes.csv")
    else:
        labels = {name: household.labels.get(one.label) for name, one in household.treatments.items()}
        history = HistoryFile("passes.csv", zone=household.site.zone, areas=None, treatments=labels).parse(
            text
        )
        problems = history.errors
        rows = [(0, one, presumed(household, one)) for one in history.records]
    for _, record, details in rows[:50]:
        check_record(household, record, details, household.history, NOW)
    return problems


def _problems_fault(problems: list[Problem]) -> str:
    return message_fault(InvalidFile("what is wrong", problems=problems)) if problems else ""


def _sites(data: bytes) -> list[Problem]:
    from advisor.batch.sites_file import read_sites

    path = _home(os.getpid()).parent / "sites.csv"
    path.write_bytes(data)
    return read_sites(path, demo_household())[1]


def _kept(data: bytes):
    return parse_history(text_of(data))


def _quantity(data: bytes):
    """A quantity of every dimension; one answer is enough."""
    text, last = data.decode("utf-8", "replace"), None
    for dimension in DIMENSIONS:
        try:
            parse(text, dimension)
        except UnitError as error:
            last = error
    if last is not None:
        raise last


def _instant(data: bytes):
    """An instant or a day; what is neither is refused in the words of both."""
    text, problems = data.decode("utf-8", "replace"), []
    for read in (parse_instant, parse_day):
        try:
            read(text)
        except UsageError as error:
            problems += error.problems
    if len(problems) == 2:
        raise UsageError("neither an instant nor a day", problems=problems)


# seeds ------------------------------------------------------------------------------------------------------------


def texts(*patterns: str) -> list[bytes]:
    return [path.read_bytes() for pattern in patterns for path in sorted(ROOT.glob(pattern))]


def _past_weather_seeds() -> list[bytes]:
    rows = ["time,temp [degF],dewp [degF],wind_speed [mph],wind_dir [deg],precip [in]"]
    rows += [f"2025-06-01T{hour:02}:00Z,{60 + hour},50,{hour % 7},200,0.0" for hour in range(6)]
    meteo = ["latitude,longitude,elevation,utc_offset_seconds,timezone", "41.6,-93.6,262.0,-18000,America/Chicago", "",
             "time,temperature_2m (°C),precipitation (mm)", "2025-06-01T00:00,17.2,0.0",
             "2025-06-01T01:00,16.8,0.2"]  # fmt: skip
    units = ["valid,tmpf,drct", "UTC,degF,deg", "2025-06-01 00:00,61.0,180", "2025-06-01 01:00,M,190"]
    return ["\n".join(one).encode() for one in (rows, meteo, units)]


def _records_seeds() -> list[bytes]:
    household = demo_household()
    exported = csv_text([presumed_row(household, one) for one in household.history[:3]], household)
    return [*texts("fixtures/prairie-lawn/history.csv"), exported.encode()]


def _sites_seeds() -> list[bytes]:
    rows = ["site,latitude,longitude,elevation,time_zone,soil,hollow,use,local_ban,treatment,pass,last_pass",
            "one,41.6,-93.6,880 ft,America/Chicago,silt loam,no,home-lawn,no,broadleaf-autumn,1,",
            "two,34.0,-84.0,,,,yes,,,broadleaf-autumn,2,2026-09-07"]  # fmt: skip
    return ["\n".join(rows).encode(), b"site,latitude,longitude\na,41,-93\n"]


def _lawns_seeds() -> list[bytes]:
    text = 'lawns = ["home"]\ntravel = "20 min"\nevening = "18:00"\n[hours]\nweekdays = "08:00-17:00"\n'
    return [(text + '[[channel]]\nkind = "file"\npath = "round.txt"\n').encode(), b'lawns = ["home"]\n']


def _quantity_seeds() -> list[bytes]:
    texts = (
        "40 degF",
        "1.5 floz/1000 ft^2",
        "10 mph",
        "0.5 in",
        "1,000 sq ft",
        "270 deg",
        "4 lb/gal",
        "20 %",
        "5 °C",
    )
    return [one.encode() for one in texts]


def _kept_seeds() -> list[bytes]:
    lines = (FIXTURES / "prairie-lawn/kept-history.csv").read_bytes().split(b"\n")
    return [b"\n".join(lines[:12])]


def _labelled(pattern: str) -> list[bytes]:
    # those of the other household fit this one in few places
    return [
        *texts(f"fixtures/prairie-lawn/{pattern}/*.toml") * 3,
        *texts(f"fixtures/southern-lawn/{pattern}/*.toml"),
    ]


def file_targets() -> list[Target]:
    """Rules, household, tables, quantities."""
    from hardening.fuzzing.weather_targets import forecasts_fault

    label = sorted(one.name for one in (FIXTURES / "prairie-lawn/labels").iterdir())[0]
    treatment = sorted(one.name for one in (FIXTURES / "prairie-lawn/treatments").iterdir())[0]
    toml, table, word, bad = text_changes.toml, text_changes.table, text_changes.word, (InvalidFile,)
    ours, tables, words = "rules, labels and household", "CSV files", "quantities and instants"
    home = "fixtures/*/lawn.toml"
    return [
        Target("rules", ours, lambda: texts("rules/*.toml"), toml, _rule, bad, _problems_fault, 2.5),
        Target(
            "labels",
            ours,
            lambda: _labelled("labels"),
            toml,
            household_file(f"labels/{label}"),
            bad,
            share=1.5,
        ),
        Target(
            "treatments",
            ours,
            lambda: _labelled("treatments"),
            toml,
            household_file(f"treatments/{treatment}"),
            bad,
        ),
        Target("household", ours, lambda: texts(home), toml, household_file("lawn.toml"), bad, share=2.0),
        Target("several lawns", ours, _lawns_seeds, toml, _lawns, bad),
        Target(
            "household history",
            tables,
            lambda: _records_seeds()[:1],
            table,
            household_file("history.csv"),
            bad,
        ),
        Target(
            "past weather CSV", tables, _past_weather_seeds, table, _past_weather, bad, forecasts_fault, 1.5
        ),
        Target("kept forecasts CSV", tables, _kept_seeds, table, _kept, bad),
        Target("records CSV", tables, _records_seeds, table, _import, bad, _problems_fault, 1.5),
        Target("sites CSV", tables, _sites_seeds, table, _sites, bad, _problems_fault),
        Target("quantities", words, _quantity_seeds, word, _quantity, (UnitError,), share=2.0),
        Target("instants", words, _instant_seeds, word, _instant, (UsageError,)),
    ]


def _instant_seeds() -> list[bytes]:
    return [b"2026-09-21T12:00Z", date(2026, 9, 21).isoformat().encode()]
