"""Everything that a notice was made from, kept with it, so that its verdict can be made again from that alone.

===============  =========================================================================================
weather          the bytes of every answer, with the times at which they counted; what had failed; the past
                 hours that were laid over the forecast
household files  their texts as they were read
rule files       their texts, the shipped ones and the household's own
ledger           passes, what people told of soil and water, choices of the plan, calibrations, as they stood
almanac          the kept almanac's text, which says what waiting is worth
learned state    what the site had taught of its forecasts' errors, where anything was learned
program          the version, since another one may answer otherwise
===============  =========================================================================================

Texts are kept like answers of weather services, by the hash of their bytes: what does not change from one notice to
the next is kept once. The notice names them all, so that tidying up leaves them.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

import advisor
from advisor.errors import InvalidFile, StoreError
from advisor.household import load
from advisor.ledger import read_calibrations, read_ledger, read_plans, read_statements
from advisor.mix.calibration import with_calibrations
from advisor.model import Household, PlanEntry, Record
from advisor.outlook import Outlook, make_outlook
from advisor.rule_files import RuleSet, rules_of
from advisor.spread import Learned
from advisor.statements import Statement, with_statements
from advisor.store import Store, payloads
from advisor.store.encoding import instant, plain, stamp
from advisor.weather import Answers, Failure, Kept, assemble

#: names under which texts are kept
HOUSEHOLD_FILES, RULE_FILES, LEDGER, PAST, ALMANAC, LEARNED = (
    "household-files", "rule-files", "ledger", "past-weather", "almanac", "learned",
)  # fmt: skip
_FORMAT = 1
_ALMANAC_FILE = "almanac.json"


@dataclass(frozen=True, slots=True)
class Ledger:
    """What was recorded, told and chosen, as it stood."""

    records: tuple[Record, ...] = ()
    statements: tuple[Statement, ...] = ()
    plans: tuple[PlanEntry, ...] = ()
    #: calibrated output by sprayer [L/m²]
    calibrations: Mapping[str, float] = field(default_factory=dict)

    @classmethod
    def read(cls, household: Household, database: Path, now: datetime) -> Ledger:
        return cls(
            read_ledger(household, database),
            read_statements(database, now),
            tuple(plan for plan in read_plans(database) if plan.made_at <= now),
            read_calibrations(database, now),
        )


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a verdict rests on.

    Attributes
    ----------
    files : mapping of str to str
        Texts of the household's files by their paths inside its folder.
    almanac : str
        Text of the kept almanac; empty where there is none.
    """

    now: datetime
    files: Mapping[str, str]
    rules: RuleSet
    ledger: Ledger
    answers: Answers
    almanac: str = ""
    learned: Learned | None = None
    version: str = field(default=advisor.__version__)

    def household(self) -> Household:
        """The household that the texts make."""
        with tempfile.TemporaryDirectory(prefix="advisor-replay-") as name:
            folder = Path(name)
            for path, text in self.files.items():
                file = (folder / path).resolve()
                if not file.is_relative_to(folder.resolve()):
                    raise StoreError(f'the evidence names a file outside the household: "{path}"')
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_text(text, encoding="utf-8")
            return load(folder)

    def outlook(self, household: Household | None = None) -> Outlook:
        """The outlook that this makes; the household is read from the texts where it is not given."""
        household = household or self.household()
        weather = assemble(household, self.answers, self.now)
        told = with_calibrations(with_statements(household, self.ledger.statements), self.ledger.calibrations)
        return make_outlook(
            told, weather.forecast, list(self.rules), self.ledger.records, self.now,
            plans=self.ledger.plans, climate=_climate(self.almanac), learned=self.learned,
        )  # fmt: skip


def household_texts(folder: Path) -> dict[str, str]:
    """The texts of the files that `advisor.household.load` reads."""
    paths = [folder / "lawn.toml", folder / "history.csv"]
    paths += sorted((folder / "labels").glob("*.toml")) + sorted((folder / "treatments").glob("*.toml"))
    # what is not UTF-8 is told by `load`, with its line
    return {
        path.relative_to(folder).as_posix(): path.read_bytes().decode("utf-8-sig", errors="replace")
        for path in paths
        if path.is_file()
    }


def load_with_texts(folder: Path) -> tuple[Household, dict[str, str]]:
    """A household and the very texts that it was read from, also where somebody saves a file meanwhile.

    Raises
    ------
    InvalidFile
        With every problem of every file.
    """
    for _ in range(5):
        before = household_texts(folder)
        household = load(folder)
        if household_texts(folder) == before:
            return household, before
    raise InvalidFile("the household's files change while they are read", where=str(folder),
                      hint="try again when they have been saved")  # fmt: skip


def almanac_text(folder: Path) -> str:
    """The text of the kept almanac, empty where there is none or it cannot be read."""
    try:
        return (folder / _ALMANAC_FILE).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


