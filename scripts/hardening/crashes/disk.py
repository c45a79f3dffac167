"""Faults of the disk and of other programs: nothing more fits, nothing may be written, locked, damaged pages."""

from __future__ import annotations

import os
import random
import resource
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import timedelta
from pathlib import Path

from advisor.errors import AdvisorError, StoreError
from advisor.store import Store, copies, records
from advisor.store.restoring import restore

from . import cycles, dying
from .commands import as_nobody, command, household, impatient, warm
from .kills import Tally
from .ledgers import NOW, deed, everything, fill, lost_or_changed, older, rows_of, unwhole, write_passes


def _told(deed_: Callable[[], object], say: Callable) -> None:
    """Do something that may fail, and say how: nothing, or an error with what to do, or one without."""
    try:
        deed_()
    except AdvisorError as error:
        say(("refused", str(error), bool(error.problems[0].hint)))
    else:
        say(("done", "", True))


def _unclear(end: dying.End) -> list[str]:
    """Errors that are no help."""
    found = [
        f"does not say what to do: {text}"
        for kind, text, clear in _endings(end)
        if kind == "refused" and not clear
    ]
    return found + ([f"a fault of its own: {end.fault.strip().splitlines()[-1]}"] if end.fault else [])


def _endings(end: dying.End) -> list[tuple]:
    return [word for word in end.said if word[0] in ("refused", "done")]


# -- nothing more fits


def on_full_disk(folder: Path, seed: int, cases: int) -> Tally:
    """Files may not grow beyond a size: passes, an old ledger, a backup, a restore; then there is room again."""
    tally, dice = Tally(), random.Random(f"full {seed}")
    template, old, backup = folder / "advisor.db", folder / "old.db", folder / "lawn.bak"
    fill(template, 30)
    old_rows = older(old, 2, 30)
    copies.write(template, backup)
    for case in range(cases):
        home = folder / f"full-{case}"
        home.mkdir()
        path, kind = home / "advisor.db", ("passes", "old ledger", "backup", "restore")[case % 4]
        shutil.copy(old if kind == "old ledger" else template, path)
        before = old_rows if kind == "old ledger" else everything(path)
        limit = dice.choice((dice.randint(0, 8192), dice.randint(0, 2 * path.stat().st_size)))
        end = dying.run(lambda say, k=kind, p=path, most=limit: _when_full(k, p, backup, most, say))
        complaints = _unclear(end)
        tally.notes["refused"] += any(word[0] == "refused" for word in _endings(end))
        complaints += _after_full(kind, path, backup, before, end)
        tally.judge(f"full disk {case} ({kind}, {limit} bytes)", None, complaints)
        shutil.rmtree(home)
    return tally


def _when_full(kind: str, path: Path, backup: Path, limit: int, say: Callable) -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))

    def passes() -> None:
        with Store.open(path) as store:
            write_passes(store, range(100, 140), lambda made: say(("kept", made.id, made.note)))

    deeds = {
        "passes": passes,
        "old ledger": lambda: Store.open(path).close(),
        "backup": lambda: copies.write(path, path.with_name("lawn.bak")),
        "restore": lambda: restore(backup, path, NOW),
    }
    _told(deeds[kind], say)


def _after_full(kind: str, path: Path, backup: Path, before, end: dying.End) -> list[str]:
    found = []
    try:
        rows = rows_of(path)
        if kind == "old ledger":
            found += (
                [] if [tuple(row.values())[:-1] for row in rows] == before else ["records lost or changed"]
            )
        elif kind == "passes":
            kept = {word[1]: {"note": word[2]} for word in end.said if word[0] == "kept"}
            found += lost_or_changed(kept, rows)
            with Store.open(path) as store:
                write_passes(store, range(100, 103))
        elif everything(path) != before:
            found.append("the ledger is another one")
        if kind == "backup":
            target = path.with_name("lawn.bak")
            found += unwhole(target) if target.exists() else []
            copies.write(path, target, overwrite=True)
        if kind == "restore":
            restore(backup, path, NOW)
    except AdvisorError as error:
        return [*found, f"with room again: {error}"]
    left = [one.name for one in path.parent.iterdir() if "unfinished" in one.name or "restoring" in one.name]
    return found + unwhole(path) + [f"left behind: {name}" for name in left]


# -- nothing may be written


