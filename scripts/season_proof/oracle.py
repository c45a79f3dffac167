"""Was every due notice told, once? Worked out from what happened, without the code that decides what is due.

Times of notices are found by looking at the wall clock minute by minute; follow-ups from the dates of the passes;
arrivals from what the receivers wrote down.
"""

from __future__ import annotations

import itertools
import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from advisor.store import Store

from .world import ZONE, World

EVENING, MORNING, GRACE = time(18, 30), time(6, 0), timedelta(hours=4)
QUIET_FROM, QUIET_UNTIL, ON_TIME = time(21, 0), time(6, 0), timedelta(minutes=30)
BELIEVED, SOURCE_NEWS = timedelta(hours=12), timedelta(days=7)
#: the longest wait between two attempts at a channel, and a beat
_PATIENCE = timedelta(minutes=95)
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Beat:
    true: datetime
    now: datetime
    whole: bool
    said: dict


@dataclass
class Findings:
    expected: Counter = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    doubled: list[str] = field(default_factory=list)
    #: told although nothing called for it
    unasked: list[str] = field(default_factory=list)
    false_go: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    #: by (channel, state)
    deliveries: Counter = field(default_factory=Counter)
    arrived: Counter = field(default_factory=Counter)
    notices: Counter = field(default_factory=Counter)

    @property
    def clean(self) -> bool:
        return not (self.lost or self.doubled or self.unasked or self.false_go or self.faults)


def read_lines(path: Path) -> list[dict]:
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def read_beats(folder: Path) -> list[Beat]:
    """Every beat that began; those that a kill cut off are not whole."""
    beats: list[Beat] = []
    for said in read_lines(folder / "beats.jsonl"):
        true, now = datetime.fromisoformat(said["true"]), datetime.fromisoformat(said["now"])
        if said["word"] == "begin":
            beats.append(Beat(true, now, False, said))
        else:
            beats[-1] = Beat(true, now, True, said)
    return beats


def judge(folder: Path, world: World) -> Findings:
    found, beats = Findings(), read_beats(folder)
    with Store.open_readonly(folder / "advisor.db") as store, store.read() as connection:
        rows = [dict(row) for row in connection.execute("SELECT * FROM notices ORDER BY row")]
        outbox = [dict(row) for row in connection.execute("SELECT * FROM outbox ORDER BY id")]
        records = [dict(row) for row in connection.execute("SELECT * FROM records ORDER BY started_at")]
        found.faults += [str(problem) for problem in store.integrity_check()]
        found.faults += [f"record {one.id or one.row}: {one.what}" for one in store.verify_records().breaks]
    found.notices.update(row["kind"] for row in rows)
    _stated(found, beats, rows, world)
    _dated(found, beats, rows, records)
    _silence(found, beats, rows)
    _closing(found, beats, rows)
    _arrivals(found, folder, beats, rows, outbox, world)
    for beat in beats:
        if beat.whole:
            found.faults += beat.said["errors"]
            silent = beat.said["answered"] is None or beat.now - _at(beat.said["answered"]) >= BELIEVED
            if not (quiet(beat.now) or silent or beat.said["behind"]):
                found.false_go += [f"at {beat.now.isoformat()}"] if beat.said["false_go"] else []
                found.lost += (
                    [f"a go of which nobody was told, at {beat.now}"] if beat.said["missed_go"] else []
                )
    return found


# -- notices of stated times


def _stated(found: Findings, beats: list[Beat], rows: list[dict], world: World) -> None:
    told = Counter((row["kind"], row["local_date"]) for row in rows if row["kind"] in ("evening", "morning"))
    first, last = min(beat.now for beat in beats), max(beat.now for beat in beats)
    day = first.astimezone(ZONE).date() - DAY
    while day <= last.astimezone(ZONE).date():
        for kind, at in (("evening", EVENING), ("morning", MORNING)):
            planned = first_instant(day, at)
            inside = [
                beat for beat in beats if planned <= beat.now <= planned + GRACE and _may(beat.now, planned)
            ]
            _count(
                found, f"{kind} of {day}", told.pop((kind, str(day)), 0),
                must=any(beat.whole and beat.said["open"] for beat in inside), may=bool(inside),
            )  # fmt: skip
            found.expected[kind] += any(beat.whole and beat.said["open"] for beat in inside)
        day += DAY
    found.unasked += [f"{kind} of {when}" for (kind, when), count in told.items() if count]