def _climate(text: str) -> Mapping[str, Any]:
    from advisor.almanac import read_kept

    if not text:
        return {}
    try:
        return read_kept(json.loads(text), _ALMANAC_FILE).climate()
    except (ValueError, InvalidFile):
        return {}


# -- keeping


def keep(store: Store, key: str, evidence: Evidence) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Keep the texts; what the notice holds of them, and the hashes that it names.

    Parameters
    ----------
    key : str
        The site's.
    """
    rules = {"shipped": dict(evidence.rules.shipped), "own": dict(evidence.rules.own)}
    ledger = {
        "records": [_flat(one) for one in evidence.ledger.records],
        "statements": [_flat(one) for one in evidence.ledger.statements],
        "plans": [_flat(one) for one in evidence.ledger.plans],
        "calibrations": dict(evidence.ledger.calibrations),
    }
    texts = {
        HOUSEHOLD_FILES: _bytes(dict(evidence.files)),
        RULE_FILES: _bytes(rules),
        LEDGER: _bytes(ledger),
        PAST: evidence.answers.past,
        ALMANAC: evidence.almanac.encode(),
        LEARNED: b"" if evidence.learned is None else evidence.learned.to_json().encode(),
    }
    hashes = {name: _keep_text(store, key, name, body, evidence.now) for name, body in texts.items() if body}
    told = {
        "format": _FORMAT,
        "program": evidence.version,
        "now": stamp(evidence.now),
        "answers": [one.plain() for one in evidence.answers.kept],
        "failures": [{"role": one.role, "source": one.source, "says": one.says} for one in evidence.answers.failures],
        "texts": hashes,
    }
    named = (*(one.sha256 for one in evidence.answers.kept), *hashes.values())
    return told, tuple(dict.fromkeys(named))


def _keep_text(store: Store, key: str, name: str, body: bytes, now: datetime) -> str:
    newest = payloads.newest(store, name, key)
    if newest is None or newest.body != body:
        return payloads.add(store, source=name, site=key, url=name, body=body, fetched_at=now).sha256
    return newest.sha256


def _bytes(value: object) -> bytes:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()


def _flat(one: Record | Statement | PlanEntry) -> dict[str, Any]:
    """A row of the ledger as JSON; times to the microsecond, unlike in the ledger's tables."""
    return {name: _out(value) for name, value in asdict(one).items()}


def _out(value: Any) -> Any:
    return value.isoformat() if isinstance(value, (datetime, date)) else plain(value)


# -- reading it again


def restore(store: Store, notice_id: str, told: Mapping[str, Any]) -> Evidence:
    """What `keep` kept.

    Raises
    ------
    StoreError
        When the notice was kept without it, or a part is gone.
    """
    replayable = told.get("replay") if isinstance(told, Mapping) else None
    if not isinstance(replayable, Mapping) or replayable.get("format") != _FORMAT:
        raise StoreError(
            f"notice {notice_id} was kept without everything that it was made from",
            hint="only notices of this version of the program and later ones can be made again",
        )
    texts = {name: _body(store, sha256, name) for name, sha256 in replayable["texts"].items()}
    rules = json.loads(texts[RULE_FILES])
    kept = tuple(Kept.read(one, _body(store, one["sha256"], one["source"])) for one in replayable["answers"])
    failures = tuple(Failure(one["role"], one["source"], one["says"]) for one in replayable["failures"])
    ledger = json.loads(texts[LEDGER])
    return Evidence(
        now=instant(replayable["now"]),
        files=json.loads(texts[HOUSEHOLD_FILES]),
        rules=rules_of(rules["shipped"], rules["own"]),
        ledger=Ledger(
            tuple(_row(Record, one) for one in ledger["records"]),
            tuple(_row(Statement, one) for one in ledger["statements"]),
            tuple(_row(PlanEntry, one) for one in ledger["plans"]),
            ledger.get("calibrations", {}),
        ),
        answers=Answers(kept, failures, texts.get(PAST, b"")),
        almanac=texts.get(ALMANAC, b"").decode(),
        learned=Learned.from_json(texts[LEARNED].decode()) if LEARNED in texts else None,
        version=replayable["program"],
    )


def _body(store: Store, sha256: str, name: str) -> bytes:
    body = payloads.body(store, sha256)
    if body is None:
        raise StoreError(f"the evidence is not complete: {name} ({sha256[:12]}) is gone", where=str(store.path))
    return body


_INSTANTS = ("started_at", "ended_at", "stated_at", "made_at")
_DAYS = ("on", "day")


def _row(kind: type, flat: Mapping[str, Any]):
    """A row of the ledger again. What a later version has added to it stands at its default."""
    known = {one.name for one in fields(kind)}
    values = {}
    for name, value in flat.items():
        if name not in known:
            continue
        if value is not None and name in _INSTANTS:
            value = datetime.fromisoformat(value)
        elif value is not None and name in _DAYS:
            value = date.fromisoformat(value)
        elif isinstance(value, list):
            value = tuple(value)
        values[name] = value
    return kind(**values)