def on_read_only(folder: Path, seed: int, cases: int) -> Tally:
    """A folder in which this user may not write: reading goes on, writing says what to do, nothing is touched."""
    tally, dice = Tally(), random.Random(f"read-only {seed}")
    if os.geteuid() != 0:
        tally.notes["as this user, by the folder's permissions"] = 1
    home = household(folder / "lawn")
    warm(home)
    path, out = home / "advisor.db", folder / "out"
    fill(path, 12)
    out.mkdir()
    name = rows_of(path)[-1]["id"]
    before = path.read_bytes()
    for one in (folder, out):
        one.chmod(0o777)
    home.chmod(0o555)
    path.chmod(0o444)
    at = ("--home", home)
    words = [
        (("records", *at), {0}), (("records", "--verify", *at), {0}), (("doctor", *at), {1, 5, 6, 7}),
        (("record", "--withdraw", name, "--reason", "no", *at), {1}), (("backup", *at), {1}),
        (("backup", *at, "--to", out / "a.bak", "--overwrite"), {0}), (("restore", *at, out / "a.bak"), {1, 75}),
    ]  # fmt: skip
    try:
        for case in range(cases):
            given, statuses = words[case % len(words)] if case < len(words) else dice.choice(words)
            said = command(*given, before=as_nobody)
            complaints = said.complaints(given[0])
            if said.status not in statuses:
                complaints.append(f"{given[0]} ended with {said.status}: {said.err.strip()}")
            if path.read_bytes() != before:
                complaints.append("the ledger was written to")
            tally.judge(f"read-only folder {case}: advisor {given[0]}", None, complaints)
    finally:
        home.chmod(0o755)
        path.chmod(0o644)
    return tally


# -- somebody else has it


def on_locked(folder: Path, seed: int, cases: int) -> Tally:
    """Another program holds the database: commands say so after their wait, and work when it has let go."""
    tally, dice = Tally(), random.Random(f"locked {seed}")
    home = household(folder / "lawn")
    warm(home)
    path = home / "advisor.db"
    fill(path, 8)
    old = folder / "old.db"
    older(old, 2, 8)
    for case in range(cases):
        kind = dice.choice(("BEGIN IMMEDIATE", "BEGIN EXCLUSIVE", "exclusive mode"))
        aged = dice.random() < 0.25
        target = folder / f"old-{case}.db" if aged else path
        if aged:
            shutil.copy(old, target)
        before = everything(path)
        with closing(sqlite3.connect(target, isolation_level=None)) as other:
            if kind == "exclusive mode":
                other.execute("PRAGMA locking_mode = EXCLUSIVE")
            other.execute("BEGIN EXCLUSIVE" if kind == "exclusive mode" else kind)
            complaints = _while_locked(target, home, dice, case, kind, aged)
        try:
            if everything(path) != before:
                complaints.append("the ledger is another one")
            with Store.open(target) as store:
                records.add(store, deed(900 + case), written_at=NOW)
        except AdvisorError as error:
            complaints.append(f"after the other let go: {error}")
        complaints += unwhole(target)
        tally.judge(f"locked {case} ({kind}{', old ledger' if aged else ''})", None, complaints)
    return tally


def _while_locked(path: Path, home: Path, dice: random.Random, case: int, kind: str, aged: bool) -> list[str]:
    if aged:
        end = dying.run(lambda say: (impatient(), _told(lambda: Store.open(path).close(), say)))
        locked = any(word[0] == "refused" and "locked by another program" in word[1] for word in end.said)
        return _unclear(end) + ([] if locked else [f"an old ledger that is locked: {_endings(end)}"])
    name = rows_of_readonly(path)
    at = ("--home", home)
    given = dice.choice([
        ("record", "--withdraw", name, "--reason", f"case {case}", *at), ("records", *at), ("doctor", *at),
        ("records", "--verify", *at), ("backup", *at, "--to", home.parent / f"{case}.bak"),
        ("restore", *at, home.parent / "none.bak"),
    ]) if name else ("doctor", *at)  # fmt: skip
    said = command(*given, before=impatient)
    found = said.complaints(given[0])
    if given[0] == "record" and (said.status != 1 or "locked by another program" not in said.err):
        found.append(f"record ended with {said.status}: {said.err.strip()}")
    return found


def rows_of_readonly(path: Path) -> str:
    """The id of a record that can be withdrawn; empty where the lock shuts readers out too."""
    end = dying.run(lambda say: (impatient(), say(("done", _newest(path), True))))
    return end.said[0][1] if end.said else ""


