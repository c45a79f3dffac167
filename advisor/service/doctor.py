"""Is everything in order? One finding a subject, each with what to do: files, rules, database, sources, clock,
scheduler, channels."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path

from advisor.clock import iso
from advisor.errors import AdvisorError, InvalidFile, NotDelivered, Problem, SourceUnreachable, StoreError
from advisor.household import check as check_folder
from advisor.household import load
from advisor.model import Household
from advisor.notify import build_channel, named
from advisor.quality import age_limit
from advisor.rule_files import load_rules
from advisor.service.due import HEARTBEAT
from advisor.service.health import REMEMBERED, check, failed_deliveries
from advisor.store import Store, marks, payloads
from advisor.store.encoding import instant
from advisor.weather import site_key

#: what a clock may be off by before it is spoken of
_SKEW = timedelta(minutes=5)


@dataclass(frozen=True, slots=True)
class Finding:
    """`fix` says what to do where it is not `ok`; `exit_status` is that of the class of error it is."""

    name: str
    ok: bool
    says: str
    fix: str = ""
    exit_status: int = 0


def examine(folder: Path, now: datetime) -> list[Finding]:
    """Everything about a household's folder and the service that works in it.

    Parameters
    ----------
    now : datetime
        Real time.
    """
    found = [*_files(folder, now)]
    try:
        household = load(folder, now=now)
    except AdvisorError:
        household = None
    found.append(_rules(folder))
    database = folder / "advisor.db"
    found.append(_database(database))
    if not database.exists() or not found[-1].ok:
        fix = "start it: advisor serve" if not database.exists() else "repair the database first"
        found.append(Finding("scheduler", False, "the service has never run", fix, 1))
        return [*found, *(_channels(household, folder, None, now) if household is not None else ())]
    with Store.open_readonly(database) as store:
        if household is not None:
            found += _sources(household, store, service_time(store, now))
        found.append(_clock(household, store, now))
        found += _scheduler(store, now)
        if household is not None:
            found += _channels(household, folder, store, now)
    return found


def service_time(store: Store, now: datetime) -> datetime:
    """The time by the service's own clock, which in a demonstration may run faster."""
    beat = marks.get(store, HEARTBEAT)
    real_at = None if beat is None else instant(beat.data.get("real_at"))
    if beat is None or real_at is None or abs(beat.at - real_at) < _SKEW:
        return now
    return beat.at + max(now - real_at, timedelta(0))


def _files(folder: Path, now: datetime) -> Iterator[Finding]:
    try:
        report = check_folder(folder, now=now)
    except AdvisorError as error:
        yield Finding("files", False, error.what, error.hint or "advisor check says more", InvalidFile.exit_status)
        return
    if report.errors:
        first = report.errors[0]
        more = f", and {len(report.errors) - 1} more" if len(report.errors) > 1 else ""
        yield Finding("files", False, f"{_place(first)}{more}", first.hint or "advisor check", InvalidFile.exit_status)
        return
    todo = f"; {len(report.warnings)} to do before any go, see advisor check" if report.warnings else ""
    yield Finding("files", True, f"{folder} is complete{todo}")


def _place(problem: Problem) -> str:
    return f"{problem.where}: {problem.what}" if problem.where else problem.what


def _rules(folder: Path) -> Finding:
    try:
        rules = load_rules(folder / "rules")
    except InvalidFile as error:
        first = error.problems[0]
        return Finding("rules", False, _place(first), first.hint or "advisor rules lint", InvalidFile.exit_status)
    return Finding("rules", True, f"{len(rules.rules)} valid (version {rules.version})")


def _database(path: Path) -> Finding:
    if not path.exists():
        if os.access(path.parent, os.W_OK):
            return Finding("database", True, "none yet; it is made when the service starts")
        return Finding("database", False, f"{path.parent} cannot be written to", "give this user the folder", 1)
    try:
        with Store.open_readonly(path) as store:
            problems = store.integrity_check()
            version = store.version
            breaks = () if problems else store.verify_records().breaks
    except StoreError as error:
        return Finding("database", False, error.what, error.hint, error.exit_status)
    if problems:
        return Finding("database", False, problems[0].what, problems[0].hint, 1)
    if breaks:
        one = breaks[0]
        more = f", and {len(breaks) - 1} more" if len(breaks) > 1 else ""
        return Finding("database", False, f'record "{one.id}" (row {one.row}): {one.what}{more}',
                       "advisor records --verify says what to do", 1)  # fmt: skip
    if not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
        return Finding("database", False, f"{path} cannot be written to by this user", "run as its owner", 1)
    size = path.stat().st_size / 1e6
    return Finding("database", True, f"whole, tables of version {version}, {size:.1f} MB")


