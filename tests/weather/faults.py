"""What becomes of a verdict under every fault of every provider: shared by the test and by the script that prints it.

Three situations for each fault: nothing is kept, the last good answer is three hours old, it is twenty hours old.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from weather_server import FAULTS, PROVIDERS, WeatherServer, closed_port

from advisor.errors import WeatherError
from advisor.model import Household
from advisor.outlook import Day, make_outlook
from advisor.rule_files import load_rules
from advisor.store import Store
from advisor.transport import new_session
from advisor.weather import current, pull
from weather.households import NOW, with_weather

REFUSED = "refused"
ALL_FAULTS = (REFUSED, *FAULTS)
#: small for the faults that are waited out; ample for all others, so that a busy computer makes no fault of its own
QUICK = {"timeout": (3.0, 0.3), "deadline": 0.4, "body_limit": 1_000_000}
AMPLE = {"timeout": (5.0, 5.0), "deadline": 20.0, "body_limit": 1_000_000}
#: hours since the last good answer, by situation
SITUATIONS: dict[str, float | None] = {"nothing kept": None, "kept for 3 h": 3.0, "kept for 20 h": 20.0}

#: faults that do no harm
HARMLESS = ("redirect-301", "status-203")
#: what a person must be told, by fault
WORDS: dict[str, str] = {
    "refused": "it refuses connections",
    "reset": "the connection broke in the middle of the answer",
    "slow-headers": "127.0.0.1",  # was silent, or broke the connection off
    "slow-body": "the answer was not complete after 0.4 s",
    "redirect-301": "",
    "redirect-loop": "redirects in circles",
    "status-203": "deprecated or in trial (203)",
    "status-304": "nothing changed, but was not asked that",
    "status-403": "refuses to answer (status 403)",
    "status-404": "no forecast for this place (status 404): Unable to provide data",
    "status-429-seconds": "asked too often: Hourly limit exceeded.",
    "status-429-date": "asked too often",
    "status-500": "trouble (status 500): An unexpected problem has occurred.",
    "status-503": "trouble (status 503)",
    "html": "sent a web page in place of weather data",
    "html-200-json-type": 'a web page, which says "Access Denied"',
    "truncated": "the answer is cut off",
    "short-body": "the connection broke in the middle of the answer",
    "invalid-json": "the answer is not valid JSON",
    "empty": "the answer is empty",
    "wrong-type": 'something of the kind "image/png"',
    "wrong-units": "mean wind speed at 10 m: the source states a unit that is not known here",
    "nulls": "the forecast is stale: none of its periods holds the present hour",
    "stale": "the forecast is stale: it is 2",  # 288 to 290 h old
    "other-place": "km from the site",
    "huge": "the answer is larger than 0.954 MB",
    "gzip-bomb": "the answer is larger than 0.954 MB",
    "damaged-gzip": "the answer is compressed and damaged",
}
#: Open-Meteo does not say when it was issued
EXCEPTIONS = {
    ("stale", "open-meteo"): "none of its periods holds the present hour",
}
RULES = list(load_rules())


def words(fault: str, provider: str) -> str:
    return EXCEPTIONS.get((fault, provider), WORDS[fault])


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a person gets today and on the days after, and everything they are told of the weather."""

    today: Day
    verdicts: tuple[str, ...]
    told: str
    failed: str

    @property
    def reasons(self) -> str:
        return " ".join(one.text for one in self.today.reasons if one.verdict == "unknown")


def outcome(
    household: Household, provider: str, fault: str, folder: Path, kept_hours: float | None, second: str | None = None
) -> Outcome:
    """One row: perhaps a good answer some hours ago, now a pull under the fault, and the verdicts after it.

    `second` is a source after it in the household's list, which is in order.
    """
    patience = QUICK if fault.startswith("slow") else AMPLE
    database = folder / f"{provider}-{fault}-{kept_hours}-{second}.db"
    names = (provider, second) if second else (provider,)
    with WeatherServer(now=NOW) as server, new_session(attempts=0) as session:
        server.size = {"days": 4}
        hosts = dict.fromkeys(names, server.base)
        one = with_weather(household, sources=names, source_hosts=hosts, warnings=False, observations=False)
        if kept_hours is not None:
            database.write_bytes(_after_a_good_pull(one, server, session, kept_hours))
        if fault == REFUSED:
            one = with_weather(one, source_hosts={**hosts, provider: closed_port()})
        else:
            server.part_faults = {provider: fault}
        with Store.open(database) as store:
            failed = ""
            try:
                pull(one, store, NOW, session=session, **patience)
            except WeatherError as error:
                failed = str(error)
            weather, _ = current(one, store, NOW)
    outlook = make_outlook(one, weather.forecast, RULES, [], NOW, 2)
    days = outlook.tasks[0].days
    return Outcome(days[0], tuple(day.verdict for day in days), "; ".join(weather.forecast.provenance.notes), failed)


_GOOD: dict[tuple, bytes] = {}


def _after_a_good_pull(household: Household, server: WeatherServer, session, hours: float) -> bytes:
    """A database that holds a good answer, made once for all faults."""
    key = (*household.settings.sources, hours)
    if key not in _GOOD:
        server.now = NOW - timedelta(hours=hours)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "good.db"
            with Store.open(path) as store:
                pull(household, store, server.now, session=session, **AMPLE)
            _GOOD[key] = path.read_bytes()
        server.now = NOW
    return _GOOD[key]


__all__ = ["ALL_FAULTS", "HARMLESS", "NOW", "PROVIDERS", "SITUATIONS", "Outcome", "outcome", "words"]