def _newest(path: Path) -> str:
    with Store.open_readonly(path) as store:
        return records.current(store)[-1].id


# -- pages that are not what was written


def on_damage(folder: Path, seed: int, cases: int) -> Tally:
    """Bytes of a page are overwritten, or the end of the file is gone: no record is read as another, the damage is
    named, and a backup puts all right."""
    tally, dice = Tally(), random.Random(f"damage {seed}")
    home = household(folder / "lawn")
    warm(home)
    path, backup, good = home / "advisor.db", folder / "lawn.bak", folder / "good.db"
    fill(path, 40, 12)
    copies.write(path, backup)
    shutil.copy(path, good)
    rows, whole = rows_of(path), everything(path)
    for case in range(cases):
        for end in ("", "-wal", "-shm", "-delivery.lock"):
            path.with_name(path.name + end).unlink(missing_ok=True)
        shutil.copy(good, path)
        where = _damage(path, dice)
        complaints = _read_when_damaged(path, rows, whole, tally)
        if case % 3 == 0:
            for given in (
                ("records", "--home", home),
                ("doctor", "--home", home),
                ("backup", "--check", path),
            ):
                complaints += command(*given).complaints(given[0])
        end = dying.run(lambda say: _told(lambda: _write_one(path), say))
        complaints += _unclear(end)
        complaints += _put_right(path, backup, rows)
        tally.judge(f"damage {case} ({where})", None, complaints)
        for aside in home.glob("advisor.db.before-restore*"):
            aside.unlink()
    return tally


def _damage(path: Path, dice: random.Random) -> str:
    size = path.stat().st_size
    if dice.random() < 0.15:
        most = dice.randint(0, size - 1)
        os.truncate(path, most)
        return f"cut to {most} of {size} bytes"
    page, length = dice.randrange(size // 4096), dice.choice((1, 4, 64, 512, 4096))
    at = page * 4096 + dice.randrange(4096 - length + 1)
    with path.open("r+b") as file:
        file.seek(at)
        file.write(dice.choice((dice.randbytes(length), bytes(length))))
    return f"{length} bytes at {at}"


def _read_when_damaged(path: Path, rows: list[dict], whole: dict, tally: Tally) -> list[str]:
    """Read it without writing, in a child of its own; what is read must be right or known to be wrong."""

    def look(say) -> None:
        try:
            with Store.open_readonly(path) as store, store.read() as connection:
                query = "SELECT records.*, hash FROM records LEFT JOIN record_links USING (row) ORDER BY row"
                say(("rows", [dict(row) for row in connection.execute(query)]))
                say(
                    (
                        "all",
                        {
                            name: [tuple(row) for row in connection.execute(f"SELECT * FROM {name}")]
                            for name in whole
                        },
                    )
                )
        except StoreError as error:
            say(("refused", str(error), bool(error.problems[0].hint)))
        say(("wrong", unwhole(path)))

    end = dying.run(look)
    said = {word[0]: word[1] for word in end.said}
    found = [f"a fault of its own: {end.fault.strip().splitlines()[-1]}"] if end.fault else []
    found += [
        f"does not say what to do: {word[1]}" for word in end.said if word[0] == "refused" and not word[2]
    ]
    known = bool(said.get("wrong"))
    tally.notes["named"] += known
    if not known and said.get("rows") != rows:
        found.append("records are lost or changed, and nothing is said of it")
    elif not known and said.get("all") != whole:
        tally.notes["not noticed, outside the records"] += 1
    return found


def _write_one(path: Path) -> None:
    with Store.open(path) as store:
        records.add(store, deed(5_000), written_at=NOW)


def _put_right(path: Path, backup: Path, rows: list[dict]) -> list[str]:
    try:
        restore(backup, path, NOW + timedelta(hours=1), give_up_newer=True)
        found = rows_of(path)
    except AdvisorError as error:
        return [f"going back to the backup: {error}"]
    return unwhole(path) + ([] if found == rows else ["the restored records are others"])


FAULTS = (
    ("full", "the disk is full: passes, old ledger, backup, restore", on_full_disk, 200),
    ("full-cycles", "the disk is full in cycles of the service", cycles.on_full_disk, 300),
    ("read-only", "the folder may not be written to", on_read_only, 60),
    ("locked", "another program holds the database", on_locked, 80),
    ("damage", "bytes of a page are overwritten, or the file's end is gone", on_damage, 300),
    ("clock", "the clock is set back and forth", cycles.on_set_clocks, 200),
)
