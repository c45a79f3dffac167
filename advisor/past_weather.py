"""Years of past weather for a household: from files, from kept answers of the archive, or asked for and kept.

And the almanac that is kept beside the household's files.
"""

from __future__ import annotations

import gzip
import json
import os
import tempfile
from collections.abc import Callable, Iterable
from datetime import date, datetime, timedelta
from pathlib import Path

from advisor.almanac import KeptAlmanac, join_history, read_kept
from advisor.errors import InvalidFile, WeatherError
from advisor.forecast import Forecast
from advisor.model import Household
from advisor.sources import check_place, read_answer
from advisor.sources.history import read_history
from advisor.sources.openmeteo import archive_request
from advisor.store import Store, payloads
from advisor.weather import site_key

#: kept under a name of their own, so that no past year is ever taken for a forecast
ARCHIVE = "open-meteo-archive"
ALMANAC_FILE = "almanac.json"
#: the archive begins here
EARLIEST_YEAR = 1940
#: the archive's newest days are filled in later [days]
ARCHIVE_LAG_DAYS = 6


def read_files(
    paths: Iterable[Path], household: Household, *, zone: str = "UTC", sums: str | None = None
) -> list[Forecast]:
    """Past weather from CSV files, or from stored answers of an archive; `.gz` is unpacked.

    Raises
    ------
    InvalidFile, WeatherError
        When one cannot be read, is no past weather, or is of another place.
    """
    site = household.site
    found = []
    for path in paths:
        try:
            body = path.read_bytes()
            body = gzip.decompress(body) if path.suffix == ".gz" else body
        except (OSError, EOFError, gzip.BadGzipFile) as error:
            raise InvalidFile(f"the history cannot be read: {error}", where=str(path)) from error
        if body.lstrip()[:1] in (b"{", b"["):
            forecast = read_answer(body, latitude=site.latitude, longitude=site.longitude)
        else:
            forecast = read_history(
                body, zone=zone, sums=sums, latitude=site.latitude, longitude=site.longitude, where=path.name
            )
        found.append(forecast)
    return found


def _year_key(household: Household, year: int) -> str:
    """A key a year, so that tidying up, which leaves the newest answer of each key, leaves every year."""
    return f"{site_key(household.site)}/{year}"


def kept_years(household: Household, database: Path, now: datetime) -> list[Forecast]:
    """Kept answers of the archive for the household's place, newest year first. Nothing is created."""
    if not database.exists():
        return []
    with Store.open_readonly(database) as store:
        years = range(now.year, EARLIEST_YEAR - 1, -1)
        kept = [payloads.newest(store, ARCHIVE, _year_key(household, year)) for year in years]
    out = []
    for payload in filter(None, kept):
        forecast = read_answer(payload.body, fetched_at=payload.confirmed_at)
        check_place(forecast, household.site.latitude, household.site.longitude)
        out.append(forecast)
    return out


def fetch_years(
    household: Household,
    store: Store,
    years: int,
    now: datetime,
    progress: Callable[[int, int], None] | None = None,
    **options,
) -> None:
    """Ask the archive for whole years up to now, a request a year, and keep what it says; years kept already are not
    asked again."""
    from advisor.transport import fetch

    site = household.site
    base = (household.settings.source_hosts or {}).get(ARCHIVE)
    last = now.date() - timedelta(days=ARCHIVE_LAG_DAYS)
    spans = list(year_spans(last, years))
    for position, (first, until) in enumerate(spans):
        request = archive_request(site.latitude, site.longitude, first.isoformat(), until.isoformat(), base=base)
        key = _year_key(household, first.year)
        held = payloads.newest(store, ARCHIVE, key)
        if held is None or held.url != request.shown:
            answer = fetch(request, contact=household.settings.contact, now=now, **options)
            read_answer(answer.body, fetched_at=now, latitude=site.latitude, longitude=site.longitude)
            payloads.add(store, source=ARCHIVE, site=key, url=answer.url, body=answer.body,
                         fetched_at=answer.fetched_at, status=answer.status, headers=answer.headers)  # fmt: skip
        if progress is not None:
            progress(position + 1, len(spans))


def year_spans(last: date, years: int) -> Iterable[tuple[date, date]]:
    """Calendar years back from a day: the present one to that day, then whole ones."""
    yield date(last.year, 1, 1), last
    for back in range(1, years + 1):
        yield date(last.year - back, 1, 1), date(last.year - back, 12, 31)


def joined(parts: list[Forecast]) -> Forecast:
    """One history of all parts.

    Raises
    ------
    WeatherError
        When there is none.
    """
    if not parts:
        raise WeatherError(
            "no past weather is kept for this household",
            hint="give a file, advisor almanac --history FILE, or let years be asked for, advisor almanac --fetch 10",
        )
    return join_history(parts)


def write_kept(folder: Path, data: dict) -> Path:
    """Keep an almanac's frequencies in the household's folder; whole or not at all."""
    path = folder / ALMANAC_FILE
    handle, name = tempfile.mkstemp(prefix=".almanac-", dir=folder)
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(data, file, allow_nan=False)
            file.write("\n")
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path


def load_kept(folder: Path) -> KeptAlmanac | None:
    """The kept almanac of a household; None where there is none.

    Raises
    ------
    InvalidFile
        When the file is damaged.
    """
    path = folder / ALMANAC_FILE
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidFile(f"the kept almanac cannot be read: {error}", where=str(path)) from error
    try:
        data = json.loads(text)
    except ValueError as error:
        hint = "make it again: advisor almanac"
        raise InvalidFile(f"the kept almanac is damaged: {error}", where=str(path), hint=hint) from error
    return read_kept(data, str(path))