def _may(now: datetime, planned: datetime) -> bool:
    return now - planned <= ON_TIME or not quiet(now)


def _count(found: Findings, name: str, count: int, *, must: bool, may: bool) -> None:
    if must and not count:
        found.lost.append(name)
    if count > 1:
        found.doubled.append(name)
    if count and not may:
        found.unasked.append(name)


def quiet(now: datetime) -> bool:
    local = now.astimezone(ZONE).time()
    return local >= QUIET_FROM or local < QUIET_UNTIL


def first_instant(day: date, at: time) -> datetime:
    """The first minute at which the clock in Chicago shows `at` on `day`, or has just skipped it."""
    moment = datetime(day.year, day.month, day.day, tzinfo=UTC)
    while moment.astimezone(ZONE).replace(tzinfo=None) < datetime.combine(day, at):  # noqa: DTZ001
        moment += timedelta(minutes=1)
    return moment


# -- notices that follow from passes


def _dated(found: Findings, beats: list[Beat], rows: list[dict], records: list[dict]) -> None:
    kinds = ("follow-up", "overdue", "review")
    told = Counter((row["kind"], row["local_date"]) for row in rows if row["kind"] in kinds)
    wanted: dict[tuple[str, str], list[tuple[datetime, datetime, str, datetime]]] = {}
    for record in records:
        ended, started = _at(record["ended_at"]), _at(record["started_at"])
        after = min((_at(one["started_at"]) for one in records
                     if one["area"] == record["area"] and _at(one["started_at"]) > started), default=None)  # fmt: skip
        begins, ends = ended + 14 * DAY, ended + 21 * DAY
        local = [moment.astimezone(ZONE).date() for moment in (begins, ends, ended)]
        morning = first_instant(local[0], MORNING)
        written = _at(record["written_at"])
        for kind, day, since, until, limit in (
            ("follow-up", local[0], morning, min(morning + 7 * DAY, ends), after),
            ("overdue", local[1] + DAY, first_instant(local[1] + DAY, MORNING), None, after),
            ("review", local[2] + 3 * DAY, first_instant(local[2] + 3 * DAY, MORNING), None, None),
        ):
            until = until or since + (14 if kind == "overdue" else 7) * DAY
            wanted.setdefault((kind, str(day)), []).append((since, until, limit, written))
    for (kind, day), spans in sorted(wanted.items()):
        inside = [
            beat for beat in beats
            for since, until, limit, written in spans
            if since <= beat.now <= until and not quiet(beat.now) and written <= beat.true
            and (limit is None or beat.now < limit)
        ]  # fmt: skip
        must = any(beat.whole for beat in inside)
        _count(found, f"{kind} of {day}", told.pop((kind, day), 0), must=must, may=bool(inside))
        found.expected[kind] += must
    found.unasked += [f"{kind} of {when}" for (kind, when), count in told.items() if count]


# -- silence of the sources


def _silence(found: Findings, beats: list[Beat], rows: list[dict]) -> None:
    """Each silence once, by the moment from which its last answer is believed no more."""
    told = Counter(
        (row["local_date"], row["task"].rpartition(":")[2]) for row in rows if row["kind"] == "source-down"
    )
    must = set()
    for beat in beats:
        if not beat.whole or beat.said["answered"] is None or beat.said["behind"]:
            continue
        planned = _at(beat.said["answered"]) + BELIEVED
        if planned <= beat.now <= planned + SOURCE_NEWS and not quiet(beat.now) and beat.said["open"]:
            must.add((str(planned.astimezone(ZONE).date()), f"{planned:%H%M}"))
    for key in must | set(told):
        _count(found, f"source-down of {' '.join(key)}", told[key], must=key in must, may=True)
    found.expected["source-down"] += len(must)