def _sources(household: Household, store: Store, now: datetime) -> Iterator[Finding]:
    key, status = site_key(household.site), SourceUnreachable.exit_status
    for name in household.settings.sources:
        newest = payloads.newest(store, name, key)
        if newest is None:
            used = name == household.settings.sources[0]
            fix = "see the log for why; check the network and the address" if used else ""
            yield Finding(f"source {name}", not used, "has never been asked with success" if used else
                          "never asked: the ones before it answered", fix, status if used else 0)  # fmt: skip
            continue
        age, limit = (now - newest.confirmed_at) / timedelta(hours=1), age_limit(name)
        old = age > limit
        first = name == household.settings.sources[0]
        says = f"last answered {age:.1f} h ago ({iso(newest.confirmed_at)}; believed for {limit:g} h)"
        fix = "check the network; until it answers nothing is a go" if old and first else ""
        yield Finding(f"source {name}", not (old and first), says, fix, status if old and first else 0)


def _clock(household: Household | None, store: Store, now: datetime) -> Finding:
    zone = "" if household is None else f", {now.astimezone(household.site.zone):%H:%M} in {household.site.zone.key}"
    beat = marks.get(store, HEARTBEAT)
    real_at = None if beat is None else instant(beat.data.get("real_at"))
    if real_at is not None and real_at - now > _SKEW:
        return Finding("clock", False, f"it shows {iso(now)}, and the service has seen {iso(real_at)} already",
                       "set the computer's clock; see whether it asks a time server", 1)  # fmt: skip
    own_clock = service_time(store, now) != now
    skew = None if household is None or own_clock else _skew(household, store)
    if skew is not None and abs(skew) > _SKEW:
        minutes = abs(skew) / timedelta(minutes=1)
        word = "ahead of" if skew > timedelta(0) else "behind"
        return Finding("clock", False, f"it was {minutes:.0f} min {word} that of the weather service",
                       "set the computer's clock; see whether it asks a time server", 1)  # fmt: skip
    return Finding("clock", True, f"{iso(now)}{zone}")


def _skew(household: Household, store: Store) -> timedelta | None:
    """This clock against the one of the service that answered last, from its own Date header."""
    key = site_key(household.site)
    found = [payloads.newest(store, name, key) for name in household.settings.sources]
    for payload in sorted((one for one in found if one is not None), key=lambda one: one.fetched_at, reverse=True):
        stated = payload.headers.get("date")
        try:
            said = parsedate_to_datetime(stated) if stated else None
        except ValueError:
            said = None
        # An answer out of a cache on the way says how old it is; its date tells nothing of the clock.
        if said is not None and "age" not in payload.headers:
            return payload.fetched_at - said.replace(tzinfo=said.tzinfo or UTC)
    return None


def _scheduler(store: Store, now: datetime) -> Iterator[Finding]:
    problems = check(store, now, deliveries=False)
    if not problems:
        beat = marks.get(store, HEARTBEAT)
        yield Finding("scheduler", True, f"alive, last beat {iso(instant(beat.data.get('real_at')) or beat.at)}")
    for problem in problems:
        yield Finding("scheduler", False, problem.what, problem.hint or "see the last lines of its log", 1)


def _channels(household: Household, folder: Path, store: Store | None, now: datetime) -> Iterator[Finding]:
    if not household.notices.channels:
        yield Finding("channels", False, "none is named, so notices go nowhere",
                      "add a [[notices.channel]] table to lawn.toml", NotDelivered.exit_status)  # fmt: skip
        return
    failed = {} if store is None else failed_deliveries(store, service_time(store, now) - REMEMBERED)
    try:
        plans = named(household.notices.channels)
    except InvalidFile as error:
        yield Finding("channels", False, error.what, error.hint, error.exit_status)
        return
    for name, plan in plans.items():
        try:
            build_channel(plan, name, folder)
        except InvalidFile as error:
            yield Finding(f"channel {name}", False, error.what, error.hint, error.exit_status)
            continue
        rows = failed.get(name, ())
        if rows:
            says = f"{len(rows)} of the last day's notices did not arrive for certain: {rows[-1].last_error}"
            yield Finding(f"channel {name}", False, says, f"advisor notice --test {name}", NotDelivered.exit_status)
        else:
            yield Finding(f"channel {name}", True, f"{plan['kind']}, ready")