# -- the window that was told of closes


def _closing(found: Findings, beats: list[Beat], rows: list[dict]) -> None:
    told = Counter(row["local_date"] for row in rows if row["kind"] == "closing")
    must = set()
    for before, beat in itertools.pairwise(beats):
        if not (before.whole and beat.whole) or before.said["closes"] is None:
            continue
        closes = _at(before.said["closes"])
        same = closes.astimezone(ZONE).date() == beat.now.astimezone(ZONE).date()
        asked = beat.said["go"] and beat.said["open"] and not quiet(beat.now)
        if same and asked and closes - timedelta(hours=1) <= beat.now <= closes and beat.now >= before.now:
            must.add(str(beat.now.astimezone(ZONE).date()))
    for day in must | set(told):
        _count(found, f"closing of {day}", told[day], must=day in must, may=True)
    found.expected["closing"] += len(must)


# -- what arrived


def _arrivals(found: Findings, folder: Path, beats, rows, outbox, world: World) -> None:
    notices = {row["id"]: row for row in rows}
    raw = {}
    for name in ("hook", "mail", "tape"):
        lines = read_lines(folder / f"{name}.jsonl")
        raw[name] = Counter(one["id"] for one in lines)
        found.faults += [f"{name}: not as it was sent: {one['id']}" for one in lines if not one["good"]]
    files = (
        [path.name for path in (folder / "notices").glob("*.txt")] if (folder / "notices").exists() else []
    )
    raw["file"] = Counter("n-" + name.removesuffix(".txt").rpartition("-n-")[2] for name in files)
    channels = {"file": "file", "hook": "webhook", "mail": "email", "tape": "tape"}
    for name, channel in channels.items():
        states = {row["notice_id"]: row for row in outbox if row["channel"] == channel}
        found.deliveries.update((channel, row["state"]) for row in states.values())
        found.arrived[channel] = len(raw[name])
        found.unasked += [
            f"{channel}: {one} arrived, and nobody kept it" for one in raw[name] if one not in notices
        ]
        once = channel in ("email", "tape")  # the others may repeat: they are recognised by their id
        found.doubled += [f"{channel}: {one}" for one, count in raw[name].items() if count > 1 and once]
        for notice_id, row in states.items():
            _delivery(found, channel, row, notices[notice_id], raw[name][notice_id], beats, world)


def _delivery(
    found: Findings, channel: str, row: dict, notice: dict, arrived: int, beats, world: World
) -> None:
    name = f"{channel}: {notice['kind']} of {notice['local_date']}"
    if row["state"] == "sent" and not arrived:
        found.lost.append(name)
    elif row["state"] in ("waiting", "claimed"):
        found.lost.append(f"{name} ({row['state']})")
    elif row["state"] == "failed" or (row["state"] == "uncertain" and channel in ("file", "webhook")):
        # Too late, or cut off by a kill and too late to be repeated: only where nobody was there in time.
        up = [
            beat.now for beat in _while_news(beats, _at(notice["created_at"]), _at(notice["good_until"]))
            if not (channel == "webhook" and world.is_down(world.hook_down, beat.now))
        ]  # fmt: skip
        patience = _PATIENCE if channel == "webhook" else timedelta(0)
        if up and max(up) - min(up) > patience:
            found.lost.append(f"{name} ({row['state']}: {row['last_error']})")


def _while_news(beats: list[Beat], created: datetime, until: datetime) -> list[Beat]:
    """Whole beats after the one that made a notice and before one that found it too old; a clock may run both ways."""
    made = next(
        (at for at, beat in enumerate(beats) if abs(beat.now - created) < timedelta(seconds=2)), len(beats)
    )
    found = []
    for beat in beats[made + 1 :]:
        if beat.now > until:
            break
        if beat.whole and beat.now >= created:
            found.append(beat)
    return found


def _at(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)
